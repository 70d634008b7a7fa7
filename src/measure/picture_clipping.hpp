// Where a picture stands at the end of its codes, so that hum and noise are cut off.
#pragma once

#include <linebench/capture/frame_source.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// Where codes end, as noise tells: the lowest or highest code that comes at all, many times. -1 and 256:
/// they do not, or noise is too little (below 0.6 codes) to tell a limit from a level.
struct CodeLimits {
  int lowest = -1, highest = 256;
  /// A level that only that code comes of: noise about it would be cut off on one side only, so it lies
  /// beyond.
  [[nodiscard]] bool cuts_black(double level) const { return lowest >= 0 && level < lowest + least; }
  [[nodiscard]] bool cuts_white(double level) const { return highest < 256 && level > highest - least; }

 private:
  // Noise of 0.6 codes about a level half a code above the limit's own would show this much.
  static constexpr double least = 0.06;
};
[[nodiscard]] CodeLimits code_limits(std::span<const capture::Frame> frames, double noise);

/// Blocks of 8 px of each row, rows x (width / 8): 1 where more than 2 % of the samples of the frames are at
/// the lowest or highest code that comes at all, and that is a limit's place (20 and below, 230 and above);
/// and, of what was RGB on the way, where red, green or blue comes near 0 or 255. Empty where nothing does,
/// and of clean pictures (noise below 0.6 codes), whose white is one code without any limit.
[[nodiscard]] std::vector<std::uint8_t> held_blocks(std::span<const capture::Frame> frames,
                                                    const capture::FrameFormat& format, double noise);

}  // namespace linebench::measure
