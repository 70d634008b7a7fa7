#include "shaped_noise.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/window.hpp>
#include <numbers>

namespace linebench::signals {
namespace {

/// Linear-phase filter by frequency sampling: the response on a grid, back to time, windowed; energy 1.
std::vector<double> design(const ShapedNoise::Response& response, double rate_hz, dsp::RealFft& fft) {
  const std::size_t n = fft.size();
  const auto spectrum = fft.output();
  for (std::size_t k = 0; k < spectrum.size(); ++k) {
    spectrum[k] = k == 0 ? 0.0 : response(static_cast<double>(k) * rate_hz / static_cast<double>(n));
  }
  fft.inverse();
  const std::vector<double> window = dsp::make_window(dsp::Window::Hann, n);
  std::vector<double> h(n);
  double energy = 0;
  for (std::size_t i = 0; i < n; ++i) {
    h[i] = window[i] * fft.input()[(i + n - n / 2) % n];
    energy += h[i] * h[i];
  }
  if (energy > 0) {
    for (double& v : h) v /= std::sqrt(energy);
  }
  return h;
}

std::size_t taps_for(double rate_hz, double resolution_hz) {
  return dsp::next_fast_size(static_cast<std::size_t>(2 * rate_hz / resolution_hz));
}

}  // namespace

double Gaussian::uniform() {
  // 53 bits, never 0.
  return (static_cast<double>(random_() >> 11) + 1.0) * 0x1.0p-53;
}

double Gaussian::operator()() {
  if (has_spare_) {
    has_spare_ = false;
    return spare_;
  }
  const double r = std::sqrt(-2 * std::log(uniform()));
  const double angle = 2 * std::numbers::pi * uniform();
  spare_ = r * std::sin(angle);
  has_spare_ = true;
  return r * std::cos(angle);
}

ShapedNoise::ShapedNoise(double rate_hz, std::uint64_t seed, double resolution_hz,
                         const std::vector<Response>& responses)
    : gaussian_(seed),
      taps_(taps_for(rate_hz, resolution_hz)),
      hop_(taps_ + 1),
      fft_(2 * taps_),
      history_(taps_ - 1),
      white_(taps_ + 1),
      blocks_(responses.size(), std::vector<double>(hop_)) {
  dsp::RealFft grid(taps_);
  for (const Response& response : responses) {
    const std::vector<double> h = design(response, rate_hz, grid);
    std::ranges::fill(fft_.input(), 0.0);
    std::ranges::copy(h, fft_.input().begin());
    fft_.forward();
    std::vector<std::complex<double>>& filter =
        filters_.emplace_back(fft_.output().begin(), fft_.output().end());
    for (auto& z : filter) z /= static_cast<double>(fft_.size());
  }
  for (double& v : history_) v = gaussian_();
}

void ShapedNoise::advance() {
  const auto in = fft_.input();
  std::ranges::copy(history_, in.begin());
  for (double& v : in.subspan(history_.size())) v = gaussian_();
  std::ranges::copy(in.last(history_.size()), history_.begin());
  fft_.forward();
  std::ranges::copy(fft_.output(), white_.begin());
  for (std::size_t b = 0; b < filters_.size(); ++b) {
    for (std::size_t k = 0; k < white_.size(); ++k) fft_.output()[k] = white_[k] * filters_[b][k];
    fft_.inverse();
    std::ranges::copy(fft_.input().last(hop_), blocks_[b].begin());
  }
}

}  // namespace linebench::signals
