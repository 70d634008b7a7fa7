// The steps of a calibration: each measures one thing about a card, from a recording.
#pragma once

#include <filesystem>
#include <linebench/base/audio_source.hpp>
#include <linebench/capture/calibration.hpp>
#include <string>

namespace linebench::app {

/// A steady tone in a recording: of the channel where it is strongest.
struct ToneFound {
  double hz = 0;
  double hz_uncertainty = 0;  ///< k=2
  double dbfs = 0;
};

/// Throws Error(Unusable) where there is no steady tone, with the reason.
[[nodiscard]] ToneFound find_tone(const std::filesystem::path& recording);

/// The clock against a tone of known frequency.
/// Throws Error(Usage) unless the frequency is 10 Hz to 100 kHz; Error(Unusable) where there is no tone, or
/// one so far off (2000 ppm) that it cannot be the reference.
void calibrate_clock(capture::Calibration& c, double reference_hz, const std::filesystem::path& recording);

/// The noise of the card by itself: a recording with nothing plugged in, or the input shorted.
/// Throws Error(Unusable) where noise is not measurable in it or it is louder than any card's own noise.
void calibrate_noise(capture::Calibration& c, const std::filesystem::path& quiet);

/// "2026-11-25T09:45:00Z".
[[nodiscard]] std::string iso_now();

}  // namespace linebench::app
