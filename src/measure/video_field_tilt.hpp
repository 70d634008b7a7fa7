// Field-time distortion: what the levels of lines do down a field.
#pragma once

#include <array>
#include <linebench/measure/video_line.hpp>
#include <vector>

namespace linebench::measure {

/// video.field_tilt: on a field-rate square wave or window, levels without any clamp. Mains hum on the signal
/// counts unless it moves through the field.
class FieldTiltMeter : public LineMeter {
 public:
  explicit FieldTiltMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;
  /// Bright and dark lines in one field, as a field square wave or a window has them: less than a tilt needs.
  [[nodiscard]] bool wave_seen(const VideoSetup& setup) const;

 private:
  static constexpr std::size_t groups = 8;  // frames in turn
  struct Sum {
    double count = 0;
    double clamped = 0;
    double raw = 0;
    double slant = 0;  // of the stretch that is read, second half less first
  };
  struct Run {
    int first = 0;  // line numbers
    int last = 0;
    double top_mv = 0;    // of the lines in it, re blanking
    double black_mv = 0;  // of the dark ones
  };
  [[nodiscard]] std::vector<Run> runs_of(const VideoSetup& setup) const;
  [[nodiscard]] std::vector<Run> bright_runs(double white_mv) const;

  int lines_;
  std::array<std::vector<Sum>, groups> sums_;
  int pending_line_ = 0;
  std::uint64_t pending_index_ = 0;
  std::size_t pending_group_ = 0;
  double pending_mv_ = 0;
  double pending_slant_ = 0;
  double pending_blanking_ = 0;
};

}  // namespace linebench::measure
