// A fault on site: from what is seen to a fault and the part of the path it comes in at.
#pragma once

#include <linebench/check/flow.hpp>

namespace linebench::check {

[[nodiscard]] Step site_flow(Script& script, const Knowledge& knowledge);
[[nodiscard]] report::Outcome site_outcome(const Work& work, const Knowledge& knowledge);
[[nodiscard]] std::optional<diagnose::Diagnosis> site_diagnosis(const Work& work, const Knowledge& knowledge);
/// What was found at each point of the path.
[[nodiscard]] std::vector<report::PaperTable> site_tables(const Work& work, const Knowledge& knowledge);

}  // namespace linebench::check
