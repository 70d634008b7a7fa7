#include "video_noise_lengths.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/fft.hpp>

namespace linebench::measure {
namespace {

constexpr double lengths_us[] = {44.0, 20.0, 10.0, 4.4};
constexpr std::size_t shortest_samples = 24;
constexpr double alike = 1.25;           // powers of lengths that show the same noise, at most
constexpr double common_hz = 400e3;      // all lengths see from here up
constexpr double most_repeating = 0.75;  // of the power; above, it is picture and not noise
constexpr double least_pairs = 4;        // of stretches in two frames, to say whether they repeat

struct Net {
  const FlatSpectrum* spectrum = nullptr;
  FlatSpectrum::Result result;
  double power_above = 0;     // mV^2 where all lengths can be compared
  std::vector<double> share;  // of the power that repeats, by bin
  double repeating = 0;
  double repeating_u = 0;
  bool picture = false;   // nearly all repeats
  bool compared = false;  // whether it does could be told
};

// Bins round a tone are filled from those on either side.
void leave_out(double tone_hz, double step, std::vector<double>& x) {
  if (x.empty()) return;
  constexpr std::ptrdiff_t reach = 3;
  const auto size = static_cast<std::ptrdiff_t>(x.size());
  const auto k = std::min(static_cast<std::ptrdiff_t>(std::lround(tone_hz / step)), size - 1);
  const auto at = [&](std::ptrdiff_t i) { return x[static_cast<std::size_t>(i)]; };
  const std::ptrdiff_t below = k - reach - 1;
  const std::ptrdiff_t above = std::min(k + reach + 1, size - 1);
  const double fill = below < 1 ? at(above) : 0.5 * (at(below) + at(above));
  for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, below + 1); i < above; ++i)
    x[static_cast<std::size_t>(i)] = fill;
}

// How much of the power repeats when the strongest tone that does is left out: a tone that happens to fit the
// frame is not picture.
double repeating_but_tone(const Net& n, double step, double band_hz) {
  std::size_t peak = 0;
  double highest = -1;
  for (std::size_t k = 0; k < n.share.size(); ++k) {
    const double common = n.result.psd[k] * n.share[k];
    if (common > highest) {
      highest = common;
      peak = k;
    }
  }
  double power = 0;
  double common = 0;
  for (std::size_t k = 0; k < n.share.size(); ++k) {
    if (k + 3 >= peak && k <= peak + 3) continue;
    const double p = n.result.psd[k] * hz_in_band(k, step, band_hz);
    power += p;
    common += p * n.share[k];
  }
  return power > 0 ? common / power : 0.0;
}

// Power in the band less what repeats, where that is more than chance makes of it.
Net net_of(const NoiseLength& length, double band_hz, std::optional<double> tone_hz) {
  Net n;
  n.spectrum = &length.spectrum;
  n.result = length.spectrum.result();
  const double step = length.spectrum.step_hz();
  RepeatMeter::Share share = length.repeat.share();
  if (tone_hz) {
    const double with = power_of(n.result.psd, step, band_hz);
    leave_out(*tone_hz, step, n.result.psd);
    leave_out(*tone_hz, step, share.of_power);
    const double more = with / std::max(1e-12, power_of(n.result.psd, step, band_hz));
    n.result.relative_u *= more;
    n.result.relative_u_weighted *= more;
  }
  n.compared = share.pairs >= least_pairs;
  double common = 0;
  const double power = power_of(n.result.psd, step, band_hz);
  for (std::size_t k = 0; k < share.of_power.size(); ++k)
    common += n.result.psd[k] * hz_in_band(k, step, band_hz) * share.of_power[k];
  double squares = 0;
  for (std::size_t k = 0; k < share.of_power.size(); ++k) {
    const double p = n.result.psd[k] * hz_in_band(k, step, band_hz);
    squares += p * p;
  }
  const double bins = squares > 0 ? std::max(1.0, power * power / squares) : 1.0;
  const double chance = std::sqrt(1.5 / (2 * std::max(1.0, share.pairs) * bins));
  if (!share.of_power.empty() && common > (4 * chance + 0.004) * power) {
    n.share = share.of_power;
    n.repeating = common / power;
    n.picture = repeating_but_tone(n, step, band_hz) > most_repeating;
    n.repeating_u = 2 * chance / std::max(0.05, 1 - n.repeating) + 0.1 * n.repeating;
    for (std::size_t k = 0; k < n.share.size(); ++k) n.result.psd[k] *= 1 - n.share[k];
  }
  for (std::size_t k = 0; k < n.result.psd.size(); ++k) {
    if (static_cast<double>(k) * step > common_hz)
      n.power_above += n.result.psd[k] * hz_in_band(k, step, band_hz);
  }
  return n;
}

}  // namespace

NoiseLengths make_noise_lengths(const VideoSetup& setup, double band_hz) {
  NoiseLengths out;
  for (const double us : lengths_us) {
    auto n = static_cast<std::size_t>(us * 1e-6 * setup.rate_hz);
    while (n > shortest_samples && dsp::next_fast_size(n) != n) --n;
    if (n >= shortest_samples) out.push_back(std::make_unique<NoiseLength>(n, setup, band_hz));
  }
  return out;
}

double power_of(const std::vector<double>& psd, double step_hz, double band_hz) {
  double sum = 0;
  for (std::size_t k = 0; k < psd.size(); ++k) sum += psd[k] * hz_in_band(k, step_hz, band_hz);
  return sum;
}

double hz_in_band(std::size_t k, double step_hz, double band_hz) {
  const double f = static_cast<double>(k) * step_hz;
  return std::clamp(std::min(f + step_hz / 2, band_hz) - std::max(0.0, f - step_hz / 2), 0.0, step_hz);
}

NoiseChoice choose_length(std::span<const std::unique_ptr<NoiseLength>> lengths, double band_hz,
                          std::optional<double> tone_hz) {
  std::vector<Net> nets;
  bool picture = false;
  for (const auto& l : lengths) {
    if (l->spectrum.seen() < least_noise_stretches) continue;
    Net n = net_of(*l, band_hz, tone_hz);
    picture = picture || n.picture;
    if (n.result.stretches >= least_noise_stretches && !n.picture) nets.push_back(std::move(n));
  }
  // Where some lengths hold fine picture that passed for flat, so do others that only could not be compared.
  if (picture) std::erase_if(nets, [](const Net& n) { return !n.compared; });
  NoiseChoice c;
  if (nets.empty()) return c;
  double least = nets.front().power_above;
  for (const Net& n : nets) least = std::min(least, n.power_above);
  for (Net& n : nets) {
    if (n.power_above > alike * least) continue;
    c.noise_alone.push_back(n.spectrum);
    if (c.spectrum != nullptr) continue;
    c.spectrum = n.spectrum;
    c.repeating = n.repeating;
    c.compared = n.compared;
    c.relative_u = together(n.result.relative_u, n.repeating_u);
    c.relative_u_weighted = together(n.result.relative_u_weighted, n.repeating_u);
    c.psd = std::move(n.result.psd);
    c.share = std::move(n.share);
  }
  return c;
}

}  // namespace linebench::measure
