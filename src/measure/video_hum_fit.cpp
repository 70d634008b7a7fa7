#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "video_hum.hpp"

namespace linebench::measure {
namespace {

using Point = VideoHumMeter::Point;
constexpr double pi = std::numbers::pi;
constexpr int search_harmonics = 3;
constexpr int fit_harmonics = hum_multiples;
constexpr int field_harmonics = 3;
constexpr double piece_s = 0.005;
constexpr int trend_terms = 3;                // level, drift, curvature
constexpr int other_terms = trend_terms + 1;  // and the picture through a coupling capacitor

struct Model {
  double hz = 50;
  int harmonics = fit_harmonics;
  double field_hz = 0;  // 0: no field-rate terms
  [[nodiscard]] int columns() const {
    return other_terms + 2 * harmonics + (field_hz > 0 ? 2 * field_harmonics : 0);
  }
};

double droop(double hz, double slot_s) {
  const double x = pi * hz * slot_s;
  return x < 1e-6 ? 1.0 : std::sin(x) / x;
}

/// Rows of the fit's matrix.
class Rows {
 public:
  Rows(const Model& m, double half_span, double slot_s) : m_(m), half_span_(half_span) {
    for (int k = 1; k <= m.harmonics; ++k) passed_[static_cast<std::size_t>(k - 1)] = droop(k * m.hz, slot_s);
  }
  void fill(const Point& q, Eigen::VectorXd& row) const;

