// A programme feed before it is connected.
#pragma once

#include <linebench/check/flow.hpp>

namespace linebench::check {

[[nodiscard]] Step feed_flow(Script& script, const Knowledge& knowledge);
/// Whether to connect, by the last captures taken, and why.
[[nodiscard]] report::Outcome feed_outcome(const Work& work, const Knowledge& knowledge);

}  // namespace linebench::check
