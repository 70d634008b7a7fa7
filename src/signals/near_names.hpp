// Names like the one a person typed.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace linebench::signals {

/// Up to `most` of the candidates that contain the name, are contained in it, or differ from it by few
/// letters (edit distance up to two fifths of its length), nearest first.
[[nodiscard]] std::vector<std::string> near_names(std::string_view name,
                                                  const std::vector<std::string>& candidates,
                                                  std::size_t most = 3);

/// "a, b, c", or "" of nothing.
[[nodiscard]] std::string comma_list(const std::vector<std::string>& names);

}  // namespace linebench::signals
