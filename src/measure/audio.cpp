#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
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
#include "crackle.hpp"
#include "hum_beyond.hpp"
#include "hum_doubt.hpp"
#include "marked_silence.hpp"
#include "pair_steady.hpp"
#include "silence.hpp"
#include "steady_loss.hpp"
#include "sweep_loss.hpp"
#include "whine.hpp"

namespace linebench::measure {
namespace {

constexpr std::size_t block_frames = 4096;
constexpr double shortest_s = 0.1;
constexpr double lowest_rate_hz = 8000.0;
constexpr double carries_share = 0.01;  // of the louder side's power; below, it is what leaks into the other
constexpr double highest_tone = 0.45;   // of the rate: beside it there must be room for noise
constexpr double highest_product_hz = 2500.0;  // no hum is looked for above

// The recipe that was sent, where it is known here (a name typed by a person may be anything).
std::optional<signals::Recipe> sent_recipe(const std::string& signal) {
  if (signal.empty()) return std::nullopt;
  try {
    return signals::load_recipe(signal);
  } catch (const Error&) {
    return std::nullopt;
  }
}

// What is known of the signal that was sent, so that it is not taken for hum.
HumOptions hum_options(const AudioOptions& options, const std::optional<signals::Recipe>& sent) {
  HumOptions hum{options.mains_hz, options.tone_hz, {}};
  if (!sent) return hum;
  const std::string_view kind = sent->kind->name;
  if (kind == "sine" && !hum.tone_hz) hum.tone_hz = sent->number("frequency_hz");
  if (kind == "multitone" || kind == "two-tone") hum.sent_hz = signals::tone_frequencies(*sent);
  if (kind == "two-tone") {
    // A path that distorts makes multiples of the lower tone and of the difference.
    for (const double hz : {hum.sent_hz.front(), hum.sent_hz.back() - hum.sent_hz.front()}) {
      for (int m = 1; m * hz < highest_product_hz; ++m) hum.sent_hz.push_back(m * hz);
    }
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
  std::optional<WhineSearch> whine;  // none where what was sent holds lines of its own
  std::optional<SteadyLoss> loss;
  std::optional<SweepLoss> sweep_loss;
  std::optional<CrackleSearch> crackle;
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
        (!tone && !r.id.starts_with("audio.hum.frequency") && !r.id.starts_with("audio.whistle.frequency") &&
         !r.id.starts_with("audio.whine.frequency"))) {
      continue;
    }
    const double hz = r.number() * (tone ? 1.0 : 1.0 + error_ppm * 1e-6);
    r.value = hz;
    r.uncertainty = std::hypot(r.uncertainty.value_or(0.0), hz * uncertainty_ppm * 1e-6);
  }
}

// Every measurement of one stream of interleaved samples.
class Meters {
 public:
  Meters(const CaptureFacts& facts, const AudioOptions& options, const std::optional<signals::Recipe>& sent)
      : rate_hz_(facts.sample_rate_hz),
        known_(sent.has_value()),
        stipa_(sent && sent->kind->name == "stipa"),
        mains_known_(options.mains_hz.has_value()),
        loudness_(facts.sample_rate_hz, facts.channels) {
    tone_noise_.tone_hz = options.tone_hz;
    tone_noise_.clock_error_ppm = options.clock_error_ppm ? options.clock_error_ppm : facts.clock_error_ppm;
    tone_noise_.step = quantisation_step(facts);
    const std::string_view kind = sent ? sent->kind->name : std::string_view{};
    tone_noise_.band_filled = kind == "noise" || kind == "stipa";
    const HumOptions hum = hum_options(options, sent);
    channels_.reserve(static_cast<std::size_t>(facts.channels));
    for (int c = 0; c < facts.channels; ++c)
      channels_.emplace_back(rate_hz_, tone_noise_, hum, kind == "stipa");
    if (!sent || kind == "marked-silence" || kind == "sine") {
      for (Channel& c : channels_) c.whine.emplace(rate_hz_);
    }
    if (hum.tone_hz && *hum.tone_hz < highest_tone * rate_hz_) {
      for (Channel& c : channels_) c.crackle.emplace(rate_hz_, *hum.tone_hz);
    }
    if (sent && !options.part && SteadyLoss::tells(*sent, rate_hz_)) {
      for (Channel& c : channels_) c.loss.emplace(rate_hz_, *sent);
    }
    if (sent && !options.part && SweepLoss::tells(*sent)) {
      for (Channel& c : channels_) c.sweep_loss.emplace(rate_hz_, *sent);
    }
    if (facts.channels == 2) {
      pair_.emplace(rate_hz_);
      steady_.emplace(rate_hz_);
    }
  }

