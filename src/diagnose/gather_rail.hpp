// Sound whose tops the recorder's rail cuts: what comes in is more than what is read.
#pragma once

#include <optional>
#include <string>

#include "gather.hpp"

namespace linebench::diagnose {

[[nodiscard]] bool cut_at_rail(const Capture& capture, const std::string& suffix);
/// dBFS of a sine by how long its tops are cut: one of height A cut at a rail of 1 is there for the share
/// (2/pi) acos(1/A) of the time. Nothing where it is not cut, or so far that its height hardly changes it.
[[nodiscard]] std::optional<Number> level_above_rail(const Capture& capture, const std::string& suffix);

}  // namespace linebench::diagnose
