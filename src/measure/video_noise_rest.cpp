// What tones leave: beside the one found, and between however many there are.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

#include "video_noise_tone.hpp"

namespace linebench::measure {

double ToneSearch::window(std::size_t i) const {
  return 0.5 -
         0.5 * std::cos(2 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(length_));
}

ToneSearch::Field ToneSearch::without_tone(const Field& f, double hz) const {
  Field without = f;
  const Fit t = fit(f, turned(f, hz), hz);
  const double w = 2 * std::numbers::pi * hz / rate_hz_;
  const std::complex<double> step = std::polar(1.0, w);
  std::vector<float> tone;
  for (const Stretch& s : f.stretches) {
    std::complex<double> turn =
        std::polar(1.0, std::remainder(w * static_cast<double>(s.at), 2 * std::numbers::pi));
    tone.resize(s.shape->length());
    for (float& x : tone) {
      x = static_cast<float>(t.amplitude.real() * turn.real() + t.amplitude.imag() * turn.imag());
      turn *= step;
    }
    s.shape->take_out_fit(tone);
    for (std::size_t i = 0; i < tone.size(); ++i) without.samples[s.at + i] -= tone[i];
  }
  return without;
}

ToneSearch::Rest ToneSearch::rest_on(std::span<const Part> parts, double hz) const {
  Rest out;
  for (const Field& f : fields_) {
    const Field without = without_tone(f, refine(f, turned(f, hz)));
    for (const Stretch& s : f.stretches) {
      for (const Part& p : parts) {
        double sum = 0, squares = 0;
        const std::size_t to = std::min(p.to, s.shape->length());
        for (std::size_t i = s.at + p.from; i < s.at + to; ++i) {
          const auto v = static_cast<double>(without.samples[i]);
          sum += v;
          squares += v * v;
        }
        const auto n = static_cast<double>(to - p.from);
        out.variance += squares;
        out.of_means += squares - (squares - sum * sum / n) * n / (n - 1);
        out.samples += n;
      }
    }
  }
  out.of_means /= std::max(1.0, out.samples);
  out.variance /= std::max(1.0, out.samples);
  return out;
}

// Rms of what lies between lines of a spectrum: the median of each block is white noise's, whatever tones
// stand in it.
double ToneSearch::floor_of(const std::vector<double>& sum_of_fields) const {
  double weights = 0, squares = 0;  // of the window, where there are samples
  for (const Field& f : fields_) {
    for (const Stretch& s : f.stretches) {
      const double w = window(s.at + s.shape->length() / 2);
      weights += static_cast<double>(s.shape->length()) * w;
      squares += static_cast<double>(s.shape->length()) * w * w;
    }
  }
  double sum = 0, blocks = 0;
  for (std::size_t b = 0; b + background_bins < sum_of_fields.size(); b += background_bins, ++blocks)
    sum += dsp::quantile(
        std::vector<double>(sum_of_fields.begin() + static_cast<std::ptrdiff_t>(b),
                            sum_of_fields.begin() + static_cast<std::ptrdiff_t>(b + background_bins)),
        0.5);
  const auto fields = static_cast<double>(fields_.size());
  const double of_white = 4 * squares / (weights * weights) * fields;  // a bin's power, of variance 1
  return std::sqrt(sum / blocks / fields / median_of_mean() / of_white);
}

}  // namespace linebench::measure
