// Band-limited interpolation of a line: 20-point sinc under a Kaiser window.
#pragma once

#include <span>

namespace linebench::measure {

/// out[k] = x at position from + k * step (samples); x is held at its ends. -60 dB error up to 0.8 of half
/// the rate.
void interpolate(std::span<const float> x, double from, double step, std::span<float> out);

}  // namespace linebench::measure
