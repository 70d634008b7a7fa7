// The full waveform measurement: one pass over composite samples, every waveform reading of the contract.
#pragma once

#include <linebench/base/progress.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/capture/video_samples.hpp>
#include <optional>
#include <string>

namespace linebench::measure {

struct VideoTraces;

/// What to take the signal for. Auto: by lines, subcarrier and black level.
enum class SystemChoice { Auto, S525, S525NoSetup, S625 };

struct VideoOptions {
  SystemChoice system = SystemChoice::Auto;
  std::optional<double> mains_hz;         ///< 50 or 60: look for hum near this only; otherwise 45 to 65 Hz
  std::optional<double> clock_error_ppm;  ///< recorder's clock error to take out of frequencies (+: fast)
  double velocity_factor = 0.66;          ///< of the cable, for distances to echoes
  std::string cable = "rg59";             ///< type for the equivalent length, see standards/cable.hpp
};

/// Measures all that the samples can support; what they cannot is `unmeasurable` with the reason. One pass,
/// memory independent of length. Readings are `info` until judged. No video, or noise only: `video.signal` is
/// "none" and all else unmeasurable. Throws Error(Unusable) for an empty source or a rate below 2 MS/s, at
/// which sync cannot be measured. @param traces where not null: filled with what pictures are drawn from;
/// lines in `traces->chosen` by number on entry are the ones kept.
[[nodiscard]] Readings measure_video(capture::VideoSource& source, const VideoOptions& options,
                                     const Progress& progress = {}, const StopFlag* stop = nullptr,
                                     VideoTraces* traces = nullptr);

}  // namespace linebench::measure
