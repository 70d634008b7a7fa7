// Line blanking: sync, its edges, the porches; and the pulses of field blanking.
#pragma once

#include <linebench/measure/video_line.hpp>

#include "video_stack.hpp"

namespace linebench::measure {

/// video.sync.amplitude, .width, .rise, video.gain, video.front_porch, video.back_porch.
/// Everything is read off mean waveforms over all picture lines, uncertainty from groups of lines.
class SyncMeter : public LineMeter {
 public:
  explicit SyncMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  /// 50 % point of the mean leading edge re LineView::t0, and of the trailing edge, us. NaN before there are
  /// lines.
  [[nodiscard]] double leading_us() const;
  [[nodiscard]] std::optional<Estimate> trailing_us() const;
  /// Whether the picture was seen to end before blanking should begin, on all lines that show it.
  [[nodiscard]] bool picture_ends_early() const;

 private:
  void porches(const VideoSetup& setup, Readings& out) const;
  double active_from_us_;
  double front_porch_us_;
  LineStack blanking_;       // sync and the flat parts round it
  LineStack picture_end_;    // end of picture, re its level before, on lines bright up to blanking
  LineStack early_end_;      // the same on lines that end sooner, as test lines may
  LineStack picture_start_;  // start of picture, re its level after
  double edge_noise2_ = 0;
};

/// video.equalising.width, video.broad.width.
class PulseMeter : public LineMeter {
 public:
  explicit PulseMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  void half_line(const LineView& v, double at_us, bool broad);
  double half_line_us_;
  LineStack equalising_;
  LineStack broad_;
};

}  // namespace linebench::measure
