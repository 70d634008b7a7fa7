// Reflections on the path: delay, level, sign, distance.
#pragma once

#include <functional>
#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_echo_fit.hpp"
#include "video_stack.hpp"

namespace linebench::measure {

/// video.echo.delay, .level, .distance, .polarity of the strongest, video.echo.N.* of each. From the mean of
/// picture lines, whose sync tip and porches show echoes up to some 4 us, and of the empty lines of field
/// blanking, which show them up to 30 us.
class EchoMeter : public LineMeter {
 public:
  EchoMeter(const VideoSetup& setup, double velocity_factor);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  /// The mean lines; `mean` says of which part of the data.
  [[nodiscard]] std::vector<EchoLine> lines(const VideoSetup& setup,
                                            const std::function<Trace(const LineStack&)>& mean) const;
  /// Echoes found, strongest first; valid after finish().
  [[nodiscard]] const std::vector<Echo>& found() const { return found_; }

 private:
  double velocity_factor_;
  double active_from_us_;
  double front_porch_us_;
  double line_us_;
  std::size_t points_;
  std::vector<bool> empty_;    // lines of field blanking
  std::vector<bool> picture_;  // lines whole picture
  LineStack picture_lines_;
  LineStack empty_lines_;
  std::vector<Echo> found_;
};

}  // namespace linebench::measure
