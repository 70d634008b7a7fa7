// What a report's pictures of a composite signal are drawn from; gathered beside the measurement in the same
// pass. For looking at, not for judging.
#pragma once

#include <complex>
#include <linebench/base/reading.hpp>
#include <linebench/measure/video_line.hpp>
#include <memory>
#include <vector>

namespace linebench::measure {

struct VideoTraces {
  struct Line {
    int number = 0;  ///< standard's line number; 0: no vertical sync to count from
    std::vector<double> us, mv;
  };
  std::vector<Line> chosen;    ///< the lines asked for, or one from the middle of the picture
  std::vector<Line> overlaid;  ///< up to 24 picture lines, evenly over one frame
  std::vector<std::complex<double>>
      chroma;                    ///< U + jV along those, mV peak, V switch undone; empty without colour
  std::complex<double> burst{};  ///< mean burst, the same way
  Curve spectrum;                ///< Hz / dB: mean over lines; a sine of 1 V peak to peak stands at 0 dB
  int lines = 625;
  bool setup = false;
};

/// Takes the traces. Memory: a megabyte.
class VideoTraceMeter : public LineMeter {
 public:
  /// @param lines numbers of the lines to keep; empty: one from the middle.
  VideoTraceMeter(const VideoSetup& setup, std::vector<int> lines);
  ~VideoTraceMeter() override;
  void line(const LineView& view) override;
  /// Adds no readings.
  void finish(const VideoSetup& setup, Readings& out) override;
  [[nodiscard]] const VideoTraces& traces() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::measure
