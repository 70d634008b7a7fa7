// The lowband view: a composite signal taken in by a calibrated sound card's line input, through a pad.
//
// At 44.1 to 192 kHz the picture's detail, burst and edges are gone, but vertical sync, the line rate and all
// that is slow are there. What this view cannot show is `unmeasurable`, with the reason.
#pragma once

#include <linebench/base/audio_source.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/measure/video.hpp>
#include <optional>

namespace linebench::measure {

struct LowbandOptions {
  SystemChoice system = SystemChoice::Auto;
  std::optional<double> mains_hz;         ///< 50 or 60: look for hum near this only; otherwise 45 to 65 Hz
  std::optional<double> clock_error_ppm;  ///< recorder's clock error to take out of frequencies (+: fast)
};

/// Measures the channel that carries a television line rate. Levels are in mV on the line, by
/// facts().full_scale_v (volts, peak, on the line that a sample value of 1.0 stands for: the pad included);
/// without it they are unmeasurable.
///
/// - Sync amplitude: from the broad pulses' plateau against the equalising pulses, by a fit of the standard's
///   vertical sync seen through a 6 kHz low-pass, which leaves the card's own bandwidth and ringing without
///   effect; the droop and the step that the card's coupling capacitors leave are terms of the fit. 1 to 2 %
///   at all rates, most of it the standard's tolerance of the pulses' widths.
/// - Line and field frequency: by phase over the whole capture; 1 ppm of the recorder's clock in 2 s.
/// - Hum: jointly with all harmonics of the frame rate, which are the picture's; what lies within 1/length of
///   the field rate cannot be told from the picture and is said so.
/// - Average picture level: mean re blanking with the coupling capacitors' effect taken out.
///
/// One pass in memory that does not grow with length. Throws Error(Unusable) for an empty source or a rate
/// outside 44.1 kHz to 1 MHz.
[[nodiscard]] Readings measure_lowband(AudioSource& source, const LowbandOptions& options,
                                       const Progress& progress = {}, const StopFlag* stop = nullptr);

}  // namespace linebench::measure
