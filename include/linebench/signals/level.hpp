// Levels as a person says them, and when a person has to be warned of one.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace linebench::signals {

enum class LevelUnit {
  Dbfs,  ///< rms re full-scale sine [AES17]
  Dbu,   ///< rms re sqrt(0.6) V
  Dbv,   ///< rms re 1 V
};

struct Level {
  double value = 0;
  LevelUnit unit = LevelUnit::Dbfs;
};

/// Reads "-20dBFS", "+4 dBu", "-10dBV" (capitals do not matter).
/// Throws Error(Usage) when the number or the unit is missing or not one of these.
[[nodiscard]] Level parse_level(std::string_view text);

/// "-20.0 dBFS", "+4.0 dBu"; the sign is always written.
[[nodiscard]] std::string to_string(const Level& level);

/// The level in dBFS. `full_scale_v` is what a sample value of 1.0 gives at the output, in volts (peak);
/// needed for dBu and dBV only. Throws Error(Usage) when it is needed and missing, or not a positive number.
/// 20 lg(V_rms * sqrt 2 / full_scale_v), exact.
[[nodiscard]] double resolve_dbfs(const Level& level, std::optional<double> full_scale_v);

/// Signals louder than this come with a caution, for a loudspeaker or headset that was left turned up. Our
/// own choice (no standard sets it): the quieter of the two alignment levels in use.
inline constexpr double caution_above_dbfs = -20.0;

/// What to tell a person before a signal of this level is sent; empty up to `caution_above_dbfs`.
[[nodiscard]] std::string caution_for(double dbfs);

}  // namespace linebench::signals