  void push(std::span<const float> interleaved) {
    const std::size_t count = channels_.size();
    while (!interleaved.empty()) {
      const std::size_t n = std::min(interleaved.size() / count, block_frames);
      for (std::size_t c = 0; c < count; ++c) {
        const std::span<float> samples(channels_[c].samples.data(), n);
        for (std::size_t i = 0; i < n; ++i) samples[i] = interleaved[i * count + c];
        channels_[c].levels.push(samples);
        channels_[c].tone_noise.push(samples);
        channels_[c].interference.push(samples);
        channels_[c].sti.push(samples);
        if (channels_[c].whine) channels_[c].whine->push(samples);
        if (channels_[c].loss) channels_[c].loss->push(samples);
        if (channels_[c].sweep_loss) channels_[c].sweep_loss->push(samples);
        if (channels_[c].crackle) channels_[c].crackle->push(samples);
      }
      loudness_.push(interleaved.first(n * count));
      if (pair_) {
        const auto left = std::span<const float>(channels_[0].samples).first(n);
        const auto right = std::span<const float>(channels_[1].samples).first(n);
        pair_->push(left, right);
        steady_->push(left, right);
      }
      frames_ += n;
      interleaved = interleaved.subspan(n * count);
    }
  }

  [[nodiscard]] double seconds() const { return static_cast<double>(frames_) / rate_hz_; }

  Readings finish(const CaptureFacts& facts) {
    Readings readings;
    std::vector<double> powers;
    std::vector<LevelResult> levels;
    for (int c = 0; c < facts.channels; ++c) {
      const std::string suffix = channel_suffix(c, facts.channels);
      Channel& channel = channels_[static_cast<std::size_t>(c)];
      LevelResult level = channel.levels.finish();
      powers.push_back(level.mean_square);
      InterferenceResult interference = channel.interference.finish();
      const SteadyLossResult loss = channel.loss         ? channel.loss->finish()
                                    : channel.sweep_loss ? channel.sweep_loss->finish()
                                                         : SteadyLossResult{};
      add_losses(interference.events, loss);
      ToneNoiseResult tone_noise = channel.tone_noise.finish(level, suffix, &interference);
      if (tone_noise.shape) look_beyond(interference.hum, tone_noise.average, *tone_noise.shape);
      doubt_notes(interference.hum, level, tone_noise.programme && !known_, mains_known_);
      if (stipa_) doubt_under_stipa(interference.hum);
      if (tone_noise.level_rel_u)
        level.mean_square_rel_u = std::min(level.mean_square_rel_u, *tone_noise.level_rel_u);
      // Blocks that hold whole periods do not show what the last, partial one does to the mean.
      if (tone_noise.dc_u) level.mean_u = *tone_noise.dc_u;
      append(readings, to_readings(level, facts, suffix));
      levels.push_back(std::move(level));
      append(readings, std::move(tone_noise.readings));
      append(readings, to_readings(interference, suffix));
      const std::string no_whine = !channel.whine ? "the signal that was sent holds lines of its own"
                                   : levels.back().peak == 0 ? "digital silence: all samples are zero"
                                                             : "";
      const auto tone_hz = tone_noise.tone_hz ? tone_noise.tone_hz : tone_noise_.tone_hz;
      const WhineResult whine =
          channel.whine ? channel.whine->finish(interference.hum, tone_hz) : WhineResult{};
      append(readings, to_readings(whine, no_whine, suffix));
      append(readings, to_readings(loss, suffix));
      if (channel.crackle) append(readings, crackle_readings(channel.crackle->finish(), suffix));
      append(readings, to_readings(channel.sti.finish(), suffix));
    }
    if (pair_) {
      append(readings, pair_->finish());
      readings.push_back(noise_difference(readings));
      readings.push_back(steady_->finish());
    }
    if (!known_) {
      if (auto silent = programme_silent(levels)) readings.push_back(std::move(*silent));
    }
    const double loudest = powers.empty() ? 0.0 : *std::max_element(powers.begin(), powers.end());
    const auto carrying = std::count_if(powers.begin(), powers.end(),
                                        [&](double p) { return p > 0 && p >= carries_share * loudest; });
    append(readings, to_readings(loudness_.finish(), facts.full_scale_v, static_cast<int>(carrying)));
    if (const auto& ppm = tone_noise_.clock_error_ppm)
      take_clock_out(readings, *ppm, facts.clock_uncertainty_ppm.value_or(0.0));
    return readings;
  }

