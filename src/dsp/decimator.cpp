#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/decimator.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <numbers>

namespace linebench::dsp {
namespace {

constexpr double attenuation_db = 125.0;

}  // namespace

std::vector<float> half_band_taps(double attenuation, double transition) {
  // Kaiser's length and shape formulas, e.g. Oppenheim and Schafer, Discrete-Time Signal Processing, ch. 7.
  const double beta = 0.1102 * (attenuation - 8.7);
  const double length = (attenuation - 7.95) / (2.285 * 2.0 * std::numbers::pi * transition) + 1.0;
  const auto pairs = static_cast<std::size_t>(std::ceil((length + 1.0) / 4.0));
  const double half = 2.0 * static_cast<double>(pairs);
  std::vector<double> h(pairs);
  double sum = 0.0;
  for (std::size_t j = 0; j < pairs; ++j) {
    const double d = 2.0 * static_cast<double>(j) + 1.0;
    const double u = d / half;
    const double ideal = std::sin(std::numbers::pi * d / 2.0) / (std::numbers::pi * d);
    h[j] = ideal * std::cyl_bessel_i(0.0, beta * std::sqrt(1.0 - u * u)) / std::cyl_bessel_i(0.0, beta);
    sum += 2.0 * h[j];
  }
  std::vector<float> taps(pairs);
  // Unity at dc exactly.
  for (std::size_t j = 0; j < pairs; ++j) taps[j] = static_cast<float>(h[j] * 0.5 / sum);
  return taps;
}

Decimator::Decimator(double rate_hz, double at_least_hz) : out_rate_hz_(rate_hz) {
  int halvings = 0;
  while (out_rate_hz_ >= 2.0 * at_least_hz) {
    out_rate_hz_ *= 0.5;
    ++halvings;
  }
  double rate = rate_hz;
  for (int i = 0; i < halvings; ++i) {
    // What would fold onto 0..pass lies from rate/2 - pass upwards.
    Stage s;
    s.taps = half_band_taps(attenuation_db, (0.5 * rate - 2.0 * pass_hz()) / rate);
    const std::size_t p = s.taps.size();
    s.odd.assign(2 * p - 1, 0.0F);
    s.even.assign(p - 1, 0.0F);
    delay_s_ += 2.0 * static_cast<double>(p - 1) / rate;
    stages_.push_back(std::move(s));
    rate *= 0.5;
  }
}

LINEBENCH_VECTORISED void Decimator::Stage::run(std::span<const float> in) {
  // Sorted into even and odd samples, so that the sums below run over neighbours in memory.
  std::size_t at = 0;
  if (odd_next && !in.empty()) {
    odd.push_back(in[0]);
    odd_next = false;
    at = 1;
  }
  const std::size_t couples = (in.size() - at) / 2;
  const std::size_t e0 = even.size();
  const std::size_t o0 = odd.size();
  even.resize(e0 + couples);
  odd.resize(o0 + couples);
  for (std::size_t i = 0; i < couples; ++i) {
    even[e0 + i] = in[at + 2 * i];
    odd[o0 + i] = in[at + 2 * i + 1];
  }
  if (at + 2 * couples < in.size()) {
    even.push_back(in.back());
    odd_next = true;
  }

  const std::size_t p = taps.size();
  const std::size_t history = 2 * p - 1;
  // The centre of output i is even[i]; odd[i + p - 1] precedes it and odd[i + p] follows it.
  const std::size_t usable = std::min(odd.size() - history, even.size());
  out.resize(usable);
  // Sixteen outputs at a time stay in registers while the taps go by.
  constexpr std::size_t lanes = 16;
  std::size_t i = 0;
  for (; i + lanes <= usable; i += lanes) {
    Eight low, high;
    LINEBENCH_LOAD_EIGHT(low, even.data() + i);
    LINEBENCH_LOAD_EIGHT(high, even.data() + i + 8);
    low *= 0.5F;
    high *= 0.5F;
    const float* before = odd.data() + i + p - 1;
    const float* after = odd.data() + i + p;
    for (std::size_t j = 0; j < p; ++j, --before, ++after) {
      const float h = taps[j];
      Eight low_before, low_after, high_before, high_after;
      LINEBENCH_LOAD_EIGHT(low_before, before);
      LINEBENCH_LOAD_EIGHT(low_after, after);
      LINEBENCH_LOAD_EIGHT(high_before, before + 8);
      LINEBENCH_LOAD_EIGHT(high_after, after + 8);
      low += h * (low_before + low_after);
      high += h * (high_before + high_after);
    }
    LINEBENCH_STORE_EIGHT(out.data() + i, low);
    LINEBENCH_STORE_EIGHT(out.data() + i + 8, high);
  }
  for (; i < usable; ++i) {
    float sum = 0.5F * even[i];
    for (std::size_t j = 0; j < p; ++j) sum += taps[j] * (odd[i + p - 1 - j] + odd[i + p + j]);
    out[i] = sum;
  }
  even.erase(even.begin(), even.begin() + static_cast<std::ptrdiff_t>(usable));
  odd.erase(odd.begin(), odd.begin() + static_cast<std::ptrdiff_t>(usable));
}

std::span<const float> Decimator::push(std::span<const float> samples) {
  std::span<const float> current = samples;
  for (Stage& s : stages_) {
    s.run(current);
    current = s.out;
  }
  return current;
}

}  // namespace linebench::dsp
