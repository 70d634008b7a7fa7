#include "lowband_shape.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double reach = 5;  // standard deviations the Gaussian is summed over
constexpr double step_s = 8e-6;
// Picture edges before the first equalising pulse and line sync after the last are kept this far away.
constexpr double picture_guard_s = 85e-6;
constexpr double line_guard_s = 20e-6;

double gauss(double x) { return std::exp(-0.5 * x * x); }
double up_to(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

// A pulse from 0 to -1 through the Gaussian, and its derivative by time.
double pulse(double t, double from, double to) {
  return -(up_to((t - from) / lowband_sigma_s) - up_to((t - to) / lowband_sigma_s));
}
double pulse_slope(double t, double from, double to) {
  const double scale = 1 / (lowband_sigma_s * std::sqrt(2 * std::numbers::pi));
  return -scale * (gauss((t - from) / lowband_sigma_s) - gauss((t - to) / lowband_sigma_s));
}

// The next derivative: a card whose response falls early draws edges out.
double pulse_bend(double t, double from, double to) {
  const auto bend = [](double x) { return -x * gauss(x); };
  const double scale = 1 / (lowband_sigma_s * lowband_sigma_s * std::sqrt(2 * std::numbers::pi));
  return -scale * (bend((t - from) / lowband_sigma_s) - bend((t - to) / lowband_sigma_s));
}
struct Pulses {
  double half_s = 0;
  int before = 0;
  int broad = 0;
  int after = 0;
  double equalising_s = 0;
  double broad_s = 0;

  template <typename Shape>
  [[nodiscard]] double sum(double t, Shape&& shape) const {
    double v = 0;
    for (int i = -before; i < broad + after; ++i) {
      const double width = i >= 0 && i < broad ? broad_s : equalising_s;
      v += shape(t, i * half_s, i * half_s + width);
    }
    return v;
  }
};

double share_std(const standards::Spec& s) {
  return s.has_tolerance() ? 0.5 * (s.plus + s.minus) / std::sqrt(3.0) : 0.0;
}

}  // namespace

bool LowbandWindow::covers(double from_s, double to_s) const {
  const double edge = reach * lowband_sigma_s;
  return (from_s - edge) * rate_hz >= static_cast<double>(first) &&
         (to_s + edge) * rate_hz <= static_cast<double>(first) + static_cast<double>(mv.size()) - 1;
}

double smoothed_at(const LowbandWindow& w, double t_s) {
  const double at = t_s * w.rate_hz - static_cast<double>(w.first);
  const double sigma = lowband_sigma_s * w.rate_hz;
  const auto a = static_cast<std::int64_t>(std::ceil(at - reach * sigma));
  const auto b = static_cast<std::int64_t>(std::floor(at + reach * sigma));
  double sum = 0;
  double weight = 0;
  for (std::int64_t n = a; n <= b; ++n) {
    const double g = gauss((static_cast<double>(n) - at) / sigma);
    sum += g * static_cast<double>(w.mv[static_cast<std::size_t>(n)]);
    weight += g;
  }
  return sum / weight;
}

VerticalShape::VerticalShape(const standards::VideoStandard& s) {
  Pulses p;
  p.half_s = s.half_line_us() * 1e-6;
  p.before = s.equalising_before;
  p.broad = s.broad;
  p.after = s.equalising_after;
  p.equalising_s = s.equalising_width_us.nominal * 1e-6;
  p.broad_s = s.broad_width_us.nominal * 1e-6;
  // The plateau stands below the equalising pulses' mean by the difference of their duties.
  const double duty_us = s.broad_width_us.nominal - s.equalising_width_us.nominal;
  width_uncertainty_ = std::hypot(share_std(s.broad_width_us), share_std(s.equalising_width_us)) / duty_us;

  const double from = -p.before * p.half_s + picture_guard_s;
  const double end = (p.broad + p.after) * p.half_s;  // where line sync may begin, or half a line later
  const double next_width = s.sync_width_us.nominal * 1e-6;
  const auto points = static_cast<std::size_t>((end - line_guard_s - from) / step_s) + 1;
  Eigen::MatrixXd a(static_cast<Eigen::Index>(points), static_cast<Eigen::Index>(columns));
  double integral = 0;
  double t_done = from;
  for (std::size_t i = 0; i < points; ++i) {
    const double t = from + static_cast<double>(i) * step_s;
    constexpr int parts = 16;
    for (const double until = t; t_done < until - 1e-12; t_done += step_s / parts) {
      integral += step_s / parts * p.sum(t_done + 0.5 * step_s / parts, pulse);
    }
    const std::array<double, columns> row = {
        p.sum(t, pulse),     p.sum(t, pulse_slope), 1.0, t, integral, pulse(t, end, end + next_width),
        p.sum(t, pulse_bend)};
    grid_.push_back(t);
    rows_.push_back(row);
    for (std::size_t c = 0; c < columns; ++c)
      a(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(c)) = row[c];
  }
  // Columns differ by orders of magnitude: scale them before the pseudo-inverse.
  Eigen::VectorXd scale = a.colwise().norm();
  for (Eigen::Index c = 0; c < a.cols(); ++c) a.col(c) /= scale(c);
  const auto inverse_of = [&](Eigen::Index used) {
    const Eigen::MatrixXd inverse = a.leftCols(used).completeOrthogonalDecomposition().pseudoInverse();
    Rows rows(points, std::array<double, columns>{});
    for (std::size_t i = 0; i < points; ++i) {
      for (Eigen::Index c = 0; c < used; ++c)
        rows[i][static_cast<std::size_t>(c)] = inverse(c, static_cast<Eigen::Index>(i)) / scale(c);
    }
    return rows;
  };
  followed_ = inverse_of(a.cols() - 1);
  drawn_out_ = inverse_of(a.cols());
}

void VerticalShape::sample(const LowbandWindow& w, double t_s, std::span<double> out) const {
  for (std::size_t i = 0; i < grid_.size(); ++i) out[i] = smoothed_at(w, t_s + grid_[i]);
}

VerticalFit VerticalShape::fit(std::span<const double> values, const Rows& inverse) const {
  std::array<double, columns> x{};
  for (std::size_t i = 0; i < grid_.size(); ++i) {
    for (std::size_t c = 0; c < columns; ++c) x[c] += inverse[i][c] * values[i];
  }
  double sum2 = 0;
  for (std::size_t i = 0; i < grid_.size(); ++i) {
    double r = values[i];
    for (std::size_t c = 0; c < columns; ++c) r -= rows_[i][c] * x[c];
    sum2 += r * r;
  }
  VerticalFit f;
  f.sync = x[0];
  f.shift_s = x[0] != 0 ? -x[1] / x[0] : 0.0;
  f.level = x[2];
  f.slope = x[3];
  f.step = x[4];
  f.drawn = x[0] != 0 ? 2 * x[6] / x[0] / (lowband_sigma_s * lowband_sigma_s) : 0.0;
  f.residual = std::sqrt(sum2 / static_cast<double>(grid_.size() - columns));
  return f;
}

}  // namespace linebench::measure
