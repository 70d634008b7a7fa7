// A returned station on the bench.
#pragma once

#include <linebench/check/flow.hpp>

namespace linebench::check {

[[nodiscard]] Step station_flow(Script& script, const Knowledge& knowledge);
[[nodiscard]] report::Outcome station_outcome(const Work& work, const Knowledge& knowledge);
[[nodiscard]] std::vector<report::PaperTable> station_tables(const Work& work, const Knowledge& knowledge);

}  // namespace linebench::check
