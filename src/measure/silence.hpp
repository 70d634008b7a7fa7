// Long stretches in which a programme is silent on every side: a rest, its end, or a source that gave up.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/levels.hpp>
#include <optional>
#include <vector>

namespace linebench::measure {

/// audio.programme.silent: how long it was in all, in stretches of 3 s and more that lie 40 dB under the
/// programme, with their times as the remark; nothing where there is none.
[[nodiscard]] std::optional<Reading> programme_silent(const std::vector<LevelResult>& channels);

}  // namespace linebench::measure
