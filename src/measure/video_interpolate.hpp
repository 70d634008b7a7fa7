// Band-limited interpolation of a line: 20-point sinc under a Kaiser window.
#pragma once

#include <complex>
#include <span>

namespace linebench::measure {

/// out[k] = x at position from + k * step (samples); x is held at its ends. -60 dB error up to 0.8 of half
/// the rate.
void interpolate(std::span<const float> x, double from, double step, std::span<float> out);

/// What interpolate() makes of a wave of so many cycles a sample at a place so far (0..1) past a sample; 1 is
/// perfect.
[[nodiscard]] std::complex<double> interpolation_response(double cycles, double fraction);

}  // namespace linebench::measure
