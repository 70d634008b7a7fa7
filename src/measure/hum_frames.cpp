#include "hum_frames.hpp"

#include <array>
#include <cmath>
#include <linebench/dsp/window.hpp>

namespace linebench::measure {
namespace {

constexpr auto kind = dsp::Window::BlackmanHarris4;
constexpr double slowest_rate_hz = 5400.0;
constexpr double hop_target_s = 0.04;

std::size_t hop_for(double rate_hz) {
  auto hop = static_cast<std::size_t>(std::ceil(hop_target_s * rate_hz));
  while (dsp::next_fast_size(4 * hop) != 4 * hop) ++hop;
  return hop;
}

}  // namespace

double frame_response(double bins) { return dsp::window_response(kind, bins); }

double frame_correlation(int d) {
  static const std::array<double, 4> table = [] {
    constexpr std::size_t n = 256;
    const auto w = dsp::make_window(kind, n);
    std::array<double, 4> r{};
    for (std::size_t lag = 0; lag < 4; ++lag) {
      for (std::size_t i = 0; i + lag * n / 4 < n; ++i) r[lag] += w[i] * w[i + lag * n / 4];
    }
    for (std::size_t lag = 3; lag > 0; --lag) r[lag] /= r[0];
    r[0] = 1.0;
    return r;
  }();
  return d >= 0 && d < 4 ? table[static_cast<std::size_t>(d)] : 0.0;
}

double frame_overlap() {
  return 1.0 + 2.0 * (frame_correlation(1) + frame_correlation(2) + frame_correlation(3));
}

LowBandFrames::LowBandFrames(double rate_hz)
    : decimator_(rate_hz, slowest_rate_hz),
      hop_(hop_for(decimator_.rate_hz())),
      length_(4 * hop_),
      bins_(static_cast<std::size_t>(0.4 * static_cast<double>(length_)) + 6),
      fft_(length_),
      window_(dsp::make_window(kind, length_)),
      frame_(bins_) {
  for (const double w : window_) window_sum_ += w;
  for (std::size_t b = 0; b < bins_; ++b) dc_response_.push_back(frame_response(static_cast<double>(b)));
}

void LowBandFrames::push(std::span<const float> samples, const Sink& sink) {
  const auto slow = decimator_.push(samples);
  pending_.insert(pending_.end(), slow.begin(), slow.end());
  std::size_t at = 0;
  for (; at + length_ <= pending_.size(); at += hop_) {
    const auto in = fft_.input();
    double dc = 0.0;
    for (std::size_t i = 0; i < length_; ++i) {
      in[i] = window_[i] * static_cast<double>(pending_[at + i]);
      dc += in[i];
    }
    fft_.forward();
    const auto out = fft_.output();
    const double scale = 2.0 / window_sum_;
    // Bin phases are referred to the frame's centre, half a frame on: a factor (-1)^b.
    for (std::size_t b = 0; b < bins_; ++b) {
      const double sign = b % 2 == 0 ? scale : -scale;
      const double offset = scale * dc * dc_response_[b];
      frame_[b] = std::complex<float>(static_cast<float>(sign * out[b].real() - offset),
                                      static_cast<float>(sign * out[b].imag()));
    }
    sink(frame_);
  }
  pending_.erase(pending_.begin(), pending_.begin() + static_cast<std::ptrdiff_t>(at));
}

}  // namespace linebench::measure
