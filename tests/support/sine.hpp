// Sines of test signals, millions of them, faster than the library's one at a time.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

namespace synth {

/// From a table, right to 2e-8: for pictures and video, whose steps and noise are far coarser.
inline double sine(double radians) {
  constexpr std::size_t size = 1 << 14;
  static const auto table = [] {
    std::array<double, size + 1> t{};
    for (std::size_t i = 0; i <= size; ++i)
      t[i] = std::sin(2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(size));
    return t;
  }();
  const double at = radians * (static_cast<double>(size) / (2 * std::numbers::pi));
  auto whole = static_cast<std::int64_t>(at);
  if (at < static_cast<double>(whole)) --whole;
  const auto i = static_cast<std::size_t>(whole) & (size - 1);
  return table[i] + (at - static_cast<double>(whole)) * (table[i + 1] - table[i]);
}
inline double cosine(double radians) { return sine(radians + std::numbers::pi / 2); }

/// Calls f(n, sin) for n from 0 to `count`, of a sine of `hz` at `rate`; as the library's to some 1e-14:
/// turned on from sample to sample, and anew from the clock every 64.
template <class F>
void each_of_sine(std::size_t count, double rate, double hz, double phase, F f) {
  constexpr std::size_t block = 64;
  const double turn = 2 * std::numbers::pi * std::fmod(hz / rate, 1.0);
  const double c = std::cos(turn);
  const double s = std::sin(turn);
  for (std::size_t from = 0; from < count; from += block) {
    const double turns = std::fmod(hz * static_cast<double>(from) / rate, 1.0);
    double re = std::cos(2 * std::numbers::pi * turns + phase);
    double im = std::sin(2 * std::numbers::pi * turns + phase);
    for (std::size_t n = from; n < std::min(count, from + block); ++n) {
      f(n, im);
      const double next = re * c - im * s;
      im = re * s + im * c;
      re = next;
    }
  }
}

}  // namespace synth
