#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/distortion.hpp>
#include <linebench/standards/weighting.hpp>

namespace linebench::measure {
namespace {

constexpr double model_rel_u = 1e-3;   // of THD: window, level of fundamental
constexpr double most_refilled = 0.6;  // of the band, before noise beside the lines is only a guess

struct HarmonicSum {
  double mean_square = 0;
  double variance = 0;
  int last = 1;
};

HarmonicSum sum_harmonics(const ToneResult& tone, double top_hz) {
  HarmonicSum sum;
  for (const Harmonic& h : tone.harmonics) {
    if (h.order * tone.frequency_hz > top_hz) break;
    sum.mean_square += h.mean_square;
    sum.variance += h.variance;
    sum.last = h.order;
  }
  return sum;
}

Reading thd_reading(const std::string& id, const ToneResult& tone, double top_hz) {
  const HarmonicSum sum = sum_harmonics(tone, top_hz);
  if (sum.last < 2) {
    return unmeasurable(
        id, fmt::format("no harmonic of {:.1f} Hz lies below {:.0f} Hz; send a tone under {:.0f} Hz",
                        tone.frequency_hz, top_hz, top_hz / 2.0));
  }
  const double u2 = 2.0 * std::sqrt(sum.variance) / tone.mean_square;
  const double thd2 = sum.mean_square / tone.mean_square;
  if (thd2 <= u2) {
    return unmeasurable(
        id, "no harmonics stand out of the noise; a longer capture or less noise would show smaller ones",
        100.0 * std::sqrt(std::max(thd2, 0.0) + u2));
  }
  const double thd = std::sqrt(thd2);
  const double from_noise = thd - std::sqrt(std::max(0.0, thd2 - u2));
  return number_reading(id, 100.0 * thd, 100.0 * std::hypot(from_noise, model_rel_u * thd),
                        fmt::format("harmonics 2 to {}", sum.last));
}

}  // namespace

Readings distortion_readings(const ToneResult& tone, const SpectrumShape& shape, const NoisePower& unweighted,
                             std::string_view suffix) {
  const auto id = [&](std::string_view base) { return std::string(base) + std::string(suffix); };
  const std::string thd = id("audio.thd");
  const std::string thd_n = id("audio.thd_n");
  const std::string snr = id("audio.snr");
  if (!tone.found) {
    return {unmeasurable(thd, tone.reason + "; send a sine to see distortion"),
            unmeasurable(thd_n, tone.reason + "; send a sine to see distortion"),
            unmeasurable(snr, tone.reason + "; send a sine, or read the noise level itself")};
  }
  if (!tone.others_hz.empty()) {
    std::string list = fmt::format("{:.1f}", tone.frequency_hz);
    for (std::size_t i = 0; i < std::min<std::size_t>(tone.others_hz.size(), 4); ++i) {
      list += fmt::format(", {:.1f}", tone.others_hz[i]);
    }
    const std::string why = fmt::format("several tones at once ({} Hz{}): send a single sine", list,
                                        tone.others_hz.size() > 4 ? " and more" : "");
    return {unmeasurable(thd, why), unmeasurable(thd_n, why), unmeasurable(snr, why)};
  }
  const double top = standards::audio_band_top_hz(shape.rate_hz);
  const std::string band =
      top < 20000.0 ? fmt::format("band ends at {:.0f} Hz for this sample rate", top) : "";
  Readings out = {thd_reading(thd, tone, top)};
  if (unweighted.refilled_share > most_refilled) {
    const std::string why = fmt::format(
        "the tone of {:.1f} Hz and its harmonics hide the noise in so short a capture; take at least {:.0f} "
        "s",
        tone.frequency_hz, 4.0);
    out.push_back(unmeasurable(thd_n, why));
    out.push_back(unmeasurable(snr, why));
    return out;
  }
  // Single harmonics below the noise add nothing but scatter; those found add up.
  double harmonics = 0;
  double variance = std::pow(unweighted.mean_square * unweighted.rel_u / 2.0, 2);
  for (const Harmonic& h : tone.harmonics) {
    if (!h.found || h.order * tone.frequency_hz > top) continue;
    harmonics += h.mean_square;
    variance += h.variance;
  }
  const double residual = std::max(0.0, harmonics) + unweighted.mean_square;
  if (!(residual > 0)) {
    const std::string why = "nothing beside the tone";
    out.push_back(unmeasurable(thd_n, why));
    out.push_back(unmeasurable(snr, why));
    return out;
  }
  const double ratio = std::sqrt(residual / (residual + tone.mean_square));
  const double rel_u = std::sqrt(variance) / residual;  // k=2 in power is k=2 / 2 in amplitude
  out.push_back(number_reading(thd_n, 100.0 * ratio, 100.0 * ratio * std::hypot(rel_u, model_rel_u), band));
  const double u = db_from_power(1.0 + std::hypot(unweighted.rel_u, tone.mean_square_rel_u));
  out.push_back(number_reading(snr, db_from_power(tone.mean_square / unweighted.mean_square), u, band));
  return out;
}

}  // namespace linebench::measure
