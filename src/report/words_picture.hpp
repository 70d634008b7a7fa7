// Words for readings of a grabber's frames out of their limits, and the groups they are listed in.
#pragma once

#include <linebench/report/words.hpp>
#include <optional>
#include <string_view>

namespace linebench::report {

/// Words for a picture reading's kind (of the catalogue) on this side of its limit; nullptr where it has
/// none.
[[nodiscard]] const Words* picture_words(std::string_view kind_id, judge::Side side);

/// Group of a picture reading; none for other readings.
[[nodiscard]] std::optional<Group> picture_group(std::string_view id);

}  // namespace linebench::report
