// Levels of the picture itself: brightest flat part, black, average.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_statistics.hpp"

namespace linebench::measure {

/// Readings video.setup, video.white, video.apl. Luminance is taken over stretches of two subcarrier cycles
/// so that chroma does not count; only stretches where it stands still are levels.
class LevelMeter : public LineMeter {
 public:
  explicit LevelMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  /// Black, where the picture has one that can be told from grey.
  [[nodiscard]] std::optional<double> black_mv() const;

 private:
  struct Bin {
    std::uint32_t count = 0;
    double sum = 0;
  };
  struct Cluster {
    double mean = 0;
    double from = 0;
    double to = 0;
    double count = 0;
  };
  /// The cluster round the lowest (or highest) peak of the count inside from..to that is not small beside the
  /// others.
  [[nodiscard]] std::optional<Cluster> gather(double from_mv, double to_mv, bool highest_peak) const;
  [[nodiscard]] std::optional<Cluster> white() const;
  [[nodiscard]] std::optional<Cluster> black() const;
  [[nodiscard]] std::optional<double> scatter(const Cluster& c) const;
  [[nodiscard]] std::size_t bin_of(double mv) const;
  [[nodiscard]] double spread() const;

  double gain_;
  double scale_;  // mV of a bin
  double block_us_;
  double block_noise_mv_ = 0;  // of one block's mean
  double clamp_noise_mv_ = 0;  // of a line's blanking
  double nominal_white_mv_;
  double active_from_us_;
  double active_to_us_;
  std::vector<bool> picture_line_;
  std::vector<std::array<Bin, line_groups>> bins_;
  std::vector<float> blocks_;
  std::vector<std::size_t> sizes_;  // samples of each
  std::array<double, line_groups> sum_{};
  std::array<double, line_groups> count_{};
};

}  // namespace linebench::measure
