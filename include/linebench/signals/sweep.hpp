// The exponential sine sweep [Farina 2000] with phase-synchronised harmonics [Novak 2015].
#pragma once

#include <cstdint>

namespace linebench::signals {

/// x(t) = sin(2 pi f1 L (e^(t/L) - 1)), L = seconds / ln(f2/f1), 0 <= t < seconds. f1 L is a whole number, so
/// that the phase at the start is that of every harmonic's own sweep, and harmonic n, folded by the inverse
/// filter, arrives exactly L ln n before the linear response with its true phase.
struct Sweep {
  double f1_hz = 0;
  double f2_hz = 0;
  double seconds = 0;
  double rate_hz = 0;

  [[nodiscard]] std::uint64_t frames() const;
  /// L: the time in which the frequency grows by e.
  [[nodiscard]] double growth_s() const;
  [[nodiscard]] double frequency_at(double t_s) const;
  /// Sample at frame n, amplitude 1, no fades.
  [[nodiscard]] double sample(std::uint64_t n) const;
};

/// The sweep nearest to a length that is phase-synchronised; its length differs by at most ln(f2/f1) / (2
/// f1). 0 < f1 < f2 < rate/2, length above ln(f2/f1) / f1. Throws Error(Usage) otherwise.
[[nodiscard]] Sweep synchronised_sweep(double f1_hz, double f2_hz, double about_seconds, double rate_hz);

}  // namespace linebench::signals
