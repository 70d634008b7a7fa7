// A bank of sine oscillators that stays exact over any length.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace linebench::signals {

struct Oscillator {
  double hz = 0;
  double amplitude = 1;
  double phase_turns = 0;  ///< of the sine at frame 0
};

/// Adds the sines to `out`, whose first sample is frame `first`.
void add_oscillators(std::span<const Oscillator> bank, double rate_hz, std::uint64_t first,
                     std::span<double> out);

}  // namespace linebench::signals
