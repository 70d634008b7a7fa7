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

class EchoSearch {
 public:
  /// @param bars even bars side by side, or 0: then edges are what is steep.
  EchoSearch(const std::vector<double>& y, int from, int to, int bars)
      : y_(y), clean_(y), from_(from), to_(to) {
    mark_ground(bars);
  }

  struct Result {
    bool usable = false;
    double delay_px = 0, gain = 0, u_delay = 0, u_gain = 0, residual = 0;
    double strength = 0;  // gain over its noise
  };

  Result run() {
    Result r;
    std::size_t columns = 0;
    for (const auto& [a, b] : ground_) columns += static_cast<std::size_t>(b - a);
    r.usable = columns > 60;
    if (!r.usable) return r;
    const double longest = std::min(190.0, 0.4 * (to_ - from_));
    double best = 0;
    std::vector<double> explained;
    for (double d = least_px; d < longest; d += 0.5) {
      explained.push_back(fit(d).explained);
      best = std::max(best, explained.back());
    }
    // Edges at even distances make one delay look like another a bar later: the first good one counts.
    std::size_t at_best = 0;
    for (std::size_t i = 0; i < explained.size(); ++i) {
      const bool top = i + 1 == explained.size() || explained[i] >= explained[i + 1];
      if (explained[i] < 0.85 * best || !top) continue;
      at_best = i;
      break;
    }
    r.delay_px = least_px + 0.5 * static_cast<double>(at_best);
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
    r.residual = std::sqrt(f.rest / static_cast<double>(columns));
    // Columns are not independent: what is left after the fit is rounding and ringing, several columns long.
    const double sigma2 = f.rest / static_cast<double>(columns) * 1.3;
    r.u_gain = std::sqrt(sigma2 / f.energy);
    const double slope_energy = derivative_energy(r.delay_px);
    r.u_delay = std::sqrt(sigma2 / std::max(1e-9, slope_energy * r.gain * r.gain));
    r.strength = std::abs(r.gain) / std::max(1e-6, r.u_gain);
    return r;
  }

 private:
  struct Fit {
    double gain = 0, explained = 0, rest = 0, energy = 0;
  };

  [[nodiscard]] double at(const std::vector<double>& v, double x) const {
    // Catmull-Rom; the line holds its end values.
    const auto i = static_cast<int>(std::floor(x));
    const double t = x - i;
    const auto p = [&](int k) { return v[static_cast<std::size_t>(std::clamp(k, from_, to_ - 1))]; };
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
        if (x - start >= 8) ground_.emplace_back(start, x);
        start = -1;
      }
    }
  }

  // Regression of the ground's disturbance on the late picture, each piece's mean free.
  [[nodiscard]] Fit fit(double delay) const {
    double xy = 0, xx = 0, yy = 0;
    for (const auto& [begin, b] : ground_) {
      // Of what lies left of the picture there is no late picture.
      const int a = std::max(begin, from_ + static_cast<int>(std::ceil(delay)) + guard_px);
      if (b - a < 8) continue;
      double sx = 0, sy = 0, pxy = 0, pxx = 0, pyy = 0;
      for (int x = a; x < b; ++x) {
        const double u = at(clean_, x - delay);
        const double v = y_[static_cast<std::size_t>(x)];
        sx += u, sy += v, pxy += u * v, pxx += u * u, pyy += v * v;
      }
      const double n = b - a;
      xy += pxy - sx * sy / n;
      xx += pxx - sx * sx / n;
      yy += pyy - sy * sy / n;
    }
    Fit f;
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
      if (b - a < 8) continue;
      double s = 0, ss = 0;
      for (int x = a; x < b; ++x) {
        const double d = 0.5 * (at(clean_, x - delay + 1) - at(clean_, x - delay - 1));
        s += d, ss += d * d;
      }
      sum += ss - s * s / (b - a);
    }
    return sum;
  }

  void take_out(double delay, double gain) {
    clean_ = y_;
    for (int x = from_; x < to_; ++x)
      clean_[static_cast<std::size_t>(x)] =
          y_[static_cast<std::size_t>(x)] - gain * (at(clean_, x - delay) - at(clean_, from_));
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
  int from_, to_;
  std::vector<std::pair<int, int>> ground_;
};

}  // namespace

void echo_readings(const PictureSetup& s, const MeanLine& line, double velocity_factor, Readings& out) {
  EchoSearch search(line.y, s.first_col / 2, s.width() - s.first_col / 2, s.pattern.bars);
  const EchoSearch::Result r = search.run();
  const double ns_per_px = 1000 / s.px_per_us;
  const auto refuse = [&](const std::string& why, std::optional<double> at_most) {
    out.push_back(unmeasurable("picture.echo.delay", why));
    out.push_back(unmeasurable("picture.echo.level", why, at_most));
    out.push_back(unmeasurable("picture.echo.distance", why));
  };
  if (!r.usable)
    return refuse("too little level ground between the edges; send the pulse and bar or a window",
                  std::nullopt);
  // What rounding to codes alone can look like, and ringing of the grabber's filter.
  const double doubt = std::max(7 * r.u_gain, 0.006);
  if (std::abs(r.gain) < doubt || r.strength < 8) {
    const double bound = db_from_amplitude(std::abs(r.gain) + doubt);
    return refuse(
        fmt::format("none found later than {:.2f} us: below {:.0f} dB; closer ones are part of the edges",
                    least_px * ns_per_px / 1000, bound),
        bound);
  }
  const double delay_ns = r.delay_px * ns_per_px;
  const double u_ns = std::hypot(2 * r.u_delay * ns_per_px, 4.0);
  const double metres = 0.5e-9 * delay_ns * velocity_factor * light_m_per_s;
  out.push_back(number_reading("picture.echo.delay", delay_ns, u_ns));
  out.push_back(number_reading("picture.echo.level", db_from_amplitude(std::abs(r.gain)),
                               std::hypot(8.686 * 2 * r.u_gain / std::abs(r.gain), 0.15),
                               r.gain > 0 ? "same sign: a second path, or reflections at open ends"
                                          : "reversed: a short or a double termination on the way"));
  out.push_back(
      number_reading("picture.echo.distance", metres, metres * u_ns / delay_ns,
                     fmt::format("half the delay, at {:.2f} of the speed of light", velocity_factor)));
}

}  // namespace linebench::measure