 private:
  Model m_;
  double half_span_;
  std::array<double, fit_harmonics> passed_{};
};

void Rows::fill(const Point& q, Eigen::VectorXd& row) const {
  const double t = q.t;
  const double u = t / half_span_;
  row(0) = 1;
  row(1) = u;
  row(2) = u * u - 1.0 / 3;
  row(trend_terms) = q.drive;
  int c = other_terms;
  // Multiples of an angle by turning on: the time would else go into sines.
  const auto multiples = [&](double hz, int count, const auto& passed) {
    const std::complex<double> step = std::polar(1.0, 2 * pi * hz * t);
    std::complex<double> turn = step;
    for (int k = 0; k < count; ++k, turn *= step) {
      row(c++) = passed(k) * turn.real();
      row(c++) = passed(k) * turn.imag();
    }
  };
  multiples(m_.hz, m_.harmonics, [&](int k) { return passed_[static_cast<std::size_t>(k)]; });
  if (m_.field_hz > 0) multiples(m_.field_hz, field_harmonics, [](int) { return 1.0; });
}

struct Solved {
  double residual = 0;  // sum of squares
  Eigen::VectorXd x;
  Eigen::MatrixXd covariance;  // re unit variance
};

// Times are counted from the middle of the stretch.
Solved solve(const std::vector<Point>& p, const Model& m, double half_span, double slot_s,
             bool with_covariance) {
  const int n = m.columns();
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);
  Eigen::VectorXd b = Eigen::VectorXd::Zero(n);
  Eigen::VectorXd row(n);
  double yy = 0;
  const Rows rows(m, half_span, slot_s);
  for (const Point& q : p) {
    rows.fill(q, row);
    a.selfadjointView<Eigen::Lower>().rankUpdate(row);
    b += q.mv * row;
    yy += q.mv * q.mv;
  }
  a.diagonal().array() += 1e-9 * static_cast<double>(p.size());
  const Eigen::LDLT<Eigen::MatrixXd> ldlt(a.selfadjointView<Eigen::Lower>());
  Solved s;
  s.x = ldlt.solve(b);
  s.residual = std::max(0.0, yy - b.dot(s.x));
  if (with_covariance) s.covariance = ldlt.solve(Eigen::MatrixXd::Identity(n, n));
  return s;
}

std::vector<Point> thinned(const std::vector<Point>& p, std::size_t by) {
  if (by <= 1) return p;
  std::vector<Point> out;
  for (std::size_t i = 0; i + by <= p.size(); i += by) {
    Point q;
    for (std::size_t k = i; k < i + by; ++k) {
      q.t += p[k].t / static_cast<double>(by);
      q.mv += p[k].mv / static_cast<double>(by);
      q.drive += p[k].drive / static_cast<double>(by);
    }
    out.push_back(q);
  }
  return out;
}

double refined_frequency(const std::vector<Point>& p, Model m, double half_span, double slot_s, double step) {
  double best = m.hz;
  const auto cost = [&](double hz) {
    m.hz = hz;
    return solve(p, m, half_span, slot_s, false).residual;
  };
  double at = cost(best);
  for (int round = 0; round < 14; ++round) {  // a parabola through three points, the step shrinking
    const double lo = cost(best - step);
    const double hi = cost(best + step);
    const double bend = lo - 2 * at + hi;
    if (bend > 0) {
      const double move = std::clamp(0.5 * (lo - hi) / bend, -1.0, 1.0) * step;
      const double there = cost(best + move);
      if (there < at) {
        best += move;
        at = there;
      }
    }
    step *= 0.5;
  }
  return best;
}

// The drive less the straight line through it, so that its mean square is one; returns the root of what it
// was.
double normalise(std::vector<Point>& p) {
  const auto n = static_cast<double>(p.size());
  double mean = 0;
  double mean_t = 0;
  for (const Point& q : p) {
    mean += q.drive / n;
    mean_t += q.t / n;
  }
  double moment = 0;
  double spread = 0;
  for (const Point& q : p) {
    moment += (q.drive - mean) * (q.t - mean_t);
    spread += (q.t - mean_t) * (q.t - mean_t);
  }
  double square = 0;
  for (Point& q : p) {
    q.drive -= mean + moment / spread * (q.t - mean_t);
    square += q.drive * q.drive / n;
  }
  const double size = std::sqrt(square);
  for (Point& q : p) q.drive = size > 1e-6 ? q.drive / size : 0.0;
  return size;
}

// Behind a coupling of corner w, rad/s, blanking falls as the capacitor is charged: by w times the integral
// of what comes out, which is the picture over blanking and that fall itself. Here with the integral's fall
// by a simple lag, as if the capture had begun a field earlier with the same picture.
struct Lagged {
  std::vector<Point> points;
  double size = 0;  // mV s
};
Lagged lagged(const std::vector<Point>& charged, double w, double field_s) {
  std::vector<Point> out = charged;
  double start = 0;
  for (int round = 0; round < 2; ++round) {
    double r = start;
    for (std::size_t i = 0; i < out.size(); ++i) {
      if (i > 0) {
        const double dt = charged[i].t - charged[i - 1].t;
        const double kept = std::exp(-w * dt);
        r = kept * r + (1 - kept) / (w * dt) * (charged[i].drive - charged[i - 1].drive);
      }
      out[i].drive = r;
      if (round == 0 && charged[i].t - charged[0].t < field_s) start = r;
    }
  }
  const double size = normalise(out);
  return {std::move(out), size};
}

// The same of a corner that is low for the capture's length: each time with the fall that the last fit shows.
std::vector<Point> charged_on(const std::vector<Point>& charged, const Model& m, double half_span,
                              double slot_s) {
  std::vector<Point> p = charged;
  for (int round = 0; round < 6; ++round) {
    const Solved s = solve(p, m, half_span, slot_s, false);
    double fallen = 0;  // mV s
    std::vector<Point> next = charged;
    for (std::size_t i = 1; i < p.size(); ++i) {
      fallen += 0.5 * s.x(trend_terms) * (p[i].drive + p[i - 1].drive) * (p[i].t - p[i - 1].t);
      next[i].drive += fallen;
    }
    normalise(next);
    p = std::move(next);
  }
  return p;
}

// The one of both, and of all corners, that leaves least.
std::vector<Point> through_coupling(std::vector<Point> charged, const Model& m, double half_span,
                                    double slot_s, double field_s) {
  const double ended = charged.back().drive;
  const double begun = charged.front().drive;
  for (Point& q : charged) q.drive -= begun + (ended - begun) * (q.t + half_span) / (2 * half_span);
  std::vector<Point> best = charged_on(charged, m, half_span, slot_s);
  double least = solve(best, m, half_span, slot_s, false).residual;
  double at = 0;
  const auto attempt = [&](double w) {
    Lagged l = lagged(charged, w, field_s);
    const Solved fit = solve(l.points, m, half_span, slot_s, false);
    // The fall that it shows must be that of its corner, and worth another unknown.
    const bool own = std::abs(-fit.x(trend_terms) / (w * l.size) - 1) < 0.25;
    const double worth = at > 0 ? 0.0 : 12 * least / static_cast<double>(charged.size());
    if (!own || fit.residual >= least - worth) return;
    least = fit.residual;
    best = std::move(l.points);
    at = w;
  };
  constexpr double highest_hz = 60;
  for (double hz = 0.5 / half_span; hz < highest_hz; hz *= 1.3) attempt(2 * pi * hz);
  for (double by = 1.15; at > 0 && by > 1.004; by = std::sqrt(by)) {
    const double from = at;
    attempt(from * by);
    attempt(from / by);
  }
  return best;
}

}  // namespace

