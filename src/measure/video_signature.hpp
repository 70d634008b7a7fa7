// What a line looks like in a hundred numbers: enough to tell whether two lines carry the same content.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_blocks.hpp"

namespace linebench::measure {

/// Levels and activity of a line along its active part, in steps of about two subcarrier cycles.
struct LineSignature {
  std::vector<float> level;     ///< mV, subcarrier taken out
  std::vector<float> activity;  ///< mV rms about the level: subcarrier, packets, edges
  [[nodiscard]] bool empty() const { return level.empty(); }
};

/// Takes signatures and compares them, allowing for the noise of this capture.
class SignatureTaker {
 public:
  explicit SignatureTaker(const VideoSetup& setup);
  /// Empty when the view does not cover the active line. The result lives until the next call.
  const LineSignature& take(const LineView& v);
  /// Whether one line may be of the content whose mean over `lines` lines is given. A line of the same
  /// content is refused less than once in a thousand; one with a test pulse more or less is refused at 20 dB
  /// SNR.
  [[nodiscard]] bool same(const LineSignature& line, const LineSignature& mean, double lines) const;

 private:
  double gain_;
  double block_us_;
  double from_us_;
  double to_us_;
  float level_noise_;  // standard deviations of one line's features
  float activity_noise_;
  LineSignature last_;
  LineBlocks blocks_;
};

}  // namespace linebench::measure
