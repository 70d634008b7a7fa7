#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/distortion.hpp>
#include <linebench/measure/intermodulation.hpp>
#include <linebench/measure/noise.hpp>
#include <linebench/measure/tone.hpp>
#include <linebench/measure/tone_noise.hpp>
#include <linebench/standards/weighting.hpp>
#include <numbers>
#include <string>
#include <vector>

#include "append.hpp"
#include "tone_disturbing.hpp"
#include "tone_step.hpp"

namespace linebench::measure {
namespace {

constexpr double shortest_noise_s = 0.25;
constexpr double frame_s = 0.1;
constexpr double steady_spread_db =
    2.5;  // between the 15th and 85th percentile, beyond what the noise's band gives
constexpr double least_beside = 0.1;    // of the tone's power: less does not show in the frames beside it
constexpr double least_likeness = 0.5;  // between segments; stationary noise has 0.8 and more
// Texture of Gaussian noise is 0.785 both ways; of notes that are held for some seconds each, many at once,
// 0.57 to 0.68 over time and 0.36 to 0.45 over bins. Noise whose level moves falls over time, not over bins;
// hum over bins, not over time. By simulation.
constexpr double music_over_time = 0.74;
constexpr double music_over_bins = 0.55;
constexpr double quasi_peak_u_db = 0.5;  // the burst tables' tolerance as it bears on noise, k=2

constexpr std::string_view noise_ids[] = {"audio.noise.unweighted", "audio.noise.a", "audio.noise.bs468"};
constexpr Weighting noise_weightings[] = {Weighting::None, Weighting::A, Weighting::Bs468};

struct Spread {
  double measured_db = 0;  // 15th to 85th percentile of frame levels
  double expected_db = 0;  // the same of a stationary noise of this spectrum
};

/// @param without mean square of a steady part to be left out of each frame.
Spread level_spread(const LevelResult& level, const NoiseSpectrum& noise, const SpectrumShape& shape,
                    double without = 0.0) {
  Spread spread;
  const auto per_frame = std::max<std::size_t>(1, std::llround(frame_s / level.block_s));
  std::vector<double> frames;
  for (std::size_t i = 0; i + per_frame <= level.blocks.size(); i += per_frame) {
    double sum = 0;
    for (std::size_t k = i; k < i + per_frame; ++k) sum += level.blocks[k];
    const double rest = sum / static_cast<double>(per_frame) - without;
    if (rest > 0) frames.push_back(db_from_power(rest));
  }
  if (frames.size() < 3) return spread;
  std::sort(frames.begin(), frames.end());
  const auto at = [&](double share) {
    return frames[static_cast<std::size_t>(std::lround(share * static_cast<double>(frames.size() - 1)))];
  };
  spread.measured_db = at(0.85) - at(0.15);
  double sum = 0;
  double square = 0;
  for (const double p : noise.smooth) {
    sum += p;
    square += p * p;
  }
  if (sum > 0) {
    const double frame = static_cast<double>(per_frame) * level.block_s;
    const double rel = std::sqrt(square / (sum * sum) / (frame * shape.bin_hz));
    spread.expected_db = 2.07 * db_from_power(1.0 + rel);
  }
  return spread;
}

bool like_music(const ToneTrack& track) {
  return track.over_time < music_over_time && track.over_bins < music_over_bins;
}

bool like_programme(const Spread& spread) {
  return spread.measured_db > steady_spread_db + 2.0 * spread.expected_db;
}

/// Music with a held note: the note is no test tone, and what is beside it is neither its distortion nor the
/// path's noise. Empty where the tone, or steady noise beside it, is all there is.
std::string held_note(const ToneResult& tone, const LevelResult& level, const SpectrumShape& shape) {
  const double beside = noise_power(tone.noise, bin_weights(shape, Weighting::None)).mean_square;
  if (beside < least_beside * tone.mean_square) return {};
  const Spread spread = level_spread(level, tone.noise, shape, tone.mean_square);
  if (!like_programme(spread)) return {};
  return fmt::format(
      "no steady tone: beside the line at {:.1f} Hz there is programme ({:.0f} dB between quiet and loud)",
      tone.frequency_hz, spread.measured_db);
}

Readings no_noise(const std::string& why, std::string_view suffix) {
  Readings out;
  for (const std::string_view id : noise_ids)
    out.push_back(unmeasurable(std::string(id) + std::string(suffix), why));
  return out;
}

// A single line that makes most of what the ear weighs is no noise: a whine. Empty where there is none.
std::string whine_note(const NoiseSpectrum& noise, const SpectrumShape& shape) {
  const std::vector<double> weight = bin_weights(shape, Weighting::A);
  std::size_t at = 0;
  double total = 0;
  const auto heard = [&](std::size_t b) { return noise.power[b] * weight[b]; };
  for (std::size_t b = 0; b < noise.power.size(); ++b) {
    total += heard(b);
    if (heard(b) > heard(at)) at = b;
  }
  constexpr std::size_t reach = 6;  // bins that a line covers
  constexpr double most = 0.5;
  if (at <= reach || at + reach >= noise.power.size()) return {};
  double line = 0;
  double middle = 0;
  std::vector<double> here(weight.size(), 0.0);
  for (std::size_t b = at - reach; b <= at + reach; ++b) {
    line += heard(b);
    middle += heard(b) * static_cast<double>(b);
    here[b] = weight[b] > 0 ? 1.0 : 0.0;
  }
  // Noise in a narrow band is as tall beside its top.
  if (line < most * total || noise.power[at] < 100 * std::max(noise.smooth[at], 1e-30)) return {};
  return fmt::format("most of it is one line at {:.0f} Hz, {:.1f} dBFS", middle / line * shape.bin_hz,
                     dbfs_from_power(noise_power(noise, here).mean_square));
}

Readings noise_levels(const NoiseSpectrum& noise, const SpectrumShape& shape, double extra_rel_u,
                      const std::string& remark, std::string_view suffix) {
  Readings out;
  const std::string whine = whine_note(noise, shape);
  for (std::size_t i = 0; i < 3; ++i) {
    const std::string id = std::string(noise_ids[i]) + std::string(suffix);
    const NoisePower p = noise_power(noise, bin_weights(shape, noise_weightings[i]));
    if (p.mean_square > 0) {
      out.push_back(number_reading(id, dbfs_from_power(p.mean_square),
                                   db_from_power(1.0 + std::max(p.rel_u, extra_rel_u)),
                                   remark.empty() || whine.empty() ? remark + whine : remark + "; " + whine));
    } else {
      out.push_back(unmeasurable(id, "nothing there but dc"));
    }
  }
  return out;
}

// A tone that is most of the signal and lasts: the level is known as well as tone and noise are, and as the
// partial periods at both ends allow.
void level_from_tone(ToneNoiseResult& result, const ToneResult& tone, const NoisePower& noise,
                     const LevelResult& level, double seconds, bool hum) {
  if (!tone.steady || !tone.others_hz.empty() || tone.mean_square < 0.5 * level.mean_square) return;
  if (tone.to_s - tone.from_s < 0.8 * seconds) return;
  if (std::abs(tone.mean_square + noise.mean_square - level.mean_square) > 0.1 * level.mean_square) return;
  const double periods = std::numbers::pi * tone.frequency_hz * seconds;
  const double beside = std::max(0.0, level.mean_square - tone.mean_square) / level.mean_square;
  result.level_rel_u =
      std::hypot(tone.mean_square_rel_u, beside * std::max(noise.rel_u, 0.05), 0.5 / periods);
  // What is beside the tone moves the mean as white noise would; hum moves it by its own partial periods.
  if (!hum)
    result.dc_u =
        std::hypot(std::sqrt(2.0 * tone.mean_square) / periods,
                   2.0 * std::sqrt(beside * level.mean_square / static_cast<double>(level.samples)));
}

}  // namespace

ToneNoiseAnalyser::ToneNoiseAnalyser(double rate_hz, const ToneNoiseOptions& options)
    : rate_hz_(rate_hz),
      options_(options),
      segmenter_(rate_hz),
      tracker_(options.tone_hz),
      quasi_peak_(rate_hz) {}

void ToneNoiseAnalyser::push(std::span<const float> samples) {
  segmenter_.push(samples, [this](const SpectrumShape& s, const Segment& g) { tracker_.add(s, g); });
  // The quasi-peak meter is for idle paths; while there is a test tone its work is spared.
  if (tracker_.on_tone()) {
    quasi_peak_paused_ = true;
  } else {
    quasi_peak_.push(samples);
  }
}

ToneNoiseResult ToneNoiseAnalyser::finish(const LevelResult& level, std::string_view suffix,
                                          const InterferenceResult* disturbed) {
  segmenter_.finish([this](const SpectrumShape& s, const Segment& g) { tracker_.add(s, g); });
  const double seconds = static_cast<double>(level.samples) / rate_hz_;
  const std::string quasi_peak_id = "audio.noise.bs468_peak" + std::string(suffix);
  const ToneTrack track = tracker_.finish();
  ToneResult tone;
  if (track.segments == 0) {
    tone.reason = level.peak == 0 ? "digital silence: all samples are zero" : "dc only";
    Readings out = to_readings(tone, seconds, {}, suffix);
    append(out, distortion_readings(tone, SpectrumShape(rate_hz_, 64, 64), {}, suffix));
    append(out, intermodulation_readings({}, {}, SpectrumShape(rate_hz_, 64, 64), 1.0, suffix));
    append(out, no_noise(tone.reason, suffix));
    out.push_back(unmeasurable(quasi_peak_id, tone.reason));
    ToneNoiseResult silent;
    silent.readings = std::move(out);
    return silent;
  }
  const SpectrumShape& shape = *segmenter_.shape();
  tone = read_tone(track, shape, options_.tone_hz, options_.step);
  if (tone.found && disturbed != nullptr && !options_.tone_hz) {
    const std::string whose = disturbing_line(tone, *track.run, shape, *disturbed);
    if (!whose.empty()) {
      tone.found = false;
      tone.step.reset();
      tone.reason = fmt::format("no steady tone: the line at {:.1f} Hz is {}", tone.frequency_hz, whose);
    }
  }
  bool held = false;
  if (tone.found && !options_.tone_hz) {
    if (const std::string note = held_note(tone, level, shape); !note.empty()) {
      tone.found = false;
      tone.step.reset();
      tone.reason = note;
      held = true;
    }
  }
  if (tone.step && comes_and_goes(level.blocks, level.block_s)) tone.step.reset();
  if (tone.step) tone.step = with_block_time(*tone.step, level.blocks, level.block_s);
  ToneNoiseResult result;
  result.programme = held;
  if (tone.found) result.tone_hz = tone.frequency_hz;
  result.average = track.power;
  for (double& p : result.average) p /= static_cast<double>(track.segments);
  result.shape = shape;
  Readings& out = result.readings;
  out = to_readings(tone, seconds, options_.clock_error_ppm, suffix);

  const double top = standards::audio_band_top_hz(rate_hz_);
  const std::string band =
      top < 20000.0 ? fmt::format("band ends at {:.0f} Hz for this sample rate", top) : "";
  if (tone.found) {
    std::vector<double> power = track.run->power;
    for (double& p : power) p /= static_cast<double>(track.run->segments);
    const auto pair = find_two_tone(power, shape);
    if (pair && tone.others_hz.empty()) {
      const bool on_low = std::abs(track.bins - pair->low_bins) < std::abs(track.bins - pair->high_bins);
      tone.others_hz.push_back((on_low ? pair->high_bins : pair->low_bins) * shape.bin_hz);
    }
    append(out, distortion_readings(tone, shape, noise_power(tone.noise, bin_weights(shape, Weighting::None)),
                                    suffix));
    append(out, intermodulation_readings(pair, power, shape, tone.noise.looks, suffix));
    const NoisePower all = noise_power(tone.noise, bin_weights(shape, Weighting::None));
    if (!tone.others_hz.empty()) {
      append(out, no_noise("several tones at once: record the idle path, or send a single sine", suffix));
    } else if (seconds < shortest_noise_s || all.refilled_share > 0.6) {
      append(out,
             no_noise(fmt::format("too short to see the noise beside the tone; take at least {:.0f} s", 4.0),
                      suffix));
    } else {
      append(out, noise_levels(tone.noise, shape, 0.0, band, suffix));
    }
    out.push_back(unmeasurable(quasi_peak_id, "a tone is present; the quasi-peak meter needs the idle path"));
    level_from_tone(result, tone, all, level, seconds, disturbed != nullptr && disturbed->hum.found);
    return result;
  }

  append(out, distortion_readings(tone, shape, {}, suffix));
  append(out, intermodulation_readings({}, {}, shape, 1.0, suffix));
  const NoiseSpectrum noise = take_out_lines(result.average, shape, {}, shape.looks_at_power(track.segments));
  const Spread spread = level_spread(level, noise, shape);
  std::string why;
  if (options_.band_filled) {
    why =
        "the signal that was sent fills the band and hides the path's own noise; record the idle path or a "
        "steady tone";
  } else if (seconds < shortest_noise_s) {
    why = fmt::format("too short to measure noise; take at least {} s", shortest_noise_s);
  } else if (track.likeness < least_likeness ||
             (2 * track.tonal > track.segments && track.present * 10 < track.active * 9)) {
    why = "tones that change (a sweep, steps or programme), not noise; record the idle path or a steady tone";
  } else if (tone.reason.find("comes and goes") != std::string::npos) {
    why = tone.reason + "; record the idle path or a steady tone";
  } else if (like_music(track)) {
    why = "notes that come and go (music), not noise; record the idle path or a steady tone";
  } else if (like_programme(spread)) {
    why = fmt::format(
        "the level moves like programme ({:.0f} dB between quiet and loud), and programme is not noise; "
        "record the idle path or a steady tone",
        spread.measured_db);
  }
  if (!why.empty()) {
    result.programme = !options_.band_filled && seconds >= shortest_noise_s;
    append(out, no_noise(why, suffix));
    out.push_back(unmeasurable(quasi_peak_id, why));
    return result;
  }
  // Noise that moves more than its band explains is known no better than its own spread says.
  const bool restless = spread.measured_db > 1.5 * spread.expected_db + 0.3;
  append(out, noise_levels(noise, shape, restless ? level.mean_square_rel_u : 0.0, band, suffix));
  const double reading = quasi_peak_.reading();
  if (quasi_peak_paused_) {
    out.push_back(
        unmeasurable(quasi_peak_id, "a tone was there for part of the capture; record the idle path"));
  } else if (reading > 0) {
    out.push_back(number_reading(quasi_peak_id, dbfs_from_rms(reading), quasi_peak_u_db,
                                 "highest reading in the capture"));
  } else {
    out.push_back(unmeasurable(quasi_peak_id, "nothing there but dc"));
  }
  return result;
}

}  // namespace linebench::measure
