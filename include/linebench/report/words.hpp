// The one place for what a reading out of its limits means to a technician, and what to do next.
#pragma once

#include <linebench/judge/limits.hpp>
#include <string_view>

namespace linebench::report {

struct Words {
  std::string_view fault;    ///< completes a verdict line: "hum is too high"
  std::string_view meaning;  ///< one or two sentences
  std::string_view next;     ///< what to do next; any caution stands here, beside the step
};

/// Words for a full reading id that lies on this side of its limit. Ids without words of their own get
/// general ones.
[[nodiscard]] Words words_for(std::string_view id, judge::Side side);

/// For a tone where nothing was sent, which is judged as noise is.
[[nodiscard]] Words words_of_standing_tone();

/// For a sync amplitude that is off together with burst or white.
[[nodiscard]] Words words_of_all_levels(judge::Side side);

/// Title of the group of the table a reading belongs to, and the groups' order (0 first).
struct Group {
  std::string_view title;
  int order = 0;
};
[[nodiscard]] Group group_of(std::string_view id);

}  // namespace linebench::report
