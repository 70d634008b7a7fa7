// Inside of the pair measurement: cross-spectra of two channels and what they say about the part both share.
#pragma once

#include <complex>
#include <cstddef>
#include <linebench/dsp/fft.hpp>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure::pair {

/// Averaged auto and cross spectra over Hann segments. cross = conj(left) * right: its phase is that of right
/// re left.
class CrossSpectra {
 public:
  explicit CrossSpectra(std::size_t segment);
  /// Adds one segment of each; both `segment` long.
  void add(std::span<const float> left, std::span<const float> right);

  [[nodiscard]] std::size_t segment() const noexcept { return window_.size(); }
  [[nodiscard]] std::size_t count() const noexcept { return count_; }
  [[nodiscard]] std::span<const double> left() const noexcept { return left_; }
  [[nodiscard]] std::span<const double> right() const noexcept { return right_; }
  [[nodiscard]] std::span<const std::complex<double>> cross() const noexcept { return cross_; }
  /// Magnitude-squared coherence of a bin, its bias from few segments taken out; 0..1.
  [[nodiscard]] double coherence(std::size_t bin) const;

 private:
  dsp::RealFft fft_left_;
  dsp::RealFft fft_right_;
  std::vector<double> window_;
  std::vector<double> left_, right_;
  std::vector<std::complex<double>> cross_;
  std::size_t count_ = 0;
};

/// What both sides share.
struct Shared {
  double delay_samples = 0;  ///< right late: positive
  double delay_uncertainty = 0;
  int polarity = 1;
  bool unique = false;    ///< false: tones only, any of several delays would do
  double tone_hz = 0;     ///< where not unique: the strongest shared line
  double tone_phase = 0;  ///< and its phase, right re left, radians
  double gain_db = 0;
  double gain_uncertainty_db = 0;
  double share = 0;       ///< coherent part of the power of the side that has less of it, 0..1
  double unshared = 1;    ///< part of the power of both that no gain and delay makes alike, 0..1
  double unshared_u = 0;  ///< of that, expanded (k=2)
};

/// Empty when the sides have nothing in common beyond chance.
/// @param longest longest delay looked for, samples (at most half a segment).
[[nodiscard]] std::optional<Shared> shared_part(const CrossSpectra& spectra, double rate_hz, double longest);

}  // namespace linebench::measure::pair
