// What is sent through a path for tests, and the path itself: filters as closed forms, any delay, exactly.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <linebench/dsp/fft.hpp>
#include <numbers>

#include "support/synth.hpp"

namespace path_synth {

using synth::Samples;
using Complex = std::complex<double>;

inline Samples sweep(double rate, double seconds, double f1, double f2, double level = 0.5) {
  Samples x(synth::count(seconds, rate));
  const double r = std::log(f2 / f1);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double edge = std::min({1.0, t / 0.05, (seconds - t) / 0.01});
    x[n] = static_cast<float>(
        level * edge * std::sin(2 * std::numbers::pi * f1 * seconds / r * (std::exp(t * r / seconds) - 1)));
  }
  return x;
}

inline Samples white(double rate, double seconds, double dbfs, std::uint64_t seed) {
  Samples x(synth::count(seconds, rate), 0.0F);
  synth::add_noise(x, dbfs, seed);
  return x;
}

// Passes x through H(f), delayed by any number of samples, exactly (by transform), into a record of `length`.
inline Samples through(const Samples& x, double rate, double delay_samples, std::size_t length,
                       const std::function<Complex(double)>& h) {
  const std::size_t n = linebench::dsp::next_fast_size(length + x.size());
  linebench::dsp::RealFft fft(n);
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  std::copy(x.begin(), x.end(), fft.input().begin());
  fft.forward();
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    const double hz = static_cast<double>(k) * rate / static_cast<double>(n);
    fft.output()[k] *=
        h(hz) * std::polar(1.0, -2 * std::numbers::pi * hz / rate * delay_samples) / static_cast<double>(n);
  }
  fft.inverse();
  Samples y(length);
  for (std::size_t i = 0; i < length; ++i) y[i] = static_cast<float>(fft.input()[i]);
  return y;
}

// Analogue Butterworth of second order, cascaded.
inline Complex low(double hz, double corner) {
  const Complex s(0, hz / corner);
  return 1.0 / (s * s + std::numbers::sqrt2 * s + 1.0);
}
inline Complex high(double hz, double corner) {
  const Complex s(0, hz / corner);
  return s * s / (s * s + std::numbers::sqrt2 * s + 1.0);
}

}  // namespace path_synth
