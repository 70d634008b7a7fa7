// Small statistics that measurements share: coverage factors and the error of a mean from the data's own
// spread.
#pragma once

#include <cstddef>
#include <numbers>
#include <span>

namespace linebench::measure {

/// Coverage factor for 95.45 % (what k=2 means for a normal error) with few degrees of freedom: Student's t
/// [GUM G.3.2]. 2.00 for many, 2.87 for 4, 13.97 for 1; below 1 it is taken as 1.
[[nodiscard]] double coverage_factor(double degrees_of_freedom);

/// Expanded (k=2) error of the mean of a series in order of time, from the differences of neighbouring
/// stretches (von Neumann's estimate: slow trends and single steps count little). The series is cut into at
/// most `batches` stretches, so that correlation shorter than a stretch is taken in. Infinite for fewer than
/// 3 values.
[[nodiscard]] double expanded_mean_error(std::span<const double> series, std::size_t batches);

/// Expanded uncertainty (k=2) in dB of a power known to `standard_u` (k=1), linear: for u well under the
/// power.
[[nodiscard]] inline double expanded_u_db(double power, double standard_u) {
  return 2.0 * 10.0 / std::numbers::ln10 * standard_u / power;
}

}  // namespace linebench::measure
