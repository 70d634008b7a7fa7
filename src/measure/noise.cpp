#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/measure/noise.hpp>
#include <linebench/measure/statistics.hpp>
#include <linebench/standards/weighting.hpp>

namespace linebench::measure {
namespace {

constexpr double covered_share = 0.3;  // a bin with more of a line than this is given up
constexpr std::size_t beside = 12;     // bins averaged on each side of a covered stretch
constexpr int lobe = 9;                // bins that a line can reach, side lobes of -180 dB left out
constexpr double kept_apart = 2.5;     // bins always covered by a line that is taken out
constexpr std::size_t smooth_block = 32;
constexpr double refill_trust = 0.1;  // relative standard uncertainty of what is put into covered bins

struct Stretch {
  std::size_t from, to;
};

double mean_of_kept(std::span<const double> power, std::span<const char> covered, std::size_t from,
                    std::size_t to, bool upwards) {
  double sum = 0;
  std::size_t count = 0;
  for (std::size_t i = from; i != to && count < beside; upwards ? ++i : --i) {
    if (covered[i] != 0) continue;
    sum += power[i];
    ++count;
  }
  return count > 0 ? sum / static_cast<double>(count) : -1.0;
}

void refill(std::vector<double>& power, std::span<const char> covered) {
  const std::size_t n = power.size();
  const std::vector<double> before = power;
  for (std::size_t b = 0; b < n;) {
    if (covered[b] == 0) {
      ++b;
      continue;
    }
    Stretch s{b, b};
    while (s.to < n && covered[s.to] != 0) ++s.to;
    const double below = s.from > 1 ? mean_of_kept(before, covered, s.from - 1, 0, false) : -1.0;
    const double above = s.to < n ? mean_of_kept(before, covered, s.to, n, true) : -1.0;
    const double fill = below < 0 ? std::max(above, 0.0) : above < 0 ? below : 0.5 * (below + above);
    for (std::size_t i = s.from; i < s.to; ++i) power[i] = fill;
    b = s.to;
  }
}

std::vector<double> smoothed(std::span<const double> power, double looks) {
  std::vector<double> out(power.size());
  std::vector<double> sorted;
  // Median over mean of a chi-square with 2 * looks degrees of freedom [Wilson-Hilferty].
  const double c = 1.0 - 1.0 / (9.0 * std::max(looks, 0.5));
  const double bias = c * c * c;
  for (std::size_t from = 0; from < power.size(); from += smooth_block) {
    const std::size_t to = std::min(power.size(), from + smooth_block);
    sorted.assign(power.begin() + static_cast<std::ptrdiff_t>(from),
                  power.begin() + static_cast<std::ptrdiff_t>(to));
    const auto middle = dsp::quantile(sorted, 0.5);
    for (std::size_t b = from; b < to; ++b) out[b] = middle / bias;
  }
  return out;
}

}  // namespace

NoiseSpectrum take_out_lines(std::span<const double> power, const SpectrumShape& shape,
                             std::span<const SpectralLine> lines, double looks) {
  NoiseSpectrum result;
  result.looks = looks;
  result.power.assign(power.begin(), power.end());
  result.refilled.assign(power.size(), 0);
  // What is left of dc is a line too.
  std::vector<double> model(power.size());
  for (int b = 0; b <= lobe && static_cast<std::size_t>(b) < power.size(); ++b) {
    const double g = shape.gain(b);
    model[static_cast<std::size_t>(b)] = power[0] * g * g;
  }
  for (const SpectralLine& line : lines) {
    const int middle = static_cast<int>(std::lround(line.bins));
    for (int b = std::max(0, middle - lobe); b <= middle + lobe; ++b) {
      const auto i = static_cast<std::size_t>(b);
      if (i >= power.size()) break;
      const double g = shape.gain(line.bins - b);
      model[i] += line.mean_square * g * g / shape.line_bins;
      if (std::abs(line.bins - b) <= kept_apart) result.refilled[i] = 1;
    }
  }
  for (std::size_t i = 0; i < power.size(); ++i) {
    if (model[i] > covered_share * power[i]) result.refilled[i] = 1;
    result.power[i] = std::max(0.0, power[i] - model[i]);
  }
  refill(result.power, result.refilled);
  result.smooth = smoothed(result.power, looks);
  return result;
}

std::vector<double> bin_weights(const SpectrumShape& shape, Weighting weighting) {
  std::vector<double> w(shape.n / 2 + 1);
  const double bottom = standards::audio_band_bottom_hz / shape.bin_hz;
  const double top = standards::audio_band_top_hz(shape.rate_hz) / shape.bin_hz;
  for (std::size_t b = 1; b < w.size(); ++b) {
    const auto at = static_cast<double>(b);
    // Bins on the edges count by the part of them that lies inside.
    const double inside = std::clamp(std::min(at + 0.5, top) - std::max(at - 0.5, bottom), 0.0, 1.0);
    if (!(inside > 0)) continue;
    const double hz = at * shape.bin_hz;
    double db = 0;
    if (weighting == Weighting::A) db = standards::a_weighting_db(hz);
    if (weighting == Weighting::Bs468) db = standards::bs468_weighting_db(hz);
    w[b] = inside * power_from_db(db);
  }
  return w;
}

NoisePower noise_power(const NoiseSpectrum& noise, std::span<const double> weights) {
  NoisePower result;
  double variance = 0;
  double filled = 0;
  double all_weights = 0;
  double filled_weights = 0;
  // A bin this far above its surroundings is a line, not chance.
  const double line_ratio = 1.0 + 6.0 / std::sqrt(std::max(noise.looks, 0.3));
  for (std::size_t b = 0; b < weights.size(); ++b) {
    const double w = weights[b];
    if (w == 0) continue;
    const double p = noise.power[b];
    const double s = noise.smooth[b];
    result.mean_square += w * p;
    const bool line = p > line_ratio * s;
    variance += w * w * (s * s + (line ? 2.0 * (p - s) * s : 0.0));
    all_weights += w;
    if (noise.refilled[b] != 0) {
      filled += w * p;
      filled_weights += w;
    }
  }
  if (!(result.mean_square > 0)) return result;
  const double rel_variance = variance / noise.looks / (result.mean_square * result.mean_square);
  const double rel_refill = refill_trust * filled / result.mean_square;
  const double degrees = rel_variance > 0 ? 2.0 / rel_variance : 1e9;
  result.rel_u = coverage_factor(degrees) * std::sqrt(rel_variance + rel_refill * rel_refill);
  result.refilled_share = all_weights > 0 ? filled_weights / all_weights : 0;
  return result;
}

}  // namespace linebench::measure
