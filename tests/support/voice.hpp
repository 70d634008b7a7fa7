// A talking voice for tests, from the source-filter model of speech (glottal pulses and hiss through formant
// resonances, syllables with gaps and pauses); levels and rates as in ordinary talk (common knowledge of
// phonetics).
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>

#include "support/synth.hpp"

namespace synth {

/// Adds a voice of the given rms over the whole length, dBFS (full-scale sine = 0). The pitch wanders round
/// `pitch_hz` by a few per cent within and by up to 20 % between syllables.
inline void add_voice(Samples& x, double rate, double pitch_hz, double dbfs, std::uint64_t seed) {
  std::mt19937_64 gen(seed);
  const auto uniform = [&](double lo, double hi) {
    return std::uniform_real_distribution<double>(lo, hi)(gen);
  };
  std::normal_distribution<double> normal(0.0, 1.0);
  std::vector<double> v(x.size(), 0.0);
  struct Resonance {
    double y1 = 0, y2 = 0;
  };
  std::size_t at = count(uniform(0.0, 0.3), rate);
  int to_pause = 4;
  while (at < v.size()) {
    const std::size_t n = count(uniform(0.12, 0.35), rate);
    const double pitch = pitch_hz * uniform(0.85, 1.2);
    const double glide = uniform(-0.15, 0.1);
    const double loud = uniform(0.4, 1.0);
    const std::array<double, 3> formants{uniform(280, 800), uniform(900, 2200), uniform(2300, 3000)};
    std::array<Resonance, 3> r{};
    std::array<double, 3> radius{}, turn{};
    for (std::size_t f = 0; f < 3; ++f) {
      radius[f] = std::exp(-std::numbers::pi * (60.0 + 30.0 * static_cast<double>(f)) / rate);
      turn[f] = 2.0 * radius[f] * std::cos(2.0 * std::numbers::pi * formants[f] / rate);
    }
    const double hiss = uniform(0, 1) < 0.4 ? uniform(0.05, 0.3) : 0.005;
    double phase = 0;
    for (std::size_t i = 0; i < n && at + i < v.size(); ++i) {
      const double t = static_cast<double>(i) / static_cast<double>(n);
      const double wobble = 1.0 + 0.01 * sine(2.0 * std::numbers::pi * 5.0 * static_cast<double>(i) / rate);
      phase += pitch * (1.0 + glide * t) * wobble / rate;
      phase -= std::floor(phase);
      // Opening and closing of the glottis, as flow over the open 60 % of the period.
      const double open = phase / 0.6;
      double s = open < 1.0 ? open * open * (1.0 - open) * 6.75 - 0.337 : -0.337;
      s += hiss * normal(gen);
      double sum = 0.3 * s;
      for (std::size_t f = 0; f < 3; ++f) {
        const double y = (1.0 - radius[f]) * s + turn[f] * r[f].y1 - radius[f] * radius[f] * r[f].y2;
        r[f].y2 = r[f].y1;
        r[f].y1 = y;
        sum += y * (f == 0 ? 1.0 : 0.5);
      }
      const double envelope = std::min({1.0, t * 8.0, (1.0 - t) * 5.0});
      v[at + i] += loud * envelope * sum;
    }
    at += n + count(uniform(0.01, 0.08), rate);
    if (--to_pause <= 0) {
      at += count(uniform(0.25, 0.8), rate);
      to_pause = static_cast<int>(uniform(3.0, 8.0));
    }
  }
  double power = 1e-30;
  for (const double s : v) power += s * s;
  const double gain = std::pow(10.0, dbfs / 20.0) / std::sqrt(2.0 * power / static_cast<double>(v.size()));
  for (std::size_t i = 0; i < x.size(); ++i) x[i] += static_cast<float>(gain * v[i]);
}

}  // namespace synth
