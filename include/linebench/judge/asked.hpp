// What a capture can be asked for: a sweep shows no hum, a tone no response. Only what the signal that was
// sent can show may be wanting; what it was sent for must not.
#pragma once

#include <linebench/signals/recipe.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::judge {

/// Nothing known (the default): everything that a limit set requires is asked for.
struct Asked {
  std::string signal{};                 ///< the recipe that was sent; empty: unknown
  std::vector<std::string> purposes{};  ///< reading ids, and those below them, that it was sent to show
  std::vector<std::string> hidden{};    ///< and those that it cannot show
  std::vector<std::string> designed{};  ///< and those that are as they are by its design: never judged
  std::vector<std::string> only{};      ///< the measurement gives these and those below; empty: all
  std::vector<std::string> unsent{};    ///< suffixes of channels that nothing was sent to: ".right"
  /// Level of the programme that the capture belongs to, where it was taken in another one.
  std::optional<double> programme_dbfs{};
  bool idle = false;         ///< nothing was sent, as is known: a tone that stands is judged as noise
  bool level_known = false;  ///< at which level it was sent, so that gains are judged and not levels
};

/// What this signal is sent for, and what it hides.
[[nodiscard]] Asked asked_of(const signals::Recipe& recipe);

enum class Claim {
  Required,  ///< wanting leaves the verdict open
  Optional,  ///< judged when it is there
  NotAsked,  ///< the same, and the reader is told that this capture cannot show it
};
/// Readings of a steady tone that was sent: its level, gain and distortion.
[[nodiscard]] bool of_a_tone(std::string_view id);
/// True for what the signal is made of itself: the silences of "silence" are no dropouts.
[[nodiscard]] bool by_design(std::string_view id, const Asked& asked);
/// @param id of a reading, or of a limit where there is no reading. @param required as the limit set says.
[[nodiscard]] Claim claim_on(std::string_view id, bool required, const Asked& asked);

}  // namespace linebench::judge
