// Uncertainty from the scatter of what each of several groups of lines says on its own.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <linebench/measure/statistics.hpp>
#include <optional>

namespace linebench::measure {

/// Lines are dealt to this many groups in turn, four neighbours at a time: over four lines subcarrier phase
/// and V switch come round, and groups spread over the whole capture share its slow changes.
inline constexpr std::size_t line_groups = 16;
[[nodiscard]] inline std::size_t group_of(std::uint64_t index) {
  return static_cast<std::size_t>(index / 4) % line_groups;
}

/// Expanded uncertainty of a mean from the values of the groups that have one; nullopt with fewer than four.
/// @param value of group g, or NaN.
[[nodiscard]] inline std::optional<double> group_uncertainty(
    const std::function<double(std::size_t)>& value) {
  double sum = 0;
  double sum2 = 0;
  std::size_t n = 0;
  double first = 0;
  for (std::size_t g = 0; g < line_groups; ++g) {
    const double v = value(g);
    if (!std::isfinite(v)) continue;
    if (n == 0) first = v;
    sum += v - first;
    sum2 += (v - first) * (v - first);
    ++n;
  }
  if (n < 4) return std::nullopt;
  const auto m = static_cast<double>(n);
  const double variance = std::max(0.0, (sum2 - sum * sum / m) / (m - 1));
  return coverage_factor(m - 1) * std::sqrt(variance / m);
}

/// The same from values of all data but a group's each (jackknife): for figures that a group alone is too
/// noisy to give. @param value without group g, or NaN.
[[nodiscard]] inline std::optional<double> jackknife_uncertainty(
    const std::function<double(std::size_t)>& value) {
  const auto u = group_uncertainty(value);
  if (!u) return std::nullopt;
  std::size_t n = 0;
  for (std::size_t g = 0; g < line_groups; ++g) n += std::isfinite(value(g)) ? 1 : 0;
  // Scatter of means without one of n: n - 1 times smaller than that of the groups themselves.
  return *u * static_cast<double>(n - 1);
}

/// Independent parts of an expanded uncertainty together.
[[nodiscard]] inline double together(double a, double b) { return std::hypot(a, b); }

}  // namespace linebench::measure
