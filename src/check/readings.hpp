// What stored readings say to the guided jobs: what is out of limits, by how much, and what is missing.
#pragma once

#include <linebench/job/records.hpp>
#include <linebench/judge/limits.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::check {

/// The id without its channel: "audio.hum.level" of "audio.hum.level.left".
[[nodiscard]] std::string_view base_id(std::string_view id);

/// One reading out of its limit; the channels of a pair that fail on the same side together.
struct Trouble {
  std::string id;         ///< without channel
  std::string direction;  ///< "high", "low", "other"
  judge::Side side = judge::Side::Other;
  std::string text;     ///< "Hum, left: -52.1 dBFS (limit max -80)"
  std::string value;    ///< "-52.1 dBFS", or the word found
  double beyond = 0;    ///< distance to the limit in the reading's unit, the worst channel's
  double severity = 0;  ///< judge::severity()
  bool side_left = false, side_right = false;
};

/// Worst first.
[[nodiscard]] std::vector<Trouble> troubles(const job::Capture& capture);

/// Something wanted that could not be measured.
struct Gap {
  std::string id, label, reason;
};
[[nodiscard]] std::vector<Gap> gaps(const job::Capture& capture);

}  // namespace linebench::check
