// Intermodulation of the two-tone test signals.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/spectrum.hpp>
#include <optional>
#include <span>
#include <string_view>

namespace linebench::measure {

/// A pair of tones known to a standard, as found.
struct TwoTone {
  enum class Kind { Smpte, Difference } kind = Kind::Smpte;
  double low_bins = 0;
  double high_bins = 0;
  double low_mean_square = 0;
  double high_mean_square = 0;
};

/// 60 Hz with 7 kHz (the low tone 0 to 24 dB above), or 19 with 20 kHz (within 6 dB), each within 0.5 %.
/// @param power averaged |bin|^2
[[nodiscard]] std::optional<TwoTone> find_two_tone(std::span<const double> power, const SpectrumShape& shape);

/// audio.imd.smpte: rms of the 7 kHz +- n 60 Hz side tones, n = 1 to 5, over the 7 kHz tone [RP 120].
/// audio.imd.difference: rms of the products at f2 - f1, 2 f1 - f2 and 2 f2 - f1 over the sum of both
/// amplitudes [IEC 60268-3]. Powers, noise beside them taken off. None of them: two `unmeasurable` readings.
/// @param looks independent looks at noise power
[[nodiscard]] Readings intermodulation_readings(const std::optional<TwoTone>& pair,
                                                std::span<const double> power, const SpectrumShape& shape,
                                                double looks, std::string_view suffix);

}  // namespace linebench::measure
