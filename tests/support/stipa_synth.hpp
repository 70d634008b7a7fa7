// STIPA signals for tests, built from the standard's description [IEC 60268-16 ed.5].
#pragma once

#include <algorithm>
#include <cmath>
#include <linebench/dsp/fft.hpp>
#include <numbers>
#include <random>
#include <vector>

#include "support/synth.hpp"

namespace stipa_synth {

using synth::Samples;

inline constexpr double centres[7] = {125, 250, 500, 1000, 2000, 4000, 8000};
inline constexpr double fm[7][2] = {{1.6, 8},     {1, 5},   {0.63, 3.15}, {2, 10},
                                    {1.25, 6.25}, {0.8, 4}, {2.5, 12.5}};
inline constexpr double alpha[7] = {0.085, 0.127, 0.230, 0.233, 0.309, 0.224, 0.173};
inline constexpr double beta[6] = {0.085, 0.078, 0.065, 0.011, 0.047, 0.095};

// Gaussian noise in a band, rms 1, by transform.
inline std::vector<double> band_noise(std::size_t n, double rate, double lo, double hi,
                                      std::mt19937_64& gen) {
  const std::size_t size = linebench::dsp::next_fast_size(n + n % 2);
  linebench::dsp::RealFft fft(size);
  std::normal_distribution<double> normal;
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    const double hz = static_cast<double>(k) * rate / static_cast<double>(size);
    fft.output()[k] = hz >= lo && hz <= hi ? std::complex<double>(normal(gen), normal(gen)) : 0.0;
  }
  fft.inverse();
  std::vector<double> x(fft.input().begin(), fft.input().begin() + static_cast<std::ptrdiff_t>(n));
  double s = 0;
  for (const double v : x) s += v * v;
  for (double& v : x) v /= std::sqrt(s / static_cast<double>(n));
  return x;
}

// Received STIPA: modulation of each component reduced to m(fm), half-octave carriers, octave noise where snr
// is given.
template <typename M>
Samples stipa(double rate, double seconds, unsigned seed, M&& m, double noise_ratio = 0, double clock = 0) {
  std::mt19937_64 gen(seed);
  const std::size_t n = synth::count(seconds, rate);
  Samples x(n, 0.0F);
  for (int b = 0; b < 7; ++b) {
    const double q = std::pow(2.0, 0.25);
    const auto carrier = band_noise(n, rate, centres[b] / q, centres[b] * q, gen);
    std::vector<double> noise;
    if (noise_ratio > 0) noise = band_noise(n, rate, centres[b] / q, centres[b] * q, gen);
    const double level = 0.05 * std::pow(10.0, -std::abs(b - 2) / 20.0);
    for (std::size_t i = 0; i < n; ++i) {
      const double t = static_cast<double>(i) / rate * (1 + clock) * 2 * std::numbers::pi;
      const double intensity =
          1 + 0.55 * (m(b, 0) * std::sin(fm[b][0] * t + 0.3) - m(b, 1) * std::sin(fm[b][1] * t + 0.3));
      double v = carrier[i] * std::sqrt(std::max(0.0, intensity));
      if (noise_ratio > 0) v += std::sqrt(noise_ratio) * noise[i];
      x[i] += static_cast<float>(level * v);
    }
  }
  return x;
}

/// The index of modulations reduced to m(band, which of its two).
inline double closed_form(double (*m)(int, int)) {
  double mti[7], sti = 0;
  for (int b = 0; b < 7; ++b) {
    mti[b] = 0;
    for (int j = 0; j < 2; ++j) {
      const double v = m(b, j);
      const double snr = v >= 1 ? 15.0 : std::clamp(10 * std::log10(v / (1 - v)), -15.0, 15.0);
      mti[b] += 0.5 * (snr + 15) / 30;
    }
  }
  for (int b = 0; b < 7; ++b)
    sti += alpha[b] * mti[b] - (b < 6 ? beta[b] * std::sqrt(mti[b] * mti[b + 1]) : 0.0);
  return std::min(1.0, sti);
}

}  // namespace stipa_synth
