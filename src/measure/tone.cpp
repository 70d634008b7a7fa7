#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/statistics.hpp>
#include <linebench/measure/tone.hpp>
#include <linebench/standards/weighting.hpp>
#include <numbers>

#include "tone_step.hpp"

namespace linebench::measure {
namespace {

constexpr double present_share = 0.9;  // of the active segments
// Segments at a hard start and a hard end hold part of the tone, spread: in a short capture they are a large
// share.
constexpr std::size_t edge_segments = 2;
constexpr double run_share = 0.25;   // of the segments where the tone is present
constexpr double weak_dbfs = -70.0;  // a weaker line must stand 20 dB over all the rest to be a test tone
constexpr double weak_snr = 100.0;
constexpr double found_ratio = 4.0;     // a harmonic's power over the noise in its estimate
constexpr double rival_ratio = 2.5e-3;  // other tones count from 26 dB below
constexpr int most_folded = 40;         // harmonics looked at for folding at half the rate
constexpr double periods_wanted = 6.0;  // of the tone in a segment
constexpr double model_rel_u = 2e-5;    // window, rounding and image, relative in power
constexpr double model_ppm = 0.02;
constexpr int most_period = 20000;  // samples; the rounding of a longer one averages out

// Power and uncertainty of each harmonic, the noise in it taken off.
std::vector<Harmonic> read_harmonics(const ToneRun& run, const SpectrumShape& shape, double bins,
                                     double looks, const NoiseSpectrum& noise) {
  std::vector<Harmonic> out;
  const auto n = static_cast<double>(run.segments);
  for (std::size_t k = 2; k <= run.harmonics.size(); ++k) {
    const double at = bins * static_cast<double>(k);
    const auto b = static_cast<std::size_t>(std::lround(at));
    if (b + 1 >= noise.power.size()) break;
    const double v = noise.power[b] * shape.line_noise(at) / looks;
    const double raw = std::norm(run.harmonics[k - 1]) / (n * n);
    Harmonic h;
    h.order = static_cast<int>(k);
    h.mean_square = raw - v;
    h.variance = 2.0 * std::max(h.mean_square, 0.0) * v + v * v;
    h.found = raw > (1.0 + found_ratio) * v;
    out.push_back(h);
  }
  return out;
}

std::vector<SpectralLine> family(double bins, double mean_square, const std::vector<Harmonic>& harmonics) {
  std::vector<SpectralLine> lines = {{bins, mean_square}};
  for (const Harmonic& h : harmonics) {
    if (h.found) lines.push_back({bins * h.order, h.mean_square});
  }
  return lines;
}

bool is_folded_harmonic(double hz, double tone_hz, double rate_hz, double tolerance_hz) {
  for (int k = 2; k <= most_folded; ++k) {
    const double folded = std::abs(std::remainder(k * tone_hz, rate_hz));
    if (std::abs(folded - hz) < tolerance_hz) return true;
  }
  return false;
}

std::vector<double> other_tones(const ToneResult& tone, const SpectrumShape& shape) {
  std::vector<double> out;
  const auto from = static_cast<std::size_t>(20.0 / shape.bin_hz);
  for (const SpectralPeak& p : find_peaks(tone.noise.power, shape, from, tone.noise.power.size() - 2, 12)) {
    const double hz = p.bins * shape.bin_hz;
    if (p.mean_square < rival_ratio * tone.mean_square) break;
    const double near = 2.0 * shape.bin_hz;
    if (is_folded_harmonic(hz, tone.frequency_hz, shape.rate_hz, near) || is_line_rate(hz)) continue;
    if (std::abs(hz - tone.frequency_hz) < 10.0 * shape.bin_hz) continue;  // its own skirt
    if (is_mains_hum(p, tone.noise.power, shape)) continue;
    out.push_back(hz);
  }
  return out;
}

// After how many samples a tone (in cycles a sample) takes the same values again: within `length` samples it
// does not slide past the gaps between them.
double repeats_after(double cycles, double length) {
  int period = 1;
  while (period < most_period && std::abs(std::remainder(period * cycles, 1.0)) * length >= 1.0) ++period;
  return period;
}

// What rounding to `step` may add to a tone's power (k=2, relative). Rounding errors of step / sqrt(12) each
// [uniform error] that come round with every period do not average out: a quarter of the period's values are
// independent by symmetry, and no more than the tone crosses steps. Noise takes the pattern away
// [characteristic function of a rounded Gaussian].
double rounding_rel_u(double cycles, double length, double step, double mean_square, double noise) {
  const double amplitude = std::sqrt(2.0 * mean_square);
  const double independent =
      std::max(1.0, std::min(0.25 * repeats_after(cycles, length), 4.0 * amplitude / step));
  const double u = step / std::sqrt(12.0) * std::sqrt(2.0 / independent);
  const double dither = std::max(0.0, noise / (step * step) - 1.0 / 12.0);
  const double left = std::exp(-2.0 * std::numbers::pi * std::numbers::pi * dither);
  return 2.0 * 2.0 * u / amplitude * left;
}

std::string percent(std::size_t part, std::size_t whole) {
  return fmt::format(
      "{:.0f} %", 100.0 * static_cast<double>(part) / static_cast<double>(std::max<std::size_t>(1, whole)));
}

}  // namespace

ToneResult read_tone(const ToneTrack& track, const SpectrumShape& shape, std::optional<double> tone_hz,
                     std::optional<double> step) {
  ToneResult result;
  const double hz = track.bins * shape.bin_hz;
  if (!(track.bins > 0) || !track.run) {
    result.reason = "no steady tone";
    return result;
  }
  if (static_cast<double>(track.present + std::min(edge_segments, track.active / 6)) <
      present_share * static_cast<double>(track.active)) {
    result.reason = fmt::format(
        "no steady tone: the strongest candidate, {:.1f} Hz, stands out in only {} of the capture", hz,
        percent(track.present, track.active));
    return result;
  }
  if (track.bins < periods_wanted) {
    result.reason =
        fmt::format("the tone of about {:.0f} Hz is too low for this capture; take at least {:.1f} s", hz,
                    std::ceil(10.0 * 7.2 / hz / 0.65) / 10.0);
    return result;
  }
  const ToneRun& run = *track.run;
  if (run.segments < 2 ||
      static_cast<double>(run.segments) < run_share * static_cast<double>(track.present)) {
    result.reason = fmt::format("the tone of {:.1f} Hz does not hold its level: it comes and goes", hz);
    result.step = find_level_step(track.levels, shape, 0.0);
    return result;
  }

  const auto n = static_cast<double>(run.segments);
  const double looks = shape.looks_at_line(run.segments);
  const double bins = run.fitted_bins(shape);
  std::vector<double> power(run.power.size());
  for (std::size_t b = 0; b < power.size(); ++b) power[b] = run.power[b] / n;

  // The noise beside tone and harmonics, in two rounds: all places first, then only where harmonics are.
  const double raw = run.sum_mean_square / n;
  const double power_looks = shape.looks_at_power(run.segments);
  std::vector<SpectralLine> lines = {{bins, raw}};
  for (std::size_t k = 2; k <= run.harmonics.size(); ++k) {
    lines.push_back({bins * static_cast<double>(k), std::norm(run.harmonics[k - 1]) / (n * n)});
  }
  NoiseSpectrum noise = take_out_lines(power, shape, lines, power_looks);
  result.harmonics = read_harmonics(run, shape, bins, looks, noise);
  const double noise_here = noise.power[static_cast<std::size_t>(std::lround(bins))] * shape.line_noise(bins);
  result.mean_square = std::max(raw - noise_here, 0.1 * raw);
  result.noise =
      take_out_lines(power, shape, family(bins, result.mean_square, result.harmonics), power_looks);

  const double unit_noise = noise_here / result.mean_square;  // of one segment, both quadratures
  result.found = true;
  result.steady = track.steady;
  result.frequency_hz = bins * shape.bin_hz;
  const double to_hz = shape.rate_hz / static_cast<double>(shape.hop) / (2.0 * std::numbers::pi);
  const double slope_variance = shape.slope_variance(run.segments);
  const double expected = 0.5 * unit_noise;
  const double residual = run.phase_residual();
  // Phases that scatter more than the noise makes them: the tone or a clock wanders, and so does its mean.
  const double excess = std::max(0.0, residual - 2.0 * expected);
  const double wander = std::sqrt(12.0 * excess) / n;
  result.frequency_u_hz = 2.0 * std::hypot(std::sqrt(expected * slope_variance), wander) * to_hz +
                          model_ppm * 1e-6 * result.frequency_hz;

  const double spread = run.sum_level2 / n - raw * raw;
  const double from_noise = 2.0 * unit_noise * result.mean_square * result.mean_square;
  result.level_spread = std::sqrt(std::max(0.0, spread - from_noise)) / raw;
  const double moving = result.level_spread / std::sqrt(looks);
  const double all_noise = noise_power(result.noise, bin_weights(shape, Weighting::None)).mean_square;
  const double length = static_cast<double>(run.last_start - run.first_start + shape.n);
  const double rounding =
      step ? rounding_rel_u(bins / static_cast<double>(shape.n), length, *step, result.mean_square, all_noise)
           : 0.0;
  result.mean_square_rel_u =
      std::hypot(2.0 * std::sqrt(2.0 * unit_noise / looks + moving * moving), rounding) + model_rel_u;
  result.from_s = static_cast<double>(run.first_start) / shape.rate_hz;
  result.to_s = static_cast<double>(run.last_start + shape.n) / shape.rate_hz;
  result.others_hz = other_tones(result, shape);
  result.step = find_level_step(track.levels, shape, unit_noise);
  result.excursion_db = level_excursion_db(track.levels, result.mean_square, unit_noise);

  if (!tone_hz && dbfs_from_power(result.mean_square) < weak_dbfs &&
      result.mean_square < weak_snr * all_noise) {
    result.found = false;
    result.reason = fmt::format(
        "no steady tone: a line at {:.1f} Hz, {:.1f} dBFS, is too weak for a test tone and counts "
        "as noise",
        result.frequency_hz, dbfs_from_power(result.mean_square));
  }
  return result;
}

Readings to_readings(const ToneResult& tone, double capture_s, std::optional<double> clock_error_ppm,
                     std::string_view suffix) {
  const std::string frequency_id = "audio.tone.frequency" + std::string(suffix);
  const std::string level_id = "audio.tone.level" + std::string(suffix);
  const auto add_step = [&](Readings& out) {
    if (!tone.step) return;
    out.push_back(number_reading("audio.tone.step" + std::string(suffix), tone.step->db, tone.step->u_db));
    out.push_back(
        number_reading("audio.tone.step.time" + std::string(suffix), tone.step->time_s, tone.step->time_u_s));
  };
  if (!tone.found) {
    const std::string stepped = tone.step ? fmt::format("{}; its level steps by {:+.2f} dB at {:.2f} s",
                                                        tone.reason, tone.step->db, tone.step->time_s)
                                          : tone.reason;
    Readings out = {unmeasurable(frequency_id, tone.reason), unmeasurable(level_id, stepped)};
    add_step(out);
    return out;
  }
  std::string span;
  if (tone.to_s - tone.from_s < 0.9 * capture_s) {
    span = fmt::format("read from {:.2f} s to {:.2f} s, where the tone is steady", tone.from_s, tone.to_s);
  }
  std::string moving;
  if (!tone.steady) {
    moving = fmt::format("{}its level moves by {:.2f} dB rms", span.empty() ? "" : "; ",
                         db_from_power(1.0 + tone.level_spread));
  }
  if (tone.step) {
    moving += fmt::format("{}its level steps by {:+.2f} dB at {:.2f} s",
                          span.empty() && moving.empty() ? "" : "; ", tone.step->db, tone.step->time_s);
  }
  double level_u = db_from_power(1.0 + tone.mean_square_rel_u);
  if (tone.excursion_db > level_u) {
    moving += fmt::format("{}over the capture it goes up to {:.2f} dB from here",
                          span.empty() && moving.empty() ? "" : "; ", tone.excursion_db);
    level_u = std::hypot(level_u, tone.excursion_db);
  }
  std::string clock = clock_error_ppm ? "" : "by the recorder's own clock, which is not calibrated";
  if (!span.empty() && !clock.empty()) clock += "; ";
  const double clock_factor = 1.0 + clock_error_ppm.value_or(0.0) * 1e-6;
  Readings out = {
      number_reading(frequency_id, tone.frequency_hz * clock_factor, tone.frequency_u_hz, clock + span),
      number_reading(level_id, dbfs_from_power(tone.mean_square), level_u, span + moving)};
  add_step(out);
  return out;
}

}  // namespace linebench::measure
