#include "video_noise_repeat.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr int every_line = 7;
constexpr double place_samples = 64;

}  // namespace

void RepeatMeter::add(const LineView& v, double at, std::span<const std::complex<double>> spectrum) {
  if (v.line <= 0 || v.line % every_line != 0) return;
  const std::size_t bins = spectrum.size();
  if (cross_.empty()) {
    cross_.assign(bins, 0.0);
    power_.assign(bins, 0.0);
  }
  Kept& k = kept_[{v.line, static_cast<int>(std::lround(at / place_samples))}];
  if (!k.spectrum.empty() && k.frame + 1 == v.frame && std::abs(k.at - at) < 0.05 * length_) {
    // Both on the picture's time: stretches begin on whole samples, pictures do not.
    const std::complex<double> step = std::polar(1.0, -2 * std::numbers::pi * (at - k.at) / length_);
    std::complex<double> turn = 1.0;
    for (std::size_t i = 0; i < bins; ++i) {
      cross_[i] += (spectrum[i] * turn * std::conj(k.spectrum[i])).real();
      power_[i] += 0.5 * (std::norm(spectrum[i]) + std::norm(k.spectrum[i]));
      turn *= step;
    }
    pairs_ += 1;
  }
  k.frame = v.frame;
  k.at = at;
  k.spectrum.assign(spectrum.begin(), spectrum.end());
}

RepeatMeter::Share RepeatMeter::share() const {
  Share s;
  s.pairs = pairs_;
  if (pairs_ <= 0) return s;
  s.of_power.resize(cross_.size());
  for (std::size_t i = 0; i < cross_.size(); ++i)
    s.of_power[i] = power_[i] > 0 ? std::min(1.0, cross_[i] / power_[i]) : 0.0;
  return s;
}

}  // namespace linebench::measure
