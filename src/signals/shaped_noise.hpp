// Gaussian noise of any spectrum, as a stream: white noise from a fixed seed through finite filters, by
// overlap-save.
#pragma once

#include <complex>
#include <cstdint>
#include <functional>
#include <linebench/dsp/fft.hpp>
#include <random>
#include <span>
#include <vector>

namespace linebench::signals {

/// Gaussian numbers of mean 0 and variance 1, the same on every machine (the standard library's own
/// distribution is not): Box-Muller on the Mersenne twister.
class Gaussian {
 public:
  explicit Gaussian(std::uint64_t seed) : random_(seed) {}
  [[nodiscard]] double operator()();

 private:
  [[nodiscard]] double uniform();
  std::mt19937_64 random_;
  double spare_ = 0;
  bool has_spare_ = false;
};

/// One or more noises, each of rms 1 in the mean over time, from one white noise.
class ShapedNoise {
 public:
  /// Amplitude response at a frequency in Hz (any scale; the rms is made 1).
  using Response = std::function<double(double)>;

  /// @param resolution_hz how sharply the spectra follow the responses: edges are about so wide.
  ShapedNoise(double rate_hz, std::uint64_t seed, double resolution_hz,
              const std::vector<Response>& responses);

  /// Makes the next block; block(i) then holds block_size() samples of noise i.
  void advance();
  [[nodiscard]] std::size_t block_size() const { return hop_; }
  [[nodiscard]] std::span<const double> block(std::size_t i) const { return blocks_[i]; }

 private:
  Gaussian gaussian_;
  std::size_t taps_;
  std::size_t hop_;
  dsp::RealFft fft_;
  std::vector<std::vector<std::complex<double>>> filters_;  ///< transforms, scaled for the inverse
  std::vector<double> history_;                             ///< the last taps_ - 1 white samples
  std::vector<std::complex<double>> white_;
  std::vector<std::vector<double>> blocks_;
};

}  // namespace linebench::signals
