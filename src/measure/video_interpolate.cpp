#include "video_interpolate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <numbers>
#include <vector>

namespace linebench::measure {
namespace {

constexpr int taps = 20;
constexpr int phases = 256;
using Taps = std::array<float, taps>;

// Modified Bessel function I0 by its series; arguments here are below 8.
double bessel_i0(double x) {
  double term = 1;
  double sum = 1;
  for (int k = 1; k < 40; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

// Taps for fractions 0, 1/phases, ..., 1: the value between samples taps/2 - 1 and taps/2. Kaiser's beta for
// 62 dB.
std::vector<Taps> make_table() {
  constexpr double beta = 5.9;
  std::vector<Taps> table(phases + 1);
  for (int p = 0; p <= phases; ++p) {
    const double fraction = static_cast<double>(p) / phases;
    std::array<double, taps> h{};
    double sum = 0;
    for (int t = 0; t < taps; ++t) {
      const double d = t - (taps / 2 - 1) - fraction;
      const double r = d / (taps / 2.0);
      const double window = std::abs(r) < 1 ? bessel_i0(beta * std::sqrt(1 - r * r)) / bessel_i0(beta) : 0.0;
      const double arg = std::numbers::pi * d;
      h[static_cast<std::size_t>(t)] = (std::abs(arg) < 1e-12 ? 1.0 : std::sin(arg) / arg) * window;
      sum += h[static_cast<std::size_t>(t)];
    }
    for (std::size_t t = 0; t < taps; ++t)
      table[static_cast<std::size_t>(p)][t] = static_cast<float>(h[t] / sum);
  }
  return table;
}

Taps taps_for(double fraction) {
  static const std::vector<Taps> table = make_table();
  const double at = fraction * phases;
  const auto p = std::min(static_cast<std::size_t>(at), static_cast<std::size_t>(phases - 1));
  const auto mix = static_cast<float>(at - static_cast<double>(p));
  Taps h;
  for (std::size_t t = 0; t < taps; ++t) h[t] = table[p][t] + mix * (table[p + 1][t] - table[p][t]);
  return h;
}

float held(std::span<const float> x, std::ptrdiff_t n) {
  return x[static_cast<std::size_t>(
      std::clamp(n, std::ptrdiff_t{0}, static_cast<std::ptrdiff_t>(x.size()) - 1))];
}

float one(std::span<const float> x, double at) {
  const double base = std::floor(at);
  const Taps h = taps_for(at - base);
  const auto n = static_cast<std::ptrdiff_t>(base) - (taps / 2 - 1);
  float sum = 0;
  for (std::ptrdiff_t t = 0; t < taps; ++t) sum += h[static_cast<std::size_t>(t)] * held(x, n + t);
  return sum;
}

// Sixteen neighbours with the same taps. Sums named one by one stay in registers; an array of them goes
// through memory at every tap, which takes three times as long.
constexpr std::size_t block = 16;
LINEBENCH_VECTORISED void sixteens(const float* x, const float* h, float* out, std::size_t blocks) {
  using linebench::dsp::Eight;
  for (std::size_t k = 0; k < blocks; ++k, x += block, out += block) {
    Eight a{}, b{};
    for (std::size_t t = 0; t < taps; ++t) {
      Eight low;
      Eight high;
      LINEBENCH_LOAD_EIGHT(low, x + t);
      LINEBENCH_LOAD_EIGHT(high, x + t + 8);
      a += h[t] * low;
      b += h[t] * high;
    }
    LINEBENCH_STORE_EIGHT(out, a);
    LINEBENCH_STORE_EIGHT(out + 8, b);
  }
}

}  // namespace

void interpolate(std::span<const float> x, double from, double step, std::span<float> out) {
  if (x.empty()) {
    std::fill(out.begin(), out.end(), 0.0F);
    return;
  }
  std::size_t k = 0;
  // A step of one sample has the same taps all along; they then
  // run over neighbours.
  if (std::abs(step - 1.0) < 1e-9) {
    const double base = std::floor(from);
    const auto n0 = static_cast<std::ptrdiff_t>(base) - (taps / 2 - 1);
    const Taps h = taps_for(from - base);
    while (k + block <= out.size()) {
      std::size_t blocks = 1;
      const std::ptrdiff_t n = n0 + static_cast<std::ptrdiff_t>(k);
      if (n < 0 || n + static_cast<std::ptrdiff_t>(taps + block) > static_cast<std::ptrdiff_t>(x.size())) {
        for (std::size_t i = 0; i < block; ++i) out[k + i] = one(x, from + static_cast<double>(k + i));
      } else {
        const auto inside = static_cast<std::ptrdiff_t>(x.size()) - n - static_cast<std::ptrdiff_t>(taps);
        blocks = std::min(static_cast<std::size_t>(inside), out.size() - k) / block;
        sixteens(x.data() + n, h.data(), out.data() + k, blocks);
      }
      k += blocks * block;
    }
  }
  for (; k < out.size(); ++k) out[k] = one(x, from + static_cast<double>(k) * step);
}

std::complex<double> interpolation_response(double cycles, double fraction) {
  const Taps h = taps_for(fraction);
  std::complex<double> sum{};
  for (int t = 0; t < taps; ++t) {
    sum += static_cast<double>(h[static_cast<std::size_t>(t)]) *
           std::polar(1.0, 2 * std::numbers::pi * cycles * (t - (taps / 2 - 1) - fraction));
  }
  return sum;
}

}  // namespace linebench::measure
