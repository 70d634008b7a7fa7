// Readings off an averaged line with their uncertainty: by what they would have been without a part of the
// lines.
#pragma once

#include <functional>
#include <optional>
#include <utility>
#include <vector>

#include "video_line_sums.hpp"
#include "video_stack.hpp"

namespace linebench::measure {

/// An average, and the same with a part of the lines left out or with more noise.
struct Replicates {
  AveragedLine all;
  std::vector<AveragedLine> parts;
  bool left_out = true;  ///< parts leave out a group each; false: they have noise added
};
/// With fewer than four groups of lines, noise of `noise_mv` rms a sample is added instead.
[[nodiscard]] Replicates replicates(const LineSums& sums, double noise_mv);

/// What was read off an average and off each of its replicates: values that follow the samples more or less
/// in proportion, such as levels and angles.
struct Values {
  std::vector<double> all;
  std::vector<std::vector<double>> parts;
  bool left_out = true;
};
[[nodiscard]] Values values_of(const Replicates& r,
                               const std::function<std::vector<double>(const AveragedLine&)>& read);

/// Value number i with its expanded uncertainty (jackknife). nullopt when it is NaN anywhere.
[[nodiscard]] std::optional<Estimate> value_at(const Values& v, std::size_t i);

/// A figure made of the values that need not follow them in proportion (largest less smallest and the like).
/// Noise makes such a figure too large when it is small; what it adds is estimated by drawing the values
/// again with the scatter they have, taken off, and counted into the uncertainty (k=2).
[[nodiscard]] std::optional<Estimate> figure(const Values& v,
                                             const std::function<double(const std::vector<double>&)>& f);

/// Mean and slope per point of n points from `from` on.
[[nodiscard]] std::pair<double, double> straight(const std::vector<double>& y, std::size_t from,
                                                 std::size_t n);
/// Largest less smallest.
[[nodiscard]] double range_of(const std::vector<double>& v);

}  // namespace linebench::measure
