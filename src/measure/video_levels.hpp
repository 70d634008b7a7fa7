// Levels of the picture itself: brightest flat part, black, average.
#pragma once

#include <array>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_black.hpp"
#include "video_blocks.hpp"
#include "video_level_bins.hpp"

namespace linebench::measure {

/// Readings video.setup, video.white, video.apl. Luminance is taken over stretches of two subcarrier cycles
/// so that chroma does not count; only stretches where it stands still are levels.
class LevelMeter : public LineMeter {
 public:
  explicit LevelMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  /// Black, where the picture has one that can be told from grey and from lines without picture.
  [[nodiscard]] std::optional<double> black_mv() const { return black_.mv(); }

 private:
  [[nodiscard]] std::optional<LevelCluster> white() const;

  double gain_;
  double block_us_;
  double spread_;              // of a level, by noise
  double block_noise_mv_ = 0;  // of one block's mean
  LevelBins bins_;
  BlackLevel black_;
  double nominal_white_mv_;
  double active_from_us_;
  double active_to_us_;
  std::vector<bool> picture_line_;
  LineBlocks blocks_;
  std::vector<float> level_;  // of each
  std::array<double, line_groups> sum_{};
  std::array<double, line_groups> count_{};
};

}  // namespace linebench::measure
