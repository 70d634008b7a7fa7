// Names and times of records.
#pragma once

#include <cstdint>
#include <string>

namespace linebench::job {

/// A new random UUID, lower case.
[[nodiscard]] std::string new_uid();
/// "2026-11-25T09:45:12.345Z". Order of records never goes by this alone: clocks step.
[[nodiscard]] std::string now();
/// The same time in milliseconds since 1970.
[[nodiscard]] std::int64_t now_ms();

}  // namespace linebench::job
