// Reads the tone that was tracked: frequency, level, harmonics, and everything beside it.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/noise.hpp>
#include <linebench/measure/tone_track.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct Harmonic {
  int order = 2;
  double mean_square = 0;  ///< noise taken off; may be slightly negative where there is none
  double variance = 0;     ///< of mean_square
  bool found = false;      ///< stands out of the noise
};

/// A sudden change of the tone's level.
struct LevelStep {
  double db = 0;    ///< later over earlier
  double u_db = 0;  ///< expanded (k=2)
  double time_s = 0;
  double time_u_s = 0;  ///< bounds
};

struct ToneResult {
  bool found = false;
  std::string reason;         ///< why there is none
  double frequency_hz = 0;    ///< by the recorder's nominal rate
  double frequency_u_hz = 0;  ///< expanded (k=2)
  double mean_square = 0;
  double mean_square_rel_u = 0;  ///< expanded (k=2), relative
  double from_s = 0;             ///< stretch it was read from
  double to_s = 0;
  bool steady = true;               ///< false: its level moved by up to 1 dB from segment to segment
  double level_spread = 0;          ///< relative standard deviation of the tone's power over the stretch
  std::optional<LevelStep> step;    ///< the largest
  double excursion_db = 0;          ///< how far the level goes from the one read, over the whole capture
  std::vector<Harmonic> harmonics;  ///< from order 2, those below half the rate
  std::vector<double> others_hz;    ///< other strong steady tones, no harmonics, not mains
  NoiseSpectrum noise;              ///< tone and found harmonics taken out
};

/// @param tone_hz the tone that was sent, where known (then even a weak one is taken for it)
/// @param step between neighbouring sample values, where the samples are whole numbers
[[nodiscard]] ToneResult read_tone(const ToneTrack& track, const SpectrumShape& shape,
                                   std::optional<double> tone_hz, std::optional<double> step);

/// audio.tone.frequency, .level and, where the level steps, .step and .step.time. Where the level does not
/// stay the one that is read, its uncertainty reaches as far as it goes. @param clock_error_ppm of the
/// recorder, where known.
[[nodiscard]] Readings to_readings(const ToneResult& tone, double capture_s,
                                   std::optional<double> clock_error_ppm, std::string_view suffix);

}  // namespace linebench::measure
