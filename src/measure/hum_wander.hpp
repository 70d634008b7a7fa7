// The most likely course of a mains frequency that moves.
#pragma once

#include <optional>
#include <span>

#include "hum_chunk.hpp"
#include "hum_path.hpp"

namespace linebench::measure {

/// Nothing when a steady frequency explains the stretch about as well, or the stretch is too short.
[[nodiscard]] std::optional<PhasePath> likely_path(const HumChunk& chunk, const CombSearch& search,
                                                   std::span<const double> foreign, int terms);

}  // namespace linebench::measure
