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

/// A recording, and what a person calls it: a file by its name, one that was just taken by its card's.
struct Recording {
  std::filesystem::path path;
  std::string name;
};

/// Throws Error(Unusable) where there is no steady tone, with the reason.
[[nodiscard]] ToneFound find_tone(const Recording& recording);

/// The clock against a tone of known frequency. @param reference_ppm how well it is known (k=2).
/// Throws Error(Usage) unless the frequency is 10 Hz to 100 kHz; Error(Unusable) where there is no tone, or
/// one so far off (2000 ppm) that it cannot be the reference.
void calibrate_clock(capture::Calibration& c, double reference_hz, double reference_ppm,
                     const Recording& recording);

/// The noise of the card by itself: a recording with nothing plugged in, or the input shorted.
/// Throws Error(Unusable) where noise is not measurable in it or it is louder than any card's own noise.
void calibrate_noise(capture::Calibration& c, const Recording& quiet);

/// "2026-11-25T09:45:00Z".
[[nodiscard]] std::string iso_now();

}  // namespace linebench::app
