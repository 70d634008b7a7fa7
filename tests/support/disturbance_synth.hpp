// What comes into a path from outside, for tests: combs of the mains' multiples, bursts of mobile phones.
#pragma once

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <map>

#include "support/synth.hpp"

namespace disturbance_synth {

using linebench::db_from_power;
using linebench::power_from_db;

/// Adds the comb {k: dBFS}; returns its total in dBFS.
inline double add_comb(synth::Samples& x, double rate, double f0, const std::map<int, double>& levels,
                       double phase = 0.7) {
  double power = 0.0;
  for (const auto& [k, db] : levels) {
    synth::add_sine(x, rate, f0 * k, db, phase * k * k);
    power += power_from_db(db);
  }
  return db_from_power(power);
}

inline const std::map<int, double> plain{{1, 0}, {2, -3}, {3, -1}, {5, -6}, {7, -10}};

inline std::map<int, double> at_total(std::map<int, double> shape, double total_db) {
  double power = 0.0;
  for (const auto& [k, db] : shape) power += power_from_db(db);
  for (auto& [k, db] : shape) db += total_db - db_from_power(power);
  return shape;
}

/// Adds pulses of the given height, a frame rate off by `ppm`, from `from` s for `length` s.
/// Slots of 15/26 ms in frames of 120/26 ms, the 26th of each multiframe idle [ETSI TS 145 002, memory].
inline void add_bursts(synth::Samples& x, double rate, double height, double from, double length,
                       double ppm = 0) {
  const double frame = 0.12 / 26.0 / (1.0 + ppm * 1e-6);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate - from;
    if (t < 0 || t > length) continue;
    const double number = std::floor(t / frame);
    if (std::fmod(number, 26.0) < 25.0 && t - number * frame < 0.015 / 26.0)
      x[i] += static_cast<float>(height);
  }
}

}  // namespace disturbance_synth
