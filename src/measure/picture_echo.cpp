// Echoes: level ground between sharp edges is level no more when the picture comes a second time, late and
// weak. For each delay the late picture is fitted to what disturbs the ground; the best delay wins.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>

#include "picture_levels.hpp"

namespace linebench::measure {
namespace {

constexpr double light_m_per_s = 299'792'458;
constexpr int guard_px = 4;       // beyond an edge: its ringing
constexpr double least_px = 8.5;  // an echo nearer than this is part of the edge
constexpr double most_gain =
    0.5;                      // a picture a step later, echo and all, looks like an echo as strong as itself
constexpr double black = 16;  // code of blanking [BT.601]
// How ringing sways an echo's level and how little its place, over uncorrelated columns: against windows cut
// off sharply at 4.8 to 5.8 MHz, in closed form.
constexpr double ringing_in_level = 14;
constexpr double ringing_in_place = 0.45;

class EchoSearch {
 public:
  /// @param bars even bars side by side, or 0: then edges are what is steep.
  /// @param degree of the polynomial that each piece of ground may follow by itself: 0 for its level, 2 for a
  /// tilt and its bend, which leaves an echo less to show by.
  /// @param noise rms of what is random in the line.
  EchoSearch(const std::vector<double>& y, double noise, int from, int to, int bars, int degree)
      : y_(y), clean_(y), noise_(noise), from_(from), to_(to), degree_(degree) {
    mark_ground(bars);
  }

  struct Result {
    bool usable = false;
    double delay_px = least_px, gain = 0, u_delay = 0, u_gain = 0, residual = 0;
    double u_ringing = 0;  // of the gain, by ringing of the picture's edges
    double strength = 0;   // gain over its noise
    double bound = 0;      // of the gain at any delay where nothing is found
    double blind_px = 0;   // shortest delay at which the picture's own edges would hide an echo; 0: none
  };

  Result run() {
    Result r;
    std::size_t columns = 0;
    for (const auto& [a, b] : ground_) columns += static_cast<std::size_t>(b - a);
    r.usable = columns > 60;
    if (!r.usable) return r;
    const double longest = std::min(190.0, 0.4 * (to_ - from_));
    double best = 0, most_energy = 0;
    std::vector<Fit> fits;
    for (double d = least_px - 1; d < longest; d += 0.5) {
      const Fit f = fit(d);
      fits.push_back(f);
      most_energy = std::max(most_energy, f.energy);
      // What is explained over what is left: a wrong delay may explain much by chance, but leaves as much.
      // The picture's own left edge, which may lie outside, has its echo too.
      const double strength = f.explained / (f.rest / std::max(1.0, f.columns) + 0.01);
      if (strength <= best || std::abs(f.gain) > most_gain) continue;
      best = strength;
      r.delay_px = d;
    }
    look_everywhere(fits, most_energy, r);
    // The late picture carries its own echo; take it out and fit again.
    for (int i = 0; i < 5; ++i) {
      double step = i == 0 ? 0.25 : 0.25 / (1 << i);
      for (int k = 0; k < 3; ++k, step /= 2) {
        const double here = fit(r.delay_px).explained;
        if (fit(r.delay_px + step).explained > here)
          r.delay_px += step;
        else if (fit(r.delay_px - step).explained > here)
          r.delay_px -= step;
      }
      r.gain = fit(r.delay_px).gain;
      if (std::abs(r.gain) > 0.9) break;
      take_out(r.delay_px, r.gain);
    }
    parabola(r);
    const Fit f = fit(r.delay_px);
    r.gain = f.gain;
    r.residual = std::sqrt(f.rest / std::max(1.0, f.columns));
    // Columns are not independent: what is left after the fit is rounding and ringing, several columns long.
    const double sigma2 = f.rest / std::max(1.0, f.columns) * 1.3 * counted_twice();
    // What is more than the line's noise is ringing: it goes along with the edges, so it sways the level as a
    // whole. The place hardly: it alternates within the length of an edge.
    const double ringing = std::max(0.0, f.rest / std::max(1.0, f.columns) - 1.5 * noise_ * noise_);
    // A strong echo's own echo comes again, from beyond the picture's side as well.
    r.u_gain = std::hypot(std::sqrt(sigma2 / std::max(1.0, f.energy)), 0.1 * r.gain * r.gain);
    r.u_ringing = std::sqrt(ringing_in_level * ringing / std::max(1.0, f.energy));
    const double slope_energy = derivative_energy(r.delay_px);
    r.u_delay = std::sqrt(ringing_in_place * sigma2 / std::max(1e-9, slope_energy * r.gain * r.gain));
    r.strength = std::abs(r.gain) / std::max(1e-6, r.u_gain);
    return r;
  }

