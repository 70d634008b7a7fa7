// Rounds of a job: a station that was repaired, a feed that was changed, is measured again.
#pragma once

#include <fmt/format.h>

#include <string>

namespace linebench::check {

inline constexpr int most_rounds = 9;
/// Of a site, a path, a feed, a plate: what still fits a line of a list and a label.
inline constexpr std::size_t longest_name = 80;

/// Under which key an answer of this round is kept: the first round's is `what` itself.
[[nodiscard]] inline std::string round_key(const std::string& what, int round) {
  return round == 1 ? what : fmt::format("{}.{}", what, round);
}

}  // namespace linebench::check
