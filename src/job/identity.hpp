// Names and times of records.
#pragma once

#include <string>

namespace linebench::job {

/// A new random UUID, lower case.
[[nodiscard]] std::string new_uid();
/// "2026-11-25T09:45:12.345Z". Order of records is by rowid within a store, never by this: clocks step.
[[nodiscard]] std::string now();

}  // namespace linebench::job