 private:
  struct Fit {
    double gain = 0, explained = 0, rest = 0, energy = 0, columns = 0;
  };

  [[nodiscard]] double at(const std::vector<double>& v, double x) const {
    // Catmull-Rom; before the line there is blanking, after it nothing is asked.
    const auto i = static_cast<int>(std::floor(x));
    const double t = x - i;
    const auto p = [&](int k) {
      return k < 0 ? black : v[static_cast<std::size_t>(std::min(k, static_cast<int>(v.size()) - 1))];
    };
    const double a = p(i - 1), b = p(i), c = p(i + 1), d = p(i + 2);
    return b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
  }

  void mark_ground(int bars) {
    std::vector<double> slope(y_.size(), 0);
    double steepest = 0;
    for (int x = from_ + 2; x < to_ - 2; ++x) {
      const auto i = static_cast<std::size_t>(x);
      slope[i] = std::abs(y_[i + 2] - y_[i - 2]);
      steepest = std::max(steepest, slope[i]);
    }
    // An echo's edges must stay under a third of those that make it. Bars' steps differ much, but one knows
    // where they are.
    std::vector<double> edge(y_.size(), bars > 0 ? steepest : 0.33 * steepest);
    for (int b = 1; b < bars; ++b) {
      const int at = static_cast<int>(y_.size()) * b / bars;
      const auto from = static_cast<std::size_t>(std::max(0, at - 9));
      const std::size_t to = std::min(y_.size(), static_cast<std::size_t>(at + 10));
      double local = 0;
      for (std::size_t x = from; x < to; ++x) local = std::max(local, slope[x]);
      for (std::size_t x = from; x < to; ++x) edge[x] = 0.33 * local;
    }
    std::vector<bool> level(y_.size(), true);
    for (int x = from_; x < to_; ++x) {
      const double code = y_[static_cast<std::size_t>(x)];
      if (code < 3 || code > 252) level[static_cast<std::size_t>(x)] = false;  // cut off
      if (slope[static_cast<std::size_t>(x)] < edge[static_cast<std::size_t>(x)]) continue;
      for (int k = -guard_px; k <= guard_px; ++k) {
        const int i = x + k;
        if (i >= 0 && i < static_cast<int>(level.size())) level[static_cast<std::size_t>(i)] = false;
      }
    }
    int start = -1;
    for (int x = from_; x <= to_; ++x) {
      const bool on = x < to_ && level[static_cast<std::size_t>(x)];
      if (on && start < 0) start = x;
      if (!on && start >= 0) {
        if (x - start >= 8) add_ground(start, x);
        start = -1;
      }
    }
  }

  // A polynomial follows a tilt only so far, so pieces that may tilt are short; they overlap, lest an echo's
  // edge falls between two.
  void add_ground(int a, int b) {
    constexpr int longest = 48;
    while (degree_ > 0 && b - a > longest) {
      ground_.emplace_back(a, a + longest);
      a += longest / 2;
    }
    ground_.emplace_back(a, b);
  }
  [[nodiscard]] double counted_twice() const { return degree_ > 0 ? 2.0 : 1.0; }

