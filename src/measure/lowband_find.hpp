// Finds a composite signal in a sound card's samples: line rate, field rate, polarity, the first vertical
// sync.
#pragma once

#include <span>
#include <string>

namespace linebench::measure {

struct FoundLowband {
  bool line = false;  ///< a television line rate is there
  bool lines_alone =
      false;              ///< it is more than a tone or one of a buzz's multiples: lines, even without fields
  bool vertical = false;  ///< and vertical sync
  double line_hz = 0;
  double halves_per_field = 0;  ///< half lines from one vertical sync to the next
  double first_s = 0;           ///< the first broad pulse of some vertical sync, within a few us
  double sync = 0;              ///< roughly, in the samples' unit
  bool inverted = false;
  std::string reason{};  ///< why not
};

/// Power of the line-rate tone re its surroundings; below `line_tone_least` there is none.
struct LineTone {
  double hz = 0;
  double prominence = 0;
  double over_others = 0;  ///< its power re the strongest other 0.4 to 2 kHz away: about 1 in a buzz
  double beside = 0;       ///< amplitude of what a field rate puts beside it, or of its double, re its own
};
inline constexpr double line_tone_least = 30;
inline constexpr double over_others_least = 4;
inline constexpr double beside_least = 0.01;
[[nodiscard]] LineTone find_line_tone(std::span<const float> x, double rate_hz);

/// @param x 0.2 to some seconds of the channel.
[[nodiscard]] FoundLowband find_lowband(std::span<const float> x, double rate_hz);

}  // namespace linebench::measure
