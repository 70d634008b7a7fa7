#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/interference.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/loudness.hpp>
#include <linebench/measure/pair.hpp>
#include <linebench/measure/sti.hpp>
#include <linebench/measure/tone_noise.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <linebench/signals/recipe.hpp>
#include <optional>
#include <vector>

#include "append.hpp"
#include "hum_beyond.hpp"

namespace linebench::measure {
namespace {

constexpr std::size_t block_frames = 4096;
constexpr double shortest_s = 0.1;
constexpr double lowest_rate_hz = 8000.0;
constexpr double highest_product_hz = 2500.0;  // no hum is looked for above

// The kind of the recipe that was sent; empty when it is not known here (a name typed by a person may be
// anything).
std::string_view sent_kind(const std::string& signal) {
  if (signal.empty()) return {};
  try {
    return signals::load_recipe(signal).kind->name;
  } catch (const Error&) {
    return {};
  }
}

// What is known of the signal that was sent, so that it is not taken for hum.
HumOptions hum_options(const AudioOptions& options) {
  HumOptions hum{options.mains_hz, options.tone_hz, {}};
  if (options.signal.empty()) return hum;
  try {
    const signals::Recipe recipe = signals::load_recipe(options.signal);
    const std::string_view kind = recipe.kind->name;
    if (kind == "sine" && !hum.tone_hz) hum.tone_hz = recipe.number("frequency_hz");
    if (kind == "multitone" || kind == "two-tone") hum.sent_hz = signals::tone_frequencies(recipe);
    if (kind == "two-tone") {
      // A path that distorts makes multiples of the lower tone and of the difference.
      for (const double hz : {hum.sent_hz.front(), hum.sent_hz.back() - hum.sent_hz.front()}) {
        for (int m = 1; m * hz < highest_product_hz; ++m) hum.sent_hz.push_back(m * hz);
      }
    }
  } catch (const Error&) {
    // A name that is no recipe here says nothing.
  }
  return hum;
}

struct Channel {
  Channel(double rate_hz, const ToneNoiseOptions& tone_options, const HumOptions& hum_options,
          bool known_stipa)
      : levels(rate_hz),
        tone_noise(rate_hz, tone_options),
        interference(rate_hz, hum_options),
        sti(rate_hz, known_stipa),
        samples(block_frames) {}

