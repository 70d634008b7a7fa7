// Whether pauses belong to what is sent: call tones, dialling tones, identification tones, Morse.
#pragma once

#include <span>
#include <vector>

#include "events_parts.hpp"

namespace linebench::measure {

enum class PauseKind : char {
  Dropout,
  Keyed,     ///< on a cadence: pauses and the sounds between them come in few lengths
  Doubtful,  ///< of a tone that is away for a good part of the time, on no cadence
};

/// Beside `pauses`, which follow one another in time.
[[nodiscard]] std::vector<PauseKind> pause_kinds(std::span<const Pause> pauses);

}  // namespace linebench::measure
