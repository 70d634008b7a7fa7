// What came back against what was sent: is there a signal at all, and how much louder or quieter is the tone.
#pragma once

#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/signals/recipe.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::measure {

/// A signal known to have been sent.
struct Sent {
  std::string name;                    ///< the recipe's
  std::optional<double> level_dbfs{};  ///< rms at which it was sent [AES17], where known
  std::optional<double> tone_hz{};     ///< the one frequency of a steady tone
  bool response = false;               ///< the return was searched for it: shows_response()
  bool swept = false;                  ///< one frequency after the other
  bool returns = false;               ///< sent into the path that was taken in, so its markers must come back
  std::vector<std::string> unsent{};  ///< suffixes of channels it was not sent to: ".right"
};

/// The frequency of a recipe that is one steady tone.
[[nodiscard]] std::optional<double> tone_of(const signals::Recipe& recipe);

/// A response needs many frequencies at once, or one after the other without a break.
[[nodiscard]] bool shows_response(const signals::Recipe& recipe);

/// Adds, in front, for each channel:
/// - audio.signal: "none" where all samples are equal, where the signal sent does not come back, or where
/// only
///   the other side of a pair carries one; "idle" where nothing was sent, or is not known to be and the level
///   is below -60 dBFS (common practice: no line-level source is that quiet); else "present". A marked
///   silence goes by its markers: back is "present", else "none" where they must return and "idle" where they
///   need not. The remark says why.
/// - audio.tone.gain: level of the tone over the level it was sent at, where both are known; its uncertainty
/// is
///   that of the tone's level.
/// The response to a sweep of which a part did not come back is refused: what was away reads as a fall of the
/// path, or turns its polarity.
/// @param readings of the return, as measure_audio() and measure_response() give them.
void add_signal_readings(Readings& readings, const CaptureFacts& facts, const std::optional<Sent>& sent);

}  // namespace linebench::measure
