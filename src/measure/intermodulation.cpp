#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/measure/intermodulation.hpp>
#include <linebench/measure/noise.hpp>
#include <linebench/measure/tone_track.hpp>
#include <vector>

namespace linebench::measure {
namespace {

constexpr double tolerance = 0.005;
constexpr double lobe = 7.0;  // half width of a line, bins
constexpr int smpte_orders = 5;
constexpr double model_rel_u = 2e-3;
constexpr double looks_per_line =
    1.4;  // bins' worth of noise scatter in a line's sum over the window's main lobe

std::optional<SpectralPeak> tone_near(std::span<const double> power, const SpectrumShape& shape, double hz) {
  const double bins = hz / shape.bin_hz;
  return peak_near(power, shape, bins, std::max(1.0, tolerance * bins));
}

// Power of a line at a known place: the sum over its main lobe, which holds all of it whatever its exact
// frequency.
struct LinePower {
  double mean_square = 0;
  double variance = 0;
};
LinePower lobe_power(std::span<const double> power, const NoiseSpectrum& noise, double bins, double looks) {
  LinePower line;
  const auto from = static_cast<std::size_t>(std::max(0.0, std::round(bins - 4.0)));
  const auto to = std::min(power.size() - 1, static_cast<std::size_t>(std::round(bins + 4.0)));
  double beside = 0;
  for (std::size_t b = from; b <= to; ++b) {
    line.mean_square += power[b] - noise.power[b];
    beside += noise.power[b];
  }
  const double per_bin = beside / static_cast<double>(to - from + 1);
  line.variance =
      (2.0 * looks_per_line * std::max(line.mean_square, 0.0) * per_bin + beside * per_bin) / looks;
  return line;
}

}  // namespace

std::optional<TwoTone> find_two_tone(std::span<const double> power, const SpectrumShape& shape) {
  const auto pair = [&](double low_hz, double high_hz, double least_ratio, double most_ratio,
                        TwoTone::Kind kind) -> std::optional<TwoTone> {
    if (high_hz * (1.0 + tolerance) >= 0.48 * shape.rate_hz) return std::nullopt;
    const auto low = tone_near(power, shape, low_hz);
    const auto high = tone_near(power, shape, high_hz);
    if (!low || !high) return std::nullopt;
    const double ratio = low->mean_square / high->mean_square;
    if (ratio < least_ratio || ratio > most_ratio) return std::nullopt;
    // Nothing else may come near the weaker of the two.
    const double weaker = std::min(low->mean_square, high->mean_square);
    const auto from = static_cast<std::size_t>(20.0 / shape.bin_hz);
    for (const SpectralPeak& p : find_peaks(power, shape, from, power.size() - 2, 6)) {
      const bool own = std::abs(p.bins - low->bins) < lobe || std::abs(p.bins - high->bins) < lobe;
      if (!own && p.mean_square > 0.5 * weaker) return std::nullopt;
    }
    return TwoTone{kind, low->bins, high->bins, low->mean_square, high->mean_square};
  };
  if (auto smpte = pair(60.0, 7000.0, 1.0, 250.0, TwoTone::Kind::Smpte)) return smpte;
  return pair(19000.0, 20000.0, 0.25, 4.0, TwoTone::Kind::Difference);
}

Readings intermodulation_readings(const std::optional<TwoTone>& pair, std::span<const double> power,
                                  const SpectrumShape& shape, double looks, std::string_view suffix) {
  const std::string smpte_id = "audio.imd.smpte" + std::string(suffix);
  const std::string difference_id = "audio.imd.difference" + std::string(suffix);
  Reading smpte = unmeasurable(smpte_id, "needs the two-tone signal of 60 Hz and 7 kHz");
  Reading difference = unmeasurable(difference_id, "needs the twin tones of 19 and 20 kHz");
  if (!pair) return {smpte, difference};

  const bool is_smpte = pair->kind == TwoTone::Kind::Smpte;
  const double low = pair->low_bins;
  const double high = pair->high_bins;
  std::vector<double> places;
  double reference = pair->high_mean_square;
  if (is_smpte) {
    if (low < 2.0 * lobe) {
      smpte.reason =
          fmt::format("the side tones do not come apart in so short a capture; take at least {:.0f} s", 4.0);
      return {smpte, difference};
    }
    for (int n = 1; n <= smpte_orders; ++n) {
      places.push_back(high - n * low);
      places.push_back(high + n * low);
    }
  } else {
    places = {high - low, 2.0 * low - high, 2.0 * high - low};
    reference = std::pow(std::sqrt(pair->low_mean_square) + std::sqrt(pair->high_mean_square), 2);
  }
  std::erase_if(places, [&](double p) { return p > 0.49 * shape.rate_hz / shape.bin_hz; });

  // What lies beside each product is its noise; the two tones' own skirts are taken out first.
  std::vector<SpectralLine> lines = {{low, pair->low_mean_square}, {high, pair->high_mean_square}};
  const std::vector<double> beside_tones = take_out_lines(power, shape, lines, looks).power;
  for (const double p : places) {
    const auto b = static_cast<std::size_t>(std::lround(p));
    lines.push_back({p, beside_tones[b] * shape.line_bins / std::pow(shape.gain(p - std::round(p)), 2)});
  }
  const NoiseSpectrum noise = take_out_lines(power, shape, lines, looks);
  double sum = 0;
  double variance = 0;
  for (const double p : places) {
    const LinePower line = lobe_power(beside_tones, noise, p, looks);
    sum += line.mean_square;
    variance += line.variance;
  }
  const double ratio2 = sum / reference;
  const double u2 = 2.0 * std::sqrt(variance) / reference;
  Reading& reading = is_smpte ? smpte : difference;
  const std::string id = reading.id;
  if (ratio2 <= u2) {
    reading =
        unmeasurable(id, "no products stand out of the noise", 100.0 * std::sqrt(std::max(ratio2, 0.0) + u2));
    return {smpte, difference};
  }
  const double ratio = std::sqrt(ratio2);
  const double u = ratio - std::sqrt(std::max(0.0, ratio2 - u2));
  reading = number_reading(id, 100.0 * ratio, 100.0 * std::hypot(u, model_rel_u * ratio),
                           is_smpte ? "side tones of order 1 to 5" : "products at f2-f1, 2f1-f2 and 2f2-f1");
  return {smpte, difference};
}

}  // namespace linebench::measure
