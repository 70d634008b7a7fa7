// Harmonics of mains hum above those that the comb fit reaches.
#pragma once

#include <linebench/measure/hum.hpp>
#include <linebench/measure/spectrum.hpp>
#include <span>

namespace linebench::measure {

/// Where the top of the fitted comb still stands out, looks for what lies above it in the same channel's
/// averaged spectrum and sets `beyond`; nothing is unseen then. Too coarse a spectrum leaves the result as it
/// is.
/// @param power averaged |bin|^2
void look_beyond(HumResult& hum, std::span<const double> power, const SpectrumShape& shape);

}  // namespace linebench::measure
