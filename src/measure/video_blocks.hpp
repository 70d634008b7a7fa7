// A line cut into blocks of even length: how high each stands and how much moves in it.
#pragma once

#include <cstddef>
#include <linebench/measure/video_line.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// Two cycles of the subcarrier, us: over so long colour averages out. Of the system's where no burst was
/// found, for colour may be there without.
[[nodiscard]] double two_cycles_us(const VideoSetup& setup);

/// Sums over consecutive blocks of samples; a border between two falls on the nearest whole sample.
class LineBlocks {
 public:
  std::vector<float> sum;
  std::vector<float> square;  ///< sum of squares
  std::vector<float> size;    ///< samples
  /// Cuts `count` blocks of `step` samples, from sample `from` on; what lies beyond the end of x is left out.
  void take(std::span<const float> x, double from, double step, std::size_t count);

 private:
  std::vector<std::size_t> borders_;
};

}  // namespace linebench::measure
