// Whole numbers out of JSON that anybody may have written.
#pragma once

#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <optional>

namespace linebench {

/// The number where it is whole (48000 and 48000.0 alike) and lies in `least` to `most`; nothing for all
/// else: the JSON library's own conversion wraps what does not fit.
[[nodiscard]] std::optional<std::int64_t> whole_from_json(const nlohmann::json& j, std::int64_t least,
                                                          std::int64_t most);

}  // namespace linebench
