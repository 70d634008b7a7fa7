// STIPA: the speech transmission index by a test signal with two modulations in each of seven octaves
// [IEC 60268-16 ed.5].
#pragma once

#include <array>
#include <span>

namespace linebench::standards {

struct StipaBand {
  double centre_hz;                  ///< octave, nominal
  std::array<double, 2> modulation;  ///< modulation frequencies, Hz
  double alpha;                      ///< weight of the octave, male speech
  double beta;                       ///< redundancy with the next octave, male speech
};

/// 125 Hz to 8 kHz. Values: second-hand from open code written to edition 5; the standard's text was not at
/// hand.
inline constexpr std::array<StipaBand, 7> stipa_bands{{
    {125, {1.60, 8.00}, 0.085, 0.085},
    {250, {1.00, 5.00}, 0.127, 0.078},
    {500, {0.63, 3.15}, 0.230, 0.065},
    {1000, {2.00, 10.0}, 0.233, 0.011},
    {2000, {1.25, 6.25}, 0.309, 0.047},
    {4000, {0.80, 4.00}, 0.224, 0.095},
    {8000, {2.50, 12.5}, 0.173, 0.0},
}};

/// Depth of each of the two modulations as sent.
inline constexpr double stipa_depth = 0.55;
/// Apparent signal to noise ratio is clipped to +- this, dB.
inline constexpr double sti_snr_limit_db = 15.0;
/// Length that standard practice asks for.
inline constexpr double stipa_standard_s = 15.0;

/// Modulation transfer indices (mean of the two transmission indices) from received over sent depth, per
/// octave.
[[nodiscard]] double transmission_index(double modulation_ratio);

/// STI of the seven modulation transfer indices, 0 to 1.
[[nodiscard]] double speech_transmission_index(std::span<const double, 7> mti);

}  // namespace linebench::standards
