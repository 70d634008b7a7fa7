// Colours without a burst: what a receiver shows grey though the source sends colour.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_picture.hpp"

namespace linebench::measure {

/// Where no burst was found, looks for the subcarrier where colour bars have their colours, and says beside
/// video.burst.amplitude, which has been read before, that it stands there; gives video.burst.lost.
class LostBurstMeter : public LineMeter {
 public:
  /// @param picture knows at the end where bars are; it must outlive this.
  LostBurstMeter(const VideoSetup& setup, const PictureMeter& picture);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  /// Root of the mean square of the subcarrier in a stretch, mV peak; negative where none was taken there.
  [[nodiscard]] double tone_in(double from_us, double to_us) const;

  const PictureMeter& picture_;
  double hz_ = 0;  // 0: not looked for
  double lines_ = 0;
  std::vector<double> power_;  // by stretches along the line
};

}  // namespace linebench::measure
