// The preferred third-octave bands: exact midbands [IEC 61260-1] and the names people call them by [ISO 266].
#pragma once

#include <cmath>
#include <span>
#include <string_view>

namespace linebench::standards {

/// Octave ratio of the base-10 system, 10^0.3 [IEC 61260-1].
inline constexpr double octave_ratio = 1.9952623149688795;

struct ThirdOctave {
  int index;                 ///< 0 at 1 kHz, -17 at 20 Hz, +13 at 20 kHz
  double midband_hz;         ///< exact: 1000 * 10^(index / 10)
  double nominal_hz;         ///< preferred number, for names and tables only [ISO 266]
  std::string_view nominal;  ///< "31.5 Hz", "1 kHz", "1.25 kHz"

  [[nodiscard]] double lower_hz() const { return midband_hz * std::pow(octave_ratio, -1.0 / 6.0); }
  [[nodiscard]] double upper_hz() const { return midband_hz * std::pow(octave_ratio, 1.0 / 6.0); }
};

/// The 31 bands from 20 Hz to 20 kHz, lowest first.
[[nodiscard]] std::span<const ThirdOctave> third_octaves();

/// Those whose nominal frequency lies in [lowest_hz, highest_hz].
[[nodiscard]] std::span<const ThirdOctave> third_octaves(double lowest_hz, double highest_hz);

}  // namespace linebench::standards
