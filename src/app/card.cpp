#include "card.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/response.hpp>
#include <linebench/measure/sent.hpp>
#include <vector>

#include "calibrate_steps.hpp"
#include "progress_line.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

/// One channel of a source.
class ChannelOf final : public AudioSource {
 public:
  ChannelOf(std::unique_ptr<AudioSource> inner, int channel)
      : inner_(std::move(inner)), facts_(inner_->facts()), channel_(static_cast<std::size_t>(channel)) {
    facts_.channels = 1;
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> mono) override {
    const auto channels = static_cast<std::size_t>(inner_->facts().channels);
    block_.resize(mono.size() * channels);
    const std::size_t n = inner_->read(block_);
    for (std::size_t i = 0; i < n; ++i) mono[i] = block_[i * channels + channel_];
    return n;
  }

 private:
  std::unique_ptr<AudioSource> inner_;
  CaptureFacts facts_;
  std::size_t channel_;
  std::vector<float> block_;
};

/// The response of each returned channel with its own card response taken out.
Readings response_without_card(const SourceMaker& sent, const std::filesystem::path& returned,
                               const capture::Calibration& card, const Progress& progress,
                               const StopFlag& stop) {
  const int channels = capture::open_audio_file(returned)->facts().channels;
  Readings all;
  for (int c = 0; c < channels; ++c) {
    auto out = sent();
    const int out_channels = out->facts().channels;
    ChannelOf one(std::move(out), std::min(c, out_channels - 1));
    ChannelOf back(capture::open_audio_file(returned), c);
    const auto& loop = card.loop[std::min(static_cast<std::size_t>(c), card.loop.size() - 1)];
    const measure::ResponseOptions options{
        .card = measure::CardResponse{.gain = loop.gain, .delay_s = loop.delay_s}};
    for (Reading& r : measure::measure_response(one, back, options, progress, &stop)) {
      r.id += channel_suffix(c, channels);
      r.label = label_of(r.id);
      all.push_back(std::move(r));
    }
  }
  return all;
}

Readings no_response(const signals::Recipe& recipe, int channels) {
  const std::string reason = fmt::format(
      "the signal {} has too few frequencies to show it; send a sweep, such as sweep-speech", recipe.name);
  Readings out;
  for (int c = 0; c < channels; ++c) {
    for (const char* id : {"audio.response", "audio.response.gain", "audio.response.delay",
                           "audio.response.polarity", "audio.response.echo.level"}) {
      out.push_back(unmeasurable(id + channel_suffix(c, channels), reason));
    }
  }
  return out;
}

}  // namespace

std::optional<capture::Calibration> card_between(const capture::SoundDevice& to,
                                                 const capture::SoundDevice& from, double rate_hz) {
  auto calibration = calibration_of(from, rate_hz);
  if (!calibration || calibration->loop.empty() || calibration->loop_output != to.identity())
    return std::nullopt;
  return calibration;
}

Readings measure_return(const SentSignal& sent, const std::filesystem::path& returned,
                        const std::optional<capture::Calibration>& card, const Context& context,
                        ShowOptions& show, CaptureFacts& facts) {
  const auto source = capture::open_audio_file(returned);
  measure::AudioOptions options;
  // A recorder of others writes no facts; what was sent is known here all the same.
  options.signal = source->facts().signal.empty() ? sent.recipe.name : source->facts().signal;
  options.clock_error_ppm = source->facts().clock_error_ppm;
  options.tone_hz = measure::tone_of(sent.recipe);
  const ProgressLine line("measuring the return");
  Readings readings = measure_traced(*source, options, line.progress(), context.stop, show);
  facts = source->facts();
  Readings response;
  if (!measure::shows_response(sent.recipe)) {
    response = no_response(sent.recipe, facts.channels);
  } else if (card) {
    response = response_without_card(sent.make, returned, *card, line.progress(), context.stop);
    facts.notes.push_back(
        fmt::format("The card's own response and delay ({}) were taken out.", card->name()));
  } else {
    const auto out = sent.make();
    const auto back = capture::open_audio_file(returned);
    response = measure::measure_response(*out, *back, {}, line.progress(), &context.stop);
    facts.notes.emplace_back(
        "Response and delay hold those of the sound card too; `linebench calibrate --loop` lets them be "
        "taken out.");
  }
  readings.insert(readings.end(), std::make_move_iterator(response.begin()),
                  std::make_move_iterator(response.end()));
  return readings;
}

void calibrate_loop(capture::Calibration& c, AudioSource& sent, const Recording& returned,
                    const std::string& output, const Context& context) {
  const auto back = capture::open_audio_file(returned.path);
  const int channels = back->facts().channels;
  const ProgressLine line("measuring the loop");
  const Readings readings = measure::measure_response(sent, *back, {}, line.progress(), &context.stop);
  std::vector<capture::CardLoop> loop;
  for (int channel = 0; channel < channels; ++channel) {
    const std::string suffix = channel_suffix(channel, channels);
    const auto card = measure::card_response(readings, suffix);
    if (!card) {
      const Reading* r = find_reading(readings, "audio.response" + suffix);
      throw unusable(
          fmt::format("{}: the loop's response does not show{}{}; check the cable from output to input and "
                      "the level, or use --channels 1 for one cable",
                      returned.name, suffix.empty() ? "" : " on channel " + suffix.substr(1),
                      r != nullptr && !r->reason.empty() ? " (" + r->reason + ")" : ""));
    }
    loop.push_back({card->gain, card->delay_s});
  }
  c.loop = std::move(loop);
  c.loop_output = output;
  c.loop_at = iso_now();
}

}  // namespace linebench::app
