// A line that was recorded with nothing on it.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <optional>
#include <vector>

namespace linebench::diagnose {

/// Evidence that all sound captures are of idle lines, where nobody said that silence was meant: level, sides
/// and what a signal would show are not cleared by them. None where anything was sent, or nothing captured.
/// For captures that come without a word of what they are; a guided job knows what it asked for.
[[nodiscard]] std::optional<Evidence> nothing_sent(const std::vector<Capture>& captures);

}  // namespace linebench::diagnose
