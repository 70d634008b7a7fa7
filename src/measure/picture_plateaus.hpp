// The shape of one mean line: flat stretches, narrow peaks.
#pragma once

#include <span>
#include <vector>

namespace linebench::measure {

struct LineStretch {
  double mean = 0;
  double rms = 0;  ///< about the mean
  double lowest = 0;
  double highest = 0;
};
/// Columns from .. to (rounded inwards).
[[nodiscard]] LineStretch stretch(std::span<const double> line, double from, double to);

struct FramePlateau {
  int from = 0;  ///< first column
  int to = 0;    ///< one past the last
  double mean = 0;
  [[nodiscard]] int width() const { return to - from; }
};
/// Mean level of a plateau's middle half: an echo steps its beginning.
[[nodiscard]] double middle_level(std::span<const double> line, const FramePlateau& p);
/// A peak narrower than 12 px on flat ground.
struct Spike {
  double at = 0;
  double height = 0;  ///< above the base
};
struct LineShape {
  double base = 0;  ///< the lowest level that stands far, or the most common level
  std::vector<FramePlateau>
      plateaus;  ///< at least 12 px of level line, left to right; equal neighbours joined
  std::vector<Spike> spikes;
};
[[nodiscard]] LineShape line_shape(std::span<const double> line, int from, int to);

/// Whether the line rises or falls evenly over at least 60 % of the width.
[[nodiscard]] bool is_ramp(std::span<const double> line, int from, int to);

}  // namespace linebench::measure