VideoHumMeter::Fit fit_hum(const std::vector<Point>& points, double slot_s, double low_hz, double high_hz,
                           double field_hz) {
  VideoHumMeter::Fit f;
  if (points.size() < 40) return f;
  const double middle = 0.5 * (points.front().t + points.back().t);
  f.seconds = points.back().t - points.front().t;
  const double half_span = 0.5 * f.seconds;
  double mean = 0;
  for (const Point& p : points) mean += p.mv / static_cast<double>(points.size());
  std::vector<Point> p = points;
  for (Point& q : p) {
    q.t -= middle;
    q.mv -= mean;
  }
  const std::vector<Point> charged = p;
  normalise(p);
  // The search looks at some 400 to 800 points a second at most: three harmonics of 65 Hz pass.
  const auto by = static_cast<std::size_t>(std::max(1.0, 1.25e-3 / slot_s));
  const auto few = [&](const std::vector<Point>& all) {
    return p.size() / by > 1500 ? thinned(all, by) : all;
  };
  std::vector<Point> thin = few(p);
  const double thin_s = p.size() / by > 1500 ? slot_s * static_cast<double>(by) : slot_s;
  Model m;
  m.harmonics = search_harmonics;
  const double step = std::min(1.0, 0.2 / f.seconds);
  // Once with the picture's charge as it is, once with that which a high corner makes of it.
  for (int round = 0; round < 2; ++round) {
    double best = low_hz;
    double best_cost = -1;
    for (double hz = low_hz; hz <= high_hz; hz += step) {
      m.hz = hz;
      const double c = solve(thin, m, half_span, thin_s, false).residual;
      if (best_cost < 0 || c < best_cost) {
        best_cost = c;
        best = hz;
      }
    }
    m.hz = best;
    if (round > 0) break;
    m.harmonics = fit_harmonics;
    p = through_coupling(charged, m, half_span, slot_s, 1 / field_hz);
    m.harmonics = search_harmonics;
    thin = few(p);
  }
  m.hz = std::clamp(refined_frequency(thin, m, half_span, thin_s, step), low_hz - 0.5, high_hz + 0.5);
  // With the frequency known, a field-rate pattern can be told apart if the two beat at least one and a half
  // times.
  f.near_field_rate = std::abs(m.hz - field_hz) * f.seconds < 1.5;
  if (!f.near_field_rate) {
    m.field_hz = field_hz;
    m.hz = refined_frequency(thin, m, half_span, thin_s, 0.1 * step);
  }
  f.hz = m.hz;
  m.harmonics = fit_harmonics;
  const Solved all = solve(p, m, half_span, slot_s, true);
  Model none = m;
  none.harmonics = 0;
  const Solved without = solve(p, none, half_span, slot_s, true);
  const double freedom = static_cast<double>(p.size()) - m.columns() - 1;
  const double variance = all.residual / std::max(1.0, freedom);
  const auto [least, most] = std::minmax_element(
      p.begin(), p.end(), [](const Point& a, const Point& b) { return a.drive < b.drive; });
  f.tilt_pp_mv = std::abs(all.x(trend_terms)) * (most->drive - least->drive);
  f.level_mv = mean + all.x(0);
  f.level_u = std::sqrt(variance * all.covariance(0, 0));

  // Peak to peak of the comb, and its error through the rows at the two peaks.
  Eigen::VectorXd row(m.columns());
  Eigen::VectorXd high_row;
  Eigen::VectorXd low_row;
  double high = -1e300;
  double low = 1e300;
  const Rows rows(m, half_span, 0);
  for (int i = 0; i < 720; ++i) {
    rows.fill({.t = i / (720.0 * m.hz)}, row);
    row.head(other_terms).setZero();
    if (m.field_hz > 0) row.tail(2 * field_harmonics).setZero();
    const double y = row.dot(all.x);
    if (y > high) {
      high = y;
      high_row = row;
    }
    if (y < low) {
      low = y;
      low_row = row;
    }
  }
  f.pp_mv = high - low;
  const Eigen::VectorXd d = high_row - low_row;
  f.pp_u = std::sqrt(std::max(0.0, variance * d.dot(all.covariance * d)));
  for (int k = 1; k <= fit_harmonics; ++k) {
    const int c = other_terms + 2 * (k - 1);
    const auto i = static_cast<std::size_t>(k - 1);
    f.pp_of[i] = 2 * std::hypot(all.x(c), all.x(c + 1));
    f.pp_of_u[i] = 2 * std::sqrt(variance * 0.5 * (all.covariance(c, c) + all.covariance(c + 1, c + 1)));
  }
  // Frequency: a change of it by h moves the waveform by t dy/dt; its error is that of the slope's fit
  // (CRLB); what is left and hangs together over some milliseconds counts as it adds up.
  double information = 0;
  double scatter = 0;
  double together_s = p.front().t;
  const Rows rows_of_all(m, half_span, slot_s);
  double score = 0;
  for (const Point& q : p) {
    double slope = 0;
    for (int k = 1; k <= m.harmonics; ++k) {
      const double w = 2 * pi * k * m.hz;
      const int c = other_terms + 2 * (k - 1);
      slope += 2 * pi * k * q.t * (-all.x(c) * std::sin(w * q.t) + all.x(c + 1) * std::cos(w * q.t));
    }
    information += slope * slope;
    rows_of_all.fill(q, row);
    if (q.t > together_s + piece_s) {
      scatter += score * score;
      score = 0;
      together_s = q.t;
    }
    score += slope * (q.mv - row.dot(all.x));
  }
  scatter += score * score;
  f.hz_u = information > 0 ? std::sqrt(std::max(variance, scatter / information) / information) : 1e3;
  const double sigma_pp =
      std::sqrt(variance * 8.0 / static_cast<double>(p.size()));  // of one sine's peak to peak
  f.least_pp_mv = 6 * sigma_pp + 0.02;
  f.found = (without.residual - all.residual) / std::max(variance, 1e-12) > 60 && f.pp_mv > f.least_pp_mv;
  return f;
}

}  // namespace linebench::measure
