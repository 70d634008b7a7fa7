// Noise or music: how the power of a channel's spectrum is spread over time and over neighbouring bins.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace linebench::measure {

/// The square of the mean magnitude over the mean square is pi/4 = 0.785 for Gaussian noise, 1 for what is
/// steady, little for what is there now and then. Taken over time it is blind to the shape of the spectrum,
/// taken over neighbouring bins to changes of level.
class Texture {
 public:
  /// @param power |bin|^2 of a segment; of the same length each time.
  void add(std::span<const double> power);
  /// Over time, bins weighed by their power. 1 before two segments.
  [[nodiscard]] double over_time() const;
  /// Over 32 neighbouring bins, weighed by their power. 1 before any segment.
  [[nodiscard]] double over_bins() const;

 private:
  std::vector<double> magnitude_, power_;
  double count_ = 0, even_ = 0, all_ = 0;
};

}  // namespace linebench::measure
