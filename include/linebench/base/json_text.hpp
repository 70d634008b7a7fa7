// JSON as text, whatever is in it.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

namespace linebench {

/// The document in one line, or indented. Names of files and devices need not be UTF-8, which JSON must be:
/// bytes that are not are replaced (U+FFFD), where the library by itself gives up.
[[nodiscard]] std::string json_text(const nlohmann::json& j, int indent = -1);

}  // namespace linebench
