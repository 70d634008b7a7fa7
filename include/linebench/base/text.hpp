// Small changes to text that readers of files and of typed lines share.
#pragma once

#include <string>
#include <string_view>

namespace linebench {

/// ASCII letters in lower case; all else, letters beyond ASCII too, as it is.
[[nodiscard]] std::string lower_case(std::string_view text);

/// Without white space at either end.
[[nodiscard]] std::string trimmed(std::string_view text);

}  // namespace linebench