  LevelAnalyser levels;
  ToneNoiseAnalyser tone_noise;
  InterferenceAnalyser interference;
  StiAnalyser sti;
  std::vector<float> samples;
};

// A capture with gaps is still worth reading, but every value from it says so.
void mark_tainted(Readings& readings, const CaptureFacts& facts) {
  if (!facts.tainted()) return;
  const std::string remark =
      fmt::format("the capture has gaps ({} overruns, {} samples lost): take it again to be sure",
                  facts.xruns, facts.dropped);
  for (Reading& r : readings) r.reason += (r.reason.empty() ? "" : "; ") + remark;
}

// Which side is the noisier one, by the noise read on each.
Reading noise_difference(const Readings& readings) {
  const char* id = "audio.pair.noise";
  const Reading* left = find_reading(readings, "audio.noise.unweighted.left");
  const Reading* right = find_reading(readings, "audio.noise.unweighted.right");
  for (const Reading* r : {left, right}) {
    if (r == nullptr || !r->measured()) {
      return unmeasurable(id, fmt::format("no noise reading on the {} side: {}", r == left ? "left" : "right",
                                          r == nullptr ? "not measured" : r->reason));
    }
  }
  const double db = right->number() - left->number();
  const double u = std::hypot(left->uncertainty.value_or(0.0), right->uncertainty.value_or(0.0));
  std::string remark;
  if (std::abs(db) > std::max(3.0, 2.0 * u)) {
    remark = fmt::format("the {} side is the noisier one", db > 0 ? "right" : "left");
  }
  return number_reading(id, db, u, remark);
}

// Every frequency was counted by the recorder's clock. The tone's reading has its error out already; what is
// not known about the clock is not known about any of them.
void take_clock_out(Readings& readings, double error_ppm, double uncertainty_ppm) {
  for (Reading& r : readings) {
    const bool tone = r.id.starts_with("audio.tone.frequency");
    if (!r.measured() ||
        (!tone && !r.id.starts_with("audio.hum.frequency") && !r.id.starts_with("audio.whistle.frequency"))) {
      continue;
    }
    const double hz = r.number() * (tone ? 1.0 : 1.0 + error_ppm * 1e-6);
    r.value = hz;
    r.uncertainty = std::hypot(r.uncertainty.value_or(0.0), hz * uncertainty_ppm * 1e-6);
  }
}

}  // namespace

Readings measure_audio(AudioSource& source, const AudioOptions& options, const Progress& progress,
                       const StopFlag* stop) {
  const double rate = source.facts().sample_rate_hz;
  const int count = source.facts().channels;
  const std::string name = source.facts().source;
  if (count < 1 || !(rate >= lowest_rate_hz)) {
    throw unusable(fmt::format(
        "{}: {} channels at {} Hz is not audio to measure; give 1 channel or more at {} Hz or more", name,
        count, rate, lowest_rate_hz));
  }
  ToneNoiseOptions tone_noise_options;
  tone_noise_options.tone_hz = options.tone_hz;
  tone_noise_options.clock_error_ppm =
      options.clock_error_ppm ? options.clock_error_ppm : source.facts().clock_error_ppm;
  tone_noise_options.step = quantisation_step(source.facts());
  const std::string_view sent = sent_kind(options.signal);
  tone_noise_options.band_filled = sent == "noise" || sent == "stipa";
  std::vector<Channel> channels;
  channels.reserve(static_cast<std::size_t>(count));
  for (int c = 0; c < count; ++c) {
    channels.emplace_back(rate, tone_noise_options, hum_options(options), sent == "stipa");
  }

  LoudnessAnalyser loudness(rate, count);
  std::optional<PairAnalyser> pair;
  if (count == 2) pair.emplace(rate);

  std::vector<float> interleaved(block_frames * static_cast<std::size_t>(count));
  std::uint64_t frames = 0;
  const std::uint64_t expected = source.facts().frames;
  while (stop == nullptr || !stop->load()) {
    const std::size_t got = source.read(interleaved);
    if (got == 0) break;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      const std::span<float> samples(channels[c].samples.data(), got);
      for (std::size_t i = 0; i < got; ++i) samples[i] = interleaved[i * channels.size() + c];
      channels[c].levels.push(samples);
      channels[c].tone_noise.push(samples);
      channels[c].interference.push(samples);
      channels[c].sti.push(samples);
    }
    loudness.push(std::span<const float>(interleaved).first(got * channels.size()));
    if (pair)
      pair->push(std::span(channels[0].samples).first(got), std::span(channels[1].samples).first(got));
    frames += got;
    if (progress) {
      const double share = expected > 0 ? static_cast<double>(frames) / static_cast<double>(expected) : -1.0;
      progress(share, "measuring");
    }
  }
  const double seconds = static_cast<double>(frames) / rate;
  if (seconds < shortest_s) {
    throw unusable(fmt::format("{}: {} long, too short to measure; take at least {} s", name,
                               frames == 0 ? "no samples," : fmt::format("{:.3f} s", seconds), shortest_s));
  }

  Readings readings;
  const CaptureFacts& facts = source.facts();
  for (int c = 0; c < count; ++c) {
    const std::string suffix = channel_suffix(c, count);
    Channel& channel = channels[static_cast<std::size_t>(c)];
    LevelResult level = channel.levels.finish();
    InterferenceResult interference = channel.interference.finish();
    ToneNoiseResult tone_noise = channel.tone_noise.finish(level, suffix, &interference);
    if (tone_noise.shape) look_beyond(interference.hum, tone_noise.average, *tone_noise.shape);
    if (tone_noise.level_rel_u)
      level.mean_square_rel_u = std::min(level.mean_square_rel_u, *tone_noise.level_rel_u);
    if (tone_noise.dc_u) level.mean_u = std::min(level.mean_u, *tone_noise.dc_u);
    append(readings, to_readings(level, facts, suffix));
    append(readings, std::move(tone_noise.readings));
    append(readings, to_readings(interference, suffix));
    append(readings, to_readings(channel.sti.finish(), suffix));
  }
  if (pair) {
    append(readings, pair->finish());
    readings.push_back(noise_difference(readings));
  }
  append(readings, to_readings(loudness.finish()));
  if (const auto& ppm = tone_noise_options.clock_error_ppm)
    take_clock_out(readings, *ppm, facts.clock_uncertainty_ppm.value_or(0.0));
  mark_tainted(readings, facts);
  return readings;
}

}  // namespace linebench::measure
