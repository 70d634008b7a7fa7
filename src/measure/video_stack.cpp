#include "video_stack.hpp"

#include <cmath>
#include <limits>

#include "video_interpolate.hpp"

namespace linebench::measure {
namespace {
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
}

double Trace::mean(double from, double to) const {
  const double a = std::ceil((from - from_us) / step_us - 1e-9);
  const double b = std::floor((to - from_us) / step_us + 1e-9);
  if (y.empty() || a < 0 || b >= static_cast<double>(y.size()) || a > b) return nan;
  double sum = 0;
  for (auto i = static_cast<std::size_t>(a); i <= static_cast<std::size_t>(b); ++i)
    sum += static_cast<double>(y[i]);
  return sum / (b - a + 1);
}

double Trace::crossing(double level, double near, double limit) const {
  if (y.empty()) return nan;
  constexpr int fine = 16;
  const double step = (limit < near ? -1.0 : 1.0) / fine;  // in grid points
  const double begin = (near - from_us) / step_us;
  const auto n = static_cast<std::size_t>(std::abs(limit - near) / step_us * fine);
  if (n < 2) return nan;
  std::vector<float> line(n);
  interpolate(y, begin, step, line);
  const auto target = static_cast<float>(level);
  for (std::size_t i = 1; i < n; ++i) {
    const float a = line[i - 1] - target;
    const float b = line[i] - target;
    if ((a <= 0) == (b <= 0)) continue;
    const double at = static_cast<double>(i - 1) + static_cast<double>(a / (a - b));
    return from_us + step_us * (begin + step * at);
  }
  return nan;
}

LineStack::LineStack(double from_us, double to_us, double rate_hz)
    : from_us_(from_us),
      step_us_(1e6 / rate_hz),
      points_(static_cast<std::size_t>(std::ceil((to_us - from_us) / step_us_ / 16.0)) * 16),
      scratch_(points_),
      sums_(line_groups, std::vector<double>(points_, 0.0)),
      weights_(line_groups, 0.0) {}

void LineStack::add(const LineView& v, double shift_us, double factor, double weight) {
  v.resample(from_us_ + shift_us, step_us_, scratch_);
  const std::size_t g = group_of(v.index);
  std::vector<double>& sum = sums_[g];
  for (std::size_t i = 0; i < points_; ++i) sum[i] += factor * static_cast<double>(scratch_[i]);
  weights_[g] += weight;
  count_ += 1;
}

Trace LineStack::mean() const {
  Trace t{from_us_, step_us_, {}};
  double weight = 0;
  for (const double w : weights_) weight += w;
  if (!(weight > 0)) return t;
  t.y.resize(points_);
  for (std::size_t i = 0; i < points_; ++i) {
    double sum = 0;
    for (const auto& s : sums_) sum += s[i];
    t.y[i] = static_cast<float>(sum / weight);
  }
  return t;
}

Trace LineStack::mean(std::size_t group) const {
  Trace t{from_us_, step_us_, {}};
  if (!(weights_[group] > 0)) return t;
  t.y.resize(points_);
  for (std::size_t i = 0; i < points_; ++i) t.y[i] = static_cast<float>(sums_[group][i] / weights_[group]);
  return t;
}

std::optional<Estimate> LineStack::read(const std::function<double(const Trace&)>& read) const {
  const Trace all = mean();
  if (all.empty()) return std::nullopt;
  const double value = read(all);
  const auto u = group_uncertainty([&](std::size_t g) {
    const Trace t = mean(g);
    return t.empty() ? nan : read(t);
  });
  if (!std::isfinite(value) || !u) return std::nullopt;
  return Estimate{value, *u};
}

Trace mean_of_half(const LineStack& stack, std::size_t half, std::size_t without) {
  Trace t;
  float n = 0;
  for (std::size_t g = half; g < line_groups; g += 2) {
    if (g == without) continue;
    const Trace part = stack.mean(g);
    if (part.empty()) continue;
    if (t.empty()) t = Trace{part.from_us, part.step_us, std::vector<float>(part.y.size(), 0.0F)};
    for (std::size_t i = 0; i < t.y.size(); ++i) t.y[i] += part.y[i];
    n += 1;
  }
  for (float& y : t.y) y /= n;
  return t;
}

}  // namespace linebench::measure