  // What is left of a piece's values when its polynomial is taken out.
  void flatten(std::vector<double>& v) const {
    const std::size_t n = v.size();
    std::vector<double> x(n), basis(n, 1.0), before(n, 0.0), next(n);
    for (std::size_t i = 0; i < n; ++i) x[i] = 2.0 * static_cast<double>(i) / static_cast<double>(n - 1) - 1;
    double last_norm = 0;
    for (int k = 0;; ++k) {
      double norm = 0, along = 0, skew = 0;
      for (std::size_t i = 0; i < n; ++i) {
        norm += basis[i] * basis[i];
        along += basis[i] * v[i];
        skew += x[i] * basis[i] * basis[i];
      }
      for (std::size_t i = 0; i < n; ++i) v[i] -= along / norm * basis[i];
      if (k == degree_) return;
      // The next polynomial orthogonal to those before, by its recurrence.
      const double back = k > 0 ? norm / last_norm : 0;
      for (std::size_t i = 0; i < n; ++i) next[i] = (x[i] - skew / norm) * basis[i] - back * before[i];
      before.swap(basis);
      basis.swap(next);
      last_norm = norm;
    }
  }

  // Regression of the ground's disturbance on the late picture.
  [[nodiscard]] Fit fit(double delay) const {
    double xy = 0, xx = 0, yy = 0;
    Fit f;
    for (const auto& [begin, b] : ground_) {
      // Of what lies left of the picture there is no late picture.
      const int a = std::max(begin, from_ + static_cast<int>(std::ceil(delay)) + guard_px);
      if (b - a < 8 + 4 * degree_) continue;
      std::vector<double> u, v;
      for (int x = a; x < b; ++x) {
        u.push_back(at(clean_, x - delay));
        v.push_back(y_[static_cast<std::size_t>(x)]);
      }
      flatten(u);
      flatten(v);
      f.columns += static_cast<double>(u.size());
      for (std::size_t i = 0; i < u.size(); ++i) xy += u[i] * v[i], xx += u[i] * u[i], yy += v[i] * v[i];
    }
    if (xx < 1) return f;
    f.energy = xx;
    f.gain = xy / xx;
    f.explained = xy * xy / xx;
    f.rest = std::max(0.0, yy - f.explained);
    return f;
  }

  [[nodiscard]] double derivative_energy(double delay) const {
    double sum = 0;
    for (const auto& [begin, b] : ground_) {
      const int a = std::max(begin, from_ + static_cast<int>(std::ceil(delay)) + guard_px);
      if (b - a < 8 + 4 * degree_) continue;
      std::vector<double> d;
      for (int x = a; x < b; ++x) d.push_back(0.5 * (at(clean_, x - delay + 1) - at(clean_, x - delay - 1)));
      flatten(d);
      for (const double v : d) sum += v * v;
    }
    return sum;
  }

  // What an echo at any delay must stay below, not to be seen, and where it could not be seen at all.
  static void look_everywhere(const std::vector<Fit>& fits, double most_energy, Result& r) {
    double first = 0, last = 0;
    bool over = false;
    for (std::size_t i = 2; i < fits.size(); ++i) {
      const Fit& f = fits[i];
      const double d = least_px - 1 + 0.5 * static_cast<double>(i);
      if (f.energy >= 0.02 * most_energy) {
        over = first > 0;
        const double u = std::sqrt(f.rest / std::max(1.0, f.columns) * 1.3 / f.energy);
        r.bound = std::max(r.bound, std::abs(f.gain) + std::max(7 * u, 0.006));
      } else if (!over) {
        first = first > 0 ? first : d;
        last = d;
      }
    }
    r.blind_px = (first + last) / 2;
  }

  void take_out(double delay, double gain) {
    clean_ = y_;
    for (std::size_t x = 0; x < y_.size(); ++x)
      clean_[x] = y_[x] - gain * (at(clean_, static_cast<double>(x) - delay) - black);
  }

  void parabola(Result& r) const {
    constexpr double h = 0.3;
    const double a = fit(r.delay_px - h).explained;
    const double b = fit(r.delay_px).explained;
    const double c = fit(r.delay_px + h).explained;
    const double bend = a - 2 * b + c;
    if (bend < 0) r.delay_px += std::clamp(0.5 * h * (a - c) / bend, -h, h);
  }

