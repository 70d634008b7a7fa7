// Noise on a video signal: the unified weighting and the white it is held against.
#pragma once

namespace linebench::standards {

/// What the unified noise weighting network leaves of power, 1 at dc (a loss of 14.8 dB far above): time
/// constant 245 ns, a = 4.5 [J.61], from memory; its white-noise advantage of 7.4 dB in 5 MHz is the known
/// figure.
[[nodiscard]] double unified_weighting_power(double hz);

}  // namespace linebench::standards