 private:
  double rate_hz_;
  bool known_;  // what was sent
  bool stipa_;
  bool mains_known_;
  ToneNoiseOptions tone_noise_;
  std::vector<Channel> channels_;
  LoudnessAnalyser loudness_;
  std::optional<PairAnalyser> pair_;
  std::optional<PairSteady> steady_;
  std::uint64_t frames_ = 0;
};

using Push = std::function<void(std::span<const float>)>;

void read_all(AudioSource& source, const Push& push, const Progress& progress, const StopFlag* stop) {
  const auto channels = static_cast<std::size_t>(source.facts().channels);
  std::vector<float> interleaved(block_frames * channels);
  std::uint64_t frames = 0;
  const std::uint64_t expected = source.facts().frames;
  while (stop == nullptr || !stop->load()) {
    const std::size_t got = source.read(interleaved);
    if (got == 0) break;
    push(std::span<const float>(interleaved).first(got * channels));
    frames += got;
    if (progress) {
      const double share = expected > 0 ? static_cast<double>(frames) / static_cast<double>(expected) : -1.0;
      progress(share, "measuring");
    }
  }
}

void require_length(const Meters& all, const std::string& name) {
  const double seconds = all.seconds();
  if (seconds >= shortest_s) return;
  throw unusable(fmt::format("{}: {} long, too short to measure; take at least {} s", name,
                             seconds == 0 ? "no samples," : fmt::format("{:.3f} s", seconds), shortest_s));
}

// Moments are told from the start of the capture.
void count_from_start(Readings& readings, double from_s) {
  for (Reading& r : readings) {
    if (!r.measured()) continue;
    if (r.id.starts_with("audio.tone.step.time")) r.value = r.number() + from_s;
    if (auto* curve = std::get_if<Curve>(&r.value); curve != nullptr && curve->x_unit == "s")
      for (double& x : curve->x) x += from_s;
  }
}

// Between the markers where they come back. The whole is measured beside it: a path that brings none back
// (the far end's noise alone is taken in, or the path is dead) is known only at the end.
Readings measure_between_markers(AudioSource& source, const AudioOptions& options,
                                 const signals::Recipe& sent, const Progress& progress,
                                 const StopFlag* stop) {
  const CaptureFacts& facts = source.facts();
  Meters whole(facts, options, sent);
  Meters silence(facts, options, sent);
  MarkedSilence gate(facts.sample_rate_hz, facts.channels, sent.number("marker_hz"),
                     sent.number("marker_seconds"),
                     [&](std::span<const float> interleaved) { silence.push(interleaved); });
  read_all(
      source,
      [&](std::span<const float> interleaved) {
        whole.push(interleaved);
        gate.push(interleaved);
      },
      progress, stop);
  require_length(whole, facts.source);
  const MarkedSilence::Result gated = gate.finish();
  const bool between = gated.found && silence.seconds() >= shortest_s;
  Readings readings = between ? silence.finish(source.facts()) : whole.finish(source.facts());
  if (between) count_from_start(readings, gated.from_s);
  for (int c = 0; c < facts.channels; ++c) {
    const std::string id = "audio.marker.level" + channel_suffix(c, facts.channels);
    const auto& marker = gated.markers[static_cast<std::size_t>(c)];
    const std::string span =
        between ? fmt::format("all readings are of the silence from {:.2f} s to {:.2f} s{}", gated.from_s,
                              gated.to_s, gated.ended ? "" : ", the end of the capture")
                : std::string("all readings are of the whole capture");
    readings.push_back(marker && between ? number_reading(id, marker->level_dbfs, marker->u_db, span)
                                         : unmeasurable(id, "no marker burst came back; " + span));
  }
  return readings;
}

// A window of the search must hold some periods of the marker.
bool tells_markers(const std::optional<signals::Recipe>& sent, double rate_hz) {
  if (!sent || sent->kind->name != "marked-silence") return false;
  const double hz = sent->number("marker_hz");
  constexpr double fewest_periods = 40;
  return hz * sent->number("marker_seconds") >= fewest_periods && hz < 0.45 * rate_hz;
}

}  // namespace

Readings measure_audio(AudioSource& source, const AudioOptions& options, const Progress& progress,
                       const StopFlag* stop) {
  const double rate = source.facts().sample_rate_hz;
  const int count = source.facts().channels;
  if (count < 1 || !(rate >= lowest_rate_hz)) {
    throw unusable(fmt::format(
        "{}: {} channels at {} Hz is not audio to measure; give 1 channel or more at {} Hz or more",
        source.facts().source, count, rate, lowest_rate_hz));
  }
  const auto sent = sent_recipe(options.signal);
  Readings readings;
  if (tells_markers(sent, rate)) {
    readings = measure_between_markers(source, options, *sent, progress, stop);
  } else {
    Meters meters(source.facts(), options, sent);
    read_all(
        source, [&](std::span<const float> x) { meters.push(x); }, progress, stop);
    require_length(meters, source.facts().source);
    readings = meters.finish(source.facts());
  }
  mark_tainted(readings, source.facts());
  return readings;
}

}  // namespace linebench::measure