  const std::vector<double>& y_;
  std::vector<double> clean_;
  double noise_;
  int from_, to_, degree_;
  std::vector<std::pair<int, int>> ground_;
};

// Level ground is cut off at black, as noise tells: how far below it an echo turned over went is not known.
bool ground_is_cut(const PictureSetup& s, const std::vector<double>& y) {
  constexpr int least_cut = 5;  // an edge that rings is shorter
  int dark = 0;
  for (int x = s.first_col; x < s.last_col; ++x) {
    dark = s.code_limits.cuts_black(y[static_cast<std::size_t>(x)]) ? dark + 1 : 0;
    if (dark >= least_cut) return true;
  }
  return false;
}

}  // namespace

void echo_readings(const PictureSetup& s, const MeanLine& line, double velocity_factor, Readings& out) {
  const auto search = [&](int degree) {
    return EchoSearch(line.y, line.sigma, s.first_col / 2, s.width() - s.first_col / 2, s.pattern.bars,
                      degree)
        .run();
  };
  EchoSearch::Result r = search(0);
  // What rounding to codes alone can look like, and ringing of the grabber's filter.
  // A lossy coder's blocks
  // leave edges of their own on level ground.
  const double least_gain = s.format.lossy ? 0.02 : 0.006;
  const auto doubt_of = [&](const EchoSearch::Result& e) { return std::max(7 * e.u_gain, least_gain); };
  const auto found = [&](const EchoSearch::Result& e) {
    return std::abs(e.gain) >= doubt_of(e) && e.strength >= 8 && e.delay_px > least_px - 0.75 &&
           std::abs(e.gain) < most_gain;
  };
  bool tilted = false;
  if (r.usable && found(r)) {
    // A line tilt disturbs the ground as well, but an echo has edges: they are still there without the tilt.
    const EchoSearch::Result edges = search(2);
    const bool same =
        found(edges) && std::abs(edges.delay_px - r.delay_px) < 1.5 &&
        std::abs(edges.gain - r.gain) < 0.2 * std::abs(r.gain) + 3 * std::hypot(r.u_gain, edges.u_gain);
    if (!same) {
      tilted = true;
      r = edges;
    }
  }
  const double ns_per_px = 1000 / s.px_per_us;
  const auto refuse = [&](const std::string& why, std::optional<double> at_most) {
    out.push_back(unmeasurable("picture.echo.delay", why));
    out.push_back(unmeasurable("picture.echo.level", why, at_most));
    out.push_back(unmeasurable("picture.echo.distance", why));
  };
  // Bars have other ground enough.
  if (s.pattern.kind != PatternKind::Bars && ground_is_cut(s, line.y))
    return refuse(
        "a part of the line is cut off at black, and what an echo does there with it; raise "
        "brightness first, or send colour bars of 75 %",
        std::nullopt);
  if (!r.usable)
    return refuse("too little level ground between the edges; send the pulse and bar or a window",
                  std::nullopt);
  if (!found(r)) {
    const double bound = db_from_amplitude(std::max(r.bound, least_gain));
    std::string why =
        fmt::format("none found later than {:.2f} us: below {:.0f} dB; closer ones are part of the edges",
                    least_px * ns_per_px / 1000, bound);
    if (r.blind_px > 0)
      why += fmt::format(" and one near {:.1f} us would fall on them: send the pulse and bar or a window",
                         r.blind_px * ns_per_px / 1000);
    if (tilted) why += "; the line is tilted";
    return refuse(why, bound);
  }
  const double delay_ns = r.delay_px * ns_per_px;
  const double u_ns = std::hypot(2 * r.u_delay * ns_per_px, 4.0, s.px_per_us_u * delay_ns);
  const double metres = 0.5e-9 * delay_ns * velocity_factor * light_m_per_s;
  out.push_back(number_reading("picture.echo.delay", delay_ns, u_ns));
  out.push_back(
      number_reading("picture.echo.level", db_from_amplitude(std::abs(r.gain)),
                     std::hypot(8.686 * 2 * std::hypot(r.u_gain, r.u_ringing) / std::abs(r.gain), 0.15),
                     r.gain > 0 ? "same sign: a second path, or reflections at open ends"
                                : "reversed: a short or a double termination on the way"));
  out.push_back(
      number_reading("picture.echo.distance", metres, metres * u_ns / delay_ns,
                     fmt::format("half the delay, at {:.2f} of the speed of light", velocity_factor)));
}

}  // namespace linebench::measure
