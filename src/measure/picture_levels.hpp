// Levels and colours of a recognised pattern, its frequency response and echoes, from the mean line of its
// band; and whether there is colour at all.
#pragma once

#include <linebench/base/reading.hpp>

#include "picture_gain_watch.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureLevelMeter final : public FrameMeter {
 public:
  explicit PictureLevelMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  /// @param noise of a frame, codes rms
  void finish(double noise, const PictureOptions& options, Readings& out, PictureTraces* traces) const;
  /// Rms of colour over the picture, codes.
  [[nodiscard]] double colour_codes() const;

 private:
  struct Line {
    std::vector<std::uint32_t> y, cb, cr;
    std::uint64_t rows = 0;
  };
  [[nodiscard]] std::vector<double> mean(const std::vector<std::uint32_t>& sums) const;

  const PictureSetup& setup_;
  std::vector<int> rows_;  // of the band, clear of the top
  Line line_;
  GainWatch gain_;
  double colour_ = 0;
  std::uint64_t colour_blocks_ = 0;
};

/// A mean line and what is known of its noise.
struct MeanLine {
  std::vector<double> y;
  double sigma = 0;  ///< standard error of one column, noise and rounding, codes
};

/// picture.echo.* from a line with sharp edges on level ground.
void echo_readings(const PictureSetup& setup, const MeanLine& line, double velocity_factor, Readings& out);

/// picture.multiburst.
void multiburst_readings(const PictureSetup& setup, const MeanLine& line, Readings& out);

}  // namespace linebench::measure
