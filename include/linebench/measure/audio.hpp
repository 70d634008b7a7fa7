// The full audio measurement: one pass over a source, every audio reading of the contract.
#pragma once

#include <linebench/base/audio_source.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/base/reading.hpp>
#include <optional>
#include <string>

namespace linebench::measure {

struct AudioOptions {
  std::optional<double> mains_hz;  ///< 50 or 60: look for hum near this only; otherwise 45 to 65 Hz
  std::optional<double> tone_hz;   ///< the tone that was sent, where known: it is then never taken for hum
  std::string signal;              ///< recipe that was sent, where known ("stipa", "tone-1k", ...)
  bool part = false;               ///< of a longer one: who sees the whole tells what is lost at its ends
  std::optional<double> clock_error_ppm;  ///< recorder's clock error to take out of frequencies (+: fast)
};

/// Measures all that the source can support; what it cannot is `unmeasurable` with the reason.
/// One pass, memory independent of length. Readings are `info` until judged.
/// Throws Error(Unusable) for an empty source or one shorter than 0.1 s.
[[nodiscard]] Readings measure_audio(AudioSource& source, const AudioOptions& options,
                                     const Progress& progress = {}, const StopFlag* stop = nullptr);

}  // namespace linebench::measure
