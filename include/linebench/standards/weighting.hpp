// Audio weighting curves and the preferred third-octave frequencies, as the standards give them.
#pragma once

#include <array>

namespace linebench::standards {

/// Gain of the A curve in dB at a frequency in Hz, 0 dB at 1 kHz [IEC 61672-1]. -inf at 0.
[[nodiscard]] double a_weighting_db(double hz);

/// Gain of the noise weighting network of [BS.468-4] in dB, 0 dB at 1 kHz. -inf at 0.
[[nodiscard]] double bs468_weighting_db(double hz);

/// Coefficients of the network's transfer function, s' = j f (f in Hz):
/// H = gain s' / (1 + d1 s' + d2 s'^2 + ... + d6 s'^6).
struct Bs468Network {
  double gain = 0;
  std::array<double, 7> denominator{};  ///< ascending powers of s'
};
[[nodiscard]] Bs468Network bs468_network();

/// Upper end of the audio band for a sample rate: 20 kHz [AES17 5.2.5], or 0.45 of the rate below 44.1 kHz.
[[nodiscard]] double audio_band_top_hz(double rate_hz);
/// Lower end of the audio band [AES17 5.2.5].
inline constexpr double audio_band_bottom_hz = 20.0;

}  // namespace linebench::standards
