// One recording shows one place at one time: the same one twice is refused.
#pragma once

#include <linebench/check/flow.hpp>
#include <string>

namespace linebench::app {

/// What this capture is the same recording as, for a person; empty: none. Same bytes, or the same samples in
/// another file. It is compared with what stands in the job for other answers, and with the good
/// units of its type.
/// @param key of the answer it is to become.
[[nodiscard]] std::string same_as(const job::Capture& c, const std::string& key, const check::Work& work,
                                  const check::Knowledge& knowledge);

}  // namespace linebench::app
