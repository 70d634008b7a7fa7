// Short-time spectra of the low end of a channel: what the comb searches (mains, mobile phone) look at.
#pragma once

#include <complex>
#include <cstddef>
#include <functional>
#include <linebench/dsp/decimator.hpp>
#include <linebench/dsp/fft.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// Frames of about 0.16 s, Blackman-Harris weighted, a quarter of a frame apart. Scaled and phased so that
/// A cos(2 pi f t + p), puts A exp(i(2 pi f t_m + p)) W(f - f_b) into bin b of the frame
/// centred on t_m, with W the window's transform, real, 1 at 0.
class LowBandFrames {
 public:
  using Sink = std::function<void(std::span<const std::complex<float>>)>;

  explicit LowBandFrames(double rate_hz);

  [[nodiscard]] double hop_s() const { return static_cast<double>(hop_) / decimator_.rate_hz(); }
  [[nodiscard]] double bin_hz() const { return decimator_.rate_hz() / static_cast<double>(length_); }
  [[nodiscard]] std::size_t bins() const { return bins_; }
  /// Highest frequency that may be used.
  [[nodiscard]] double top_hz() const { return decimator_.pass_hz(); }
  [[nodiscard]] double frame_s() const { return 4.0 * hop_s(); }
  /// Time of the first frame's centre after the first sample.
  [[nodiscard]] double first_centre_s() const { return 2.0 * hop_s() - decimator_.delay_s(); }

  /// Takes samples; `sink` gets each frame as it is complete.
  void push(std::span<const float> samples, const Sink& sink);

 private:
  dsp::Decimator decimator_;
  std::size_t hop_;
  std::size_t length_;
  std::size_t bins_;
  dsp::RealFft fft_;
  std::vector<double> window_;
  double window_sum_ = 0;
  std::vector<double> dc_response_;  // W(b) near 0: what a steady offset leaks into bin b
  std::vector<float> pending_;
  std::vector<std::complex<float>> frame_;
};

/// Window's transform at a distance in bins (Blackman-Harris, four terms).
[[nodiscard]] double frame_response(double bins);
/// Correlation of white noise between frames d hops apart, d = 0..3.
[[nodiscard]] double frame_correlation(int d);
/// How many frames one independent sample of noise spreads over: the sum of these.
[[nodiscard]] double frame_overlap();

}  // namespace linebench::measure
