// The exponential sine sweep [Farina 2000] with phase-synchronised harmonics [Novak 2015], and its inverse
// filter.
#pragma once

#include <cstdint>
#include <vector>

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
  /// How long before the linear response the distortion of order n arrives.
  [[nodiscard]] double harmonic_lead_s(int n) const;
  /// Sample at frame n, amplitude 1, no fades.
  [[nodiscard]] double sample(std::uint64_t n) const;
};

/// The sweep nearest to a length that is phase-synchronised; its length differs by at most ln(f2/f1) / (2
/// f1). 0 < f1 < f2 < rate/2, length above ln(f2/f1) / f1. Throws Error(Usage) otherwise.
[[nodiscard]] Sweep synchronised_sweep(double f1_hz, double f2_hz, double about_seconds, double rate_hz);

/// The inverse filter: the sweep reversed, falling 6 dB/octave from its start (where f2 is) to its end (f1),
/// tapered over the lowest half octave and the highest tenth of one. sweep * inverse = a band-limited impulse
/// at frame frames() - 1 whose spectrum is 1 (within 0.01 dB for a sweep that fades as the shipped ones do;
/// 0.7 dB for one cut off sharply) an octave above f1 to a fifth of one below f2.
[[nodiscard]] std::vector<double> sweep_inverse(const Sweep& sweep);

}  // namespace linebench::signals
