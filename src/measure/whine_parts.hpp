// What the search for steady and for wandering whines share.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace linebench::measure::whine {

// A tenth of all segments has less than this quantile. Noise has a tenth of its mean there, a line that
// sounds on nearly all of its own; noise alone reaches this many times its neighbours' once in 1e8 bins.
inline constexpr double quantile = 0.1;
inline constexpr double stands_out = 8;
inline constexpr double ambiguous = 4;  // by which a tenth of the segments may be less than the line
inline constexpr double sure = 1.6;     // over what is just clear
inline constexpr double clear = 20;     // power over what lies beside, where a line is read
inline constexpr double code_spread_db = 0.11;
inline constexpr double least_u_db = 0.1;
inline constexpr double smallest_power = 1e-15;

/// |bin|^2 to an eighth of an octave: the eight bits behind the sign, and three of the mantissa.
inline std::uint16_t code_of(double power) {
  return static_cast<std::uint16_t>(std::bit_cast<std::uint32_t>(static_cast<float>(power)) >> 20);
}
inline double power_of(std::uint16_t code) {
  constexpr std::uint32_t half = 1U << 19;
  return static_cast<double>(std::bit_cast<float>((static_cast<std::uint32_t>(code) << 20) | half));
}

/// A segment, and what it has of a line.
struct At {
  std::size_t segment;
  double power, beside;
  double bins = 0;
};
/// Those in which a line of one level stands clear of what is beside it; empty where it does not hold a
/// level, or too few do. @param least power in the quietest of them.
struct Clear {
  std::vector<At> at;
  double spread_db = 0;
};
[[nodiscard]] Clear clear_ones(std::vector<At> all, double least);

}  // namespace linebench::measure::whine
