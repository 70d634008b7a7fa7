// The picture measurement: one pass over a grabber's frames, every picture reading of the contract.
#pragma once

#include <linebench/base/progress.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/capture/frame_source.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::measure {

struct PictureOptions {
  std::optional<int> lines;        ///< 525 or 625 instead of what the source says
  bool setup = true;               ///< 525: black at 7.5 IRE, for the mV that codes stand for
  std::optional<double> mains_hz;  ///< 50 or 60: look for hum near this only; otherwise 45 to 65 Hz
  double velocity_factor = 0.66;   ///< of the cable, for distances to echoes
  std::string signal{};  ///< recipe that was sent, where known: tells bars of 75 from those of 100 %
};

/// What a page draws beside the readings. Row numbers count frame rows from the top.
struct PictureTraces {
  int width = 0;
  int height = 0;
  std::vector<std::uint8_t> y, cb, cr;  ///< the frame shown, planes as capture::Frame
  std::vector<double> row_mean;         ///< luma codes of each row of it, less the picture where known
  std::vector<double> hum_row;          ///< the fitted hum on the same rows; empty where none was found
  std::vector<double> row_shift;        ///< sideways place of each row, px (+: right); NaN where not known
  std::vector<double> spectrum_hz, spectrum_codes;  ///< of the row means over line time: amplitude
  /// Track of the picture's vertical place; frames that could not be followed are left out. Empty where all
  /// rows look alike.
  std::vector<double> roll_s, roll_lines;
  std::vector<double> line_y;  ///< mean line of the largest band, codes
};

/// Measures all that the frames can support; what they cannot is `unmeasurable` with the reason. One pass,
/// memory independent of length; the first frames (at most 12) are looked at twice. Readings are `info` until
/// judged. No picture: `picture.signal` is "none" and all else unmeasurable. Throws Error(Unusable) for a
/// source without frames.
/// @param traces filled for a page where not null.
[[nodiscard]] Readings measure_picture(capture::FrameSource& source, const PictureOptions& options,
                                       const Progress& progress = {}, const StopFlag* stop = nullptr,
                                       PictureTraces* traces = nullptr);

}  // namespace linebench::measure
