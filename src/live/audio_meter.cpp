#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/live/audio_meter.hpp>
#include <linebench/live/hum_follower.hpp>
#include <linebench/measure/events.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/measure/tone_noise.hpp>
#include <linebench/measure/traces.hpp>

#include "recent.hpp"

namespace linebench::live {
namespace {

constexpr double lowest_rate_hz = 8000;
constexpr double window_s = 1;
constexpr int slow_steps = 10;  // steps from one look at the last second to the next
constexpr std::size_t spectrum_points = 320;

void append(Readings& to, const Readings& from) { to.insert(to.end(), from.begin(), from.end()); }

// Of the events' readings only counts: times inside a window that moves mean nothing to a person.
constexpr std::array counts = {"audio.clip.samples", "audio.click.count", "audio.dropout.count"};

// Fewer points; of those that share one the strongest is kept, so that no line is lost.
Curve thinned(Curve curve) {
  const std::size_t n = curve.x.size();
  if (n <= spectrum_points) return curve;
  Curve out{.x = {}, .y = {}, .x_unit = curve.x_unit, .y_unit = curve.y_unit};
  for (std::size_t i = 0; i < spectrum_points; ++i) {
    const auto from = static_cast<std::ptrdiff_t>(i * n / spectrum_points);
    const auto to = static_cast<std::ptrdiff_t>((i + 1) * n / spectrum_points);
    const auto best = std::max_element(curve.y.begin() + from, curve.y.begin() + to);
    out.x.push_back(curve.x[static_cast<std::size_t>(best - curve.y.begin())]);
    out.y.push_back(*best);
  }
  return out;
}

struct Channel {
  Channel(double rate_hz, const measure::HumOptions& options)
      : hum(rate_hz, options), recent(static_cast<std::size_t>(window_s * rate_hz)) {}
  HumFollower hum;
  Recent recent;
  Readings slow;
  Curve spectrum;
  std::optional<double> level_rel_u;  // of a steady tone, from the last slow look
};

}  // namespace

struct AudioMeter::Impl {
  Impl(const CaptureFacts& f, const AudioMeterOptions& o) : facts(f), options(o) {
    if (f.channels < 1 || !(f.sample_rate_hz >= lowest_rate_hz)) {
      throw unusable(
          fmt::format("{}: {} channels at {} Hz is not audio to measure; give 1 channel or more at {} Hz or "
                      "more",
                      f.source, f.channels, f.sample_rate_hz, lowest_rate_hz));
    }
    step = static_cast<std::size_t>(std::llround(audio_step_s * f.sample_rate_hz));
    level_samples = static_cast<std::size_t>(std::llround(level_window_s * f.sample_rate_hz));
    scratch.resize(step);
    begin();
  }

  void begin() {
    channels.clear();
    for (int c = 0; c < facts.channels; ++c)
      channels.emplace_back(facts.sample_rate_hz, measure::HumOptions{options.mains_hz, options.tone_hz, {}});
    waiting.clear();
    since_start = 0;
  }

  [[nodiscard]] std::string suffix(std::size_t c) const {
    return channel_suffix(static_cast<int>(c), facts.channels);
  }

  Readings levels(std::size_t c) const {
    measure::LevelAnalyser analyser(facts.sample_rate_hz);
    analyser.push(channels[c].recent.last(level_samples));
    return measure::to_readings(analyser.finish(), facts, suffix(c));
  }

  void look_at_last_second(std::size_t c) {
    Channel& channel = channels[c];
    const auto x = channel.recent.last(channel.recent.size());
    measure::LevelAnalyser level(facts.sample_rate_hz);
    measure::ToneNoiseAnalyser tone(facts.sample_rate_hz, {.tone_hz = options.tone_hz,
                                                           .clock_error_ppm = facts.clock_error_ppm,
                                                           .step = measure::quantisation_step(facts)});
    measure::EventsAnalyser events(facts.sample_rate_hz, options.tone_hz.has_value());
    measure::TraceAnalyser trace(facts.sample_rate_hz, 1);
    level.push(x);
    tone.push(x);
    events.push(x);
    trace.push(x);
    channel.slow = tone.finish(level.finish(), suffix(c)).readings;
    // A jump of the tone inside a moving second shows in the level; as a reading of its own it would come and
    // go.
    std::erase_if(channel.slow, [](const Reading& r) { return r.id.starts_with("audio.tone.step"); });
    for (Reading& r : measure::to_readings(events.finish(), suffix(c))) {
      const bool count = std::ranges::any_of(counts, [&](const char* id) { return r.id == id + suffix(c); });
      if (count) channel.slow.push_back(std::move(r));
    }
    channel.spectrum = thinned(trace.finish().front().spectrum);
  }

  void make_view() {
    view.time_s = static_cast<double>(taken) / facts.sample_rate_hz;
    view.readings.clear();
    view.spectra.clear();
    view.hum_window_s.clear();
    for (std::size_t c = 0; c < channels.size(); ++c) {
      append(view.readings, levels(c));
      for (Reading r : channels[c].hum.readings()) {
        r.id += suffix(c);
        r.label = label_of(r.id);
        view.readings.push_back(std::move(r));
      }
      append(view.readings, channels[c].slow);
      view.spectra.push_back(channels[c].spectrum);
      view.hum_window_s.push_back(channels[c].hum.window_s());
    }
    measure::add_signal_readings(view.readings, facts, std::nullopt);
  }

  void take_step(std::span<const float> x) {
    const std::size_t n = channels.size();
    for (std::size_t c = 0; c < n; ++c) {
      for (std::size_t i = 0; i < step; ++i) scratch[i] = x[i * n + c];
      channels[c].recent.push(scratch);
      channels[c].hum.push(scratch);
    }
    taken += step;
    ++since_start;
    // Channel after channel, so that no step carries all the work.
    for (std::size_t c = 0; c < n; ++c) {
      const bool enough = static_cast<double>(since_start) * audio_step_s >= window_s / 2;
      if (enough && (since_start + c * slow_steps / n) % slow_steps == 0) look_at_last_second(c);
    }
    make_view();
  }

  bool push(std::span<const float> x) {
    const std::size_t n = channels.size();
    bool newer = false;
    if (!waiting.empty()) {
      const std::size_t take = std::min(x.size(), step * n - waiting.size());
      waiting.insert(waiting.end(), x.begin(), x.begin() + static_cast<std::ptrdiff_t>(take));
      x = x.subspan(take);
      if (waiting.size() < step * n) return false;
      take_step(waiting);
      waiting.clear();
      newer = true;
    }
    for (; x.size() >= step * n; x = x.subspan(step * n)) {
      take_step(x.first(step * n));
      newer = true;
    }
    waiting.assign(x.begin(), x.end());
    return newer;
  }

  CaptureFacts facts;
  AudioMeterOptions options;
  std::size_t step = 0, level_samples = 0;
  std::vector<Channel> channels;
  std::vector<float> waiting, scratch;
  std::uint64_t taken = 0;
  std::size_t since_start = 0;
  AudioView view;
};

AudioMeter::AudioMeter(const CaptureFacts& facts, const AudioMeterOptions& options)
    : impl_(std::make_unique<Impl>(facts, options)) {}
AudioMeter::~AudioMeter() = default;
AudioMeter::AudioMeter(AudioMeter&&) noexcept = default;
AudioMeter& AudioMeter::operator=(AudioMeter&&) noexcept = default;

bool AudioMeter::push(std::span<const float> interleaved) { return impl_->push(interleaved); }
const AudioView& AudioMeter::view() const { return impl_->view; }
void AudioMeter::gap() { impl_->begin(); }

}  // namespace linebench::live
