#include <algorithm>
#include <cmath>
#include <cstring>
#include <linebench/measure/true_peak.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr int taps = 49;

// Four floats at once: the compilers' own vectors, so that the screen is fast without a special build.
using Four = float __attribute__((vector_size(16)));
using FourBits = int __attribute__((vector_size(16)));

Four load(const float* p) {
  Four v;
  std::memcpy(&v, p, sizeof v);
  return v;
}
Four magnitude(Four v) {
  FourBits bits;
  std::memcpy(&bits, &v, sizeof v);
  bits &= 0x7fffffff;
  std::memcpy(&v, &bits, sizeof v);
  return v;
}
Four larger(Four a, Four b) { return a > b ? a : b; }
float largest(Four v) { return std::max(std::max(v[0], v[1]), std::max(v[2], v[3])); }

double windowed_sinc(int j, int factor) {
  const double m = (j - (taps - 1) / 2.0) / factor;
  const double sinc = m == 0 ? 1.0 : std::sin(m * std::numbers::pi) / (m * std::numbers::pi);
  return sinc * 0.5 * (1.0 - std::cos(2.0 * std::numbers::pi * j / (taps - 1)));
}

}  // namespace

int TruePeakScreen::oversampling(double rate_hz) noexcept {
  return rate_hz < 96000 ? 4 : rate_hz < 192000 ? 2 : 1;
}

TruePeakScreen::TruePeakScreen(double rate_hz) : factor_(oversampling(rate_hz)), stretch_(whole, 0.0F) {
  double bound = 1;
  if (factor_ == 4) {
    double sum_half = 0;
    double sum_quarter = 0;
    for (int i = 0; i < 6; ++i) {
      const double h = windowed_sinc(2 + 4 * i, 4);
      const double a = windowed_sinc(1 + 4 * i, 4);
      const double b = windowed_sinc(1 + 4 * (11 - i), 4);
      half_[i] = static_cast<float>(h);
      even_[i] = static_cast<float>((a + b) / 2);
      odd_[i] = static_cast<float>((a - b) / 2);
      sum_half += 2 * std::abs(h);
      sum_quarter += std::abs(a) + std::abs(b);
    }
    bound = std::max({bound, sum_half, sum_quarter});
  } else if (factor_ == 2) {
    double sum = 0;
    for (int i = 0; i < 12; ++i) {
      const double h = windowed_sinc(1 + 2 * i, 2);
      half_long_[i] = static_cast<float>(h);
      sum += 2 * std::abs(h);
    }
    bound = std::max(bound, sum);
  }
  gain_bound_ = static_cast<float>(bound * (1.0 + 1e-5));
}

float TruePeakScreen::interpolated_peak(std::size_t count) const {
  // Whole fours only where there are samples to fill them; the last block is followed by zeros, and outputs
  // that belong to those are not the signal's.
  Four most{};
  const float* x = ring_.data() + before;
  const auto tail = [&](std::size_t n, auto&& four_outputs) {
    const Four y = four_outputs(x + n);
    for (std::size_t k = 0; k < std::min<std::size_t>(4, count - n); ++k) most[k] = std::max(most[k], y[k]);
  };
  if (factor_ == 4) {
    const auto outputs = [&](const float* p) {
      Four h{};
      Four e{};
      Four o{};
      for (int i = 0; i < 6; ++i) {
        const Four early = load(p - i);
        const Four late = load(p - 11 + i);
        const Four sum = early + late;
        h += half_[i] * sum;
        e += even_[i] * sum;
        o += odd_[i] * (early - late);
      }
      // The two quarter points are e + o and e - o; the larger magnitude of the two is |e| + |o|.
      return larger(magnitude(h), magnitude(e) + magnitude(o));
    };
    for (std::size_t n = 0; n + 4 <= count; n += 4) most = larger(most, outputs(x + n));
    if (count % 4 != 0) tail(count - count % 4, outputs);
  } else if (factor_ == 2) {
    const auto outputs = [&](const float* p) {
      Four h{};
      for (int i = 0; i < 12; ++i) h += half_long_[i] * (load(p - i) + load(p - 23 + i));
      return magnitude(h);
    };
    for (std::size_t n = 0; n + 4 <= count; n += 4) most = larger(most, outputs(x + n));
    if (count % 4 != 0) tail(count - count % 4, outputs);
  }
  return largest(most);
}

void TruePeakScreen::take_block(std::size_t count) {
  Four here{};
  const float* x = ring_.data() + before;
  for (std::size_t n = 0; n < block; n += 4)
    here = larger(here, magnitude(load(x + n)));  // zeros beyond the end
  const float block_peak = largest(here);
  sample_peak_ = std::max(sample_peak_, block_peak);
  float memory_peak = block_peak;
  for (std::size_t n = before - 24; n < before; ++n) memory_peak = std::max(memory_peak, std::abs(ring_[n]));

  float found = block_peak;
  if (memory_peak * gain_bound_ > peak_) found = std::max(found, interpolated_peak(count));
  if (found > peak_) {
    peak_ = found;
    std::copy(ring_.begin(), ring_.end(), stretch_.begin());
    stretch_block_ = count;
  }
}

void TruePeakScreen::push(std::span<const float> samples, std::size_t stride) {
  const std::size_t count = samples.size() / stride + (samples.size() % stride != 0 ? 1 : 0);
  for (std::size_t n = 0; n < count;) {
    const std::size_t part = std::min(count - n, whole - filled_);
    const float* from = samples.data() + n * stride;
    for (std::size_t k = 0; k < part; ++k) ring_[filled_ + k] = from[k * stride];
    filled_ += part;
    n += part;
    if (filled_ == whole) {
      take_block(block);
      std::copy(ring_.begin() + block, ring_.end(), ring_.begin());
      filled_ -= block;
    }
  }
}

void TruePeakScreen::finish() {
  while (filled_ > before) {
    std::fill(ring_.begin() + static_cast<std::ptrdiff_t>(filled_), ring_.end(), 0.0F);
    const std::size_t count = std::min(block, filled_ - before);
    take_block(count);
    std::copy(ring_.begin() + block, ring_.end(), ring_.begin());
    filled_ = filled_ > before + block ? filled_ - block : before;
  }
}

double fine_peak(std::span<const float> samples) {
  constexpr int half = 32;
  constexpr int phases = 16;
  double peak = 0;
  std::array<double, 2 * half> taps_of_phase{};
  for (int p = 0; p < phases; ++p) {
    for (int i = 0; i < 2 * half; ++i) {
      const double t = i - (half - 1) - static_cast<double>(p) / phases;
      const double window = std::cos(std::numbers::pi * t / (2.0 * half));
      taps_of_phase[i] =
          (t == 0 ? 1.0 : std::sin(std::numbers::pi * t) / (std::numbers::pi * t)) * window * window;
    }
    for (std::size_t n = half; n + half < samples.size(); ++n) {
      double y = 0;
      for (int i = 0; i < 2 * half; ++i)
        y += taps_of_phase[i] * static_cast<double>(samples[n - half + 1 + i]);
      peak = std::max(peak, std::abs(y));
    }
  }
  return peak;
}

}  // namespace linebench::measure
