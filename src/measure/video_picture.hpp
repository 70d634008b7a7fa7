// The test-picture measures: all that needs to know what is on the line.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_content.hpp"
#include "video_pattern.hpp"

namespace linebench::measure {

/// video.pattern, bars, multiburst, K2T, pulse to bar, tilts, non-linearity, differential gain and phase,
/// chrominance delay and gain; and video.white from a bar where there is one. What is not there is
/// unmeasurable, with the picture that would show it.
class PictureMeter : public LineMeter {
 public:
  explicit PictureMeter(const VideoSetup& setup) : content_(setup) {}
  void line(const LineView& view) override { content_.line(view); }
  void finish(const VideoSetup& setup, Readings& out) override;
  [[nodiscard]] const ContentMeter& content() const { return content_; }
  /// After finish(): what was recognised, most lines first.
  [[nodiscard]] const std::vector<KnownLine>& known() const { return known_; }

 private:
  ContentMeter content_;
  std::vector<KnownLine> known_;
};

}  // namespace linebench::measure
