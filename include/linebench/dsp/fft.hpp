// Real-input discrete Fourier transforms on FFTW; the plan of a length is made once and kept.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace linebench::dsp {

/// A real FFT of fixed length with its own aligned buffers.
/// Forward: output[k] = sum_n input[n] exp(-2 pi i k n / N), k = 0..N/2 (not scaled).
/// Inverse: input[n] = sum over the full Hermitian spectrum (not scaled; divide by N); it destroys output.
/// The first run of a length makes its plan, serialised round FFTW's planner; running is safe per object.
class RealFft {
 public:
  /// @param n length, >= 2; products of 2, 3, 5 and 7 are fast.
  explicit RealFft(std::size_t n);
  ~RealFft();
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;
  RealFft(const RealFft&) = delete;
  RealFft& operator=(const RealFft&) = delete;

  [[nodiscard]] std::size_t size() const noexcept;
  [[nodiscard]] std::span<double> input() noexcept;                 ///< N values
  [[nodiscard]] std::span<std::complex<double>> output() noexcept;  ///< N/2 + 1 values
  void forward();
  void inverse();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Smallest product of 2, 3, 5 that is >= n.
[[nodiscard]] std::size_t next_fast_size(std::size_t n);

}  // namespace linebench::dsp
