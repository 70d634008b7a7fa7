#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/signals/level.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>

#include "calibrate_steps.hpp"
#include "card.hpp"
#include "cmd_calibrate_picture.hpp"
#include "commands.hpp"
#include "recordings.hpp"
#include "say.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

struct CalibrateOptions {
  std::string device, to, sent, returned, quiet, recording, at_level, side = "input";
  std::optional<double> reference_hz, meter_v;
  double rate_hz = 0, reference_ppm = 0;
  std::optional<double> seconds;
  [[nodiscard]] double tone_seconds() const { return seconds.value_or(20); }
  int channels = 0;
  bool loop = false, noise = false, list = false, remove = false;
  SignalOptions signal;
  GrabberSteps grabber;

  [[nodiscard]] bool any_step() const {
    return loop || noise || !returned.empty() || !quiet.empty() || reference_hz || meter_v;
  }
};

std::string channel_word(std::size_t channel, std::size_t channels) {
  const std::string suffix = channel_suffix(static_cast<int>(channel), static_cast<int>(channels));
  return suffix.empty() ? "" : " " + suffix.substr(1);
}

/// To a hundredth, and never "-0.00".
double shown(double db) { return std::round(db * 100) / 100 + 0.0; }

void print_calibration(const capture::Calibration& c) {
  const auto line = [](const std::string& what, const std::string& value, const std::string& at) {
    print("  {:<13} {} ({})\n", what, value, at.substr(0, 10));
  };
  print("{} at {} Hz\n", c.device, c.sample_rate_hz);
  for (std::size_t i = 0; i < c.loop.size(); ++i) {
    const auto& y = c.loop[i].gain.y;
    const auto [lo, hi] = std::minmax_element(y.begin(), y.end());
    line("loop" + channel_word(i, c.loop.size()),
         fmt::format("gain {:.2f} to {:.2f} dB, delay {:.3f} ms, from {}", shown(*lo), shown(*hi),
                     1e3 * c.loop[i].delay_s, c.loop_output),
         c.loop_at);
  }
  for (std::size_t i = 0; i < c.noise_dbfs.size(); ++i) {
    line("noise" + channel_word(i, c.noise_dbfs.size()), fmt::format("{:.1f} dBFS", c.noise_dbfs[i]),
         c.noise_at);
  }
  if (c.clock_error_ppm) {
    line("clock",
         fmt::format("{:+.2f} ppm, ±{:.2f}", *c.clock_error_ppm, c.clock_uncertainty_ppm.value_or(0)),
         c.clock_at);
  }
  if (c.full_scale_v) line("input", fmt::format("full scale {:.4g} V peak", *c.full_scale_v), c.volts_at);
  if (c.output_full_scale_v) {
    line("output", fmt::format("full scale {:.4g} V peak", *c.output_full_scale_v), c.volts_at);
  }
}

void print_all(const Context& context, const std::vector<capture::Calibration>& list,
               const std::vector<capture::GrabberCalibration>& grabbers = {}) {
  if (!context.json) {
    for (const auto& c : list) print_calibration(c);
    for (const auto& g : grabbers) print_grabber(g);
    return;
  }
  nlohmann::json j = {
      {"schema", "linebench/1"}, {"command", "calibrate"}, {"calibrations", nlohmann::json::array()}};
  for (const auto& c : list) j["calibrations"].push_back(capture::calibration_to_json(c));
  for (const auto& g : grabbers) j["grabbers"].push_back(capture::grabber_to_json(g));
  print("{}\n", json_text(j, 2));
}

Exit list(const Context& context) {
  const auto all = capture::list_calibrations();
  for (const std::string& problem : all.problems) say("linebench: {}\n", problem);
  const auto grabbers = capture::list_grabbers();
  for (const std::string& problem : grabbers.problems) say("linebench: {}\n", problem);
  if (all.calibrations.empty() && grabbers.calibrations.empty()) {
    say("no sound card or grabber is calibrated yet; linebench calibrate --help shows how\n");
  }
  print_all(context, all.calibrations, grabbers.calibrations);
  return Exit::Ok;
}

Exit remove(const CalibrateOptions& o) {
  if (const int n = capture::remove_grabbers(o.device); n > 0) {
    say("{}: {} removed\n", o.device, n == 1 ? "calibration" : "calibrations");
    return Exit::Ok;
  }
  const std::string device = Card(o.device, "", 0, 0).identity("");
  if (capture::remove_calibrations(device, o.rate_hz) == 0) {
    throw unusable(fmt::format(
        "{}: no calibration of it to remove; linebench calibrate --list shows those there are", device));
  }
  say("{}: calibration removed\n", device);
  return Exit::Ok;
}

/// The recordings the steps work from, taken in now where no file was given.
struct Material {
  fs::path tone, quiet, returned;
  std::unique_ptr<AudioSource> sent;
  [[nodiscard]] std::string any() const {
    for (const fs::path* p : {&returned, &tone, &quiet}) {
      if (!p->empty()) return p->string();
    }
    return "";
  }
};

Material gather(const CalibrateOptions& o, Card& card, const Context& context, const ScratchFolder& scratch) {
  Material m{.tone = o.recording, .quiet = o.quiet, .returned = o.returned, .sent = nullptr};
  if (!o.returned.empty()) {
    std::error_code ec;
    if (fs::equivalent(o.sent, o.returned, ec)) {
      throw bad_usage("--sent and --returned are the same file; name what was sent and what came back");
    }
    m.sent = capture::open_audio_file(o.sent);
  }
  if (o.loop) {
    say("Connect the card's output to its own input, nothing else; amplifiers and loudspeakers off.\n");
    m.returned = scratch / "return.wav";
    m.sent = card.send_and_record(o.signal, context, m.returned);
  }
  if (o.noise) {
    constexpr double quiet_s = 5;
    say("Taking in {} s of the card's own noise: nothing may be plugged into its input.\n", quiet_s);
    m.quiet = scratch / "quiet.wav";
    card.record(quiet_s, context, m.quiet);
  }
  const bool needs_tone = o.reference_hz || (o.meter_v && o.at_level.empty());
  if (needs_tone && m.tone.empty()) {
    say("Taking in {} s of the tone: leave it on.\n", o.tone_seconds());
    m.tone = scratch / "tone.wav";
    card.record(o.tone_seconds(), context, m.tone);
  }
  return m;
}

double dbfs_given(const std::string& text) {
  return signals::resolve_dbfs(signals::parse_level(text), std::nullopt);
}

void check(const CalibrateOptions& o) {
  check_seconds(o.tone_seconds());
  if (o.sent.empty() != o.returned.empty())
    throw bad_usage("--sent and --returned belong together: name both files");
  if (!o.any_step()) throw bad_usage("calibrate what? see linebench calibrate --help");
  if (o.meter_v && o.side == "output" && o.at_level.empty()) {
    throw bad_usage("--side output: say with --at-level how loud the tone was sent when the meter was read");
  }
  if (o.meter_v) (void)capture::full_scale_volts(*o.meter_v, o.at_level.empty() ? 0 : dbfs_given(o.at_level));
}

Exit calibrate(const CalibrateOptions& o, Context& context) {
  if (o.list) return list(context);
  if (o.remove) return remove(o);
  if (o.grabber.any()) {
    if (o.any_step()) throw bad_usage("calibrate a sound card and a grabber one after the other");
    GrabberSteps steps = o.grabber;
    if (o.seconds) {
      check_seconds(*o.seconds);
      steps.seconds = *o.seconds;
    }
    steps.device = o.device;
    return calibrate_grabber(steps, context);
  }
  check(o);
  Card card(o.device, o.to, o.rate_hz, o.channels);
  const ScratchFolder scratch;
  const Material m = gather(o, card, context, scratch);
  const std::string device = card.identity(m.any());
  const double rate =
      !m.any().empty() ? capture::open_audio_file(m.any())->facts().sample_rate_hz : o.rate_hz;
  if (rate <= 0) throw bad_usage("at which sample rate? say it with --rate");

  capture::Calibration c;
  c.device = device;
  c.sample_rate_hz = rate;
  if (auto known = capture::find_calibration(device, rate)) c = std::move(*known);
  const auto recording = [&](const fs::path& path, const std::string& given) {
    return Recording{path, given.empty() ? "what " + device + " took in" : given};
  };
  if (m.sent)
    calibrate_loop(c, *m.sent, recording(m.returned, o.returned),
                   o.to.empty() && o.device.empty() ? device : card.output_identity(), context);
  if (!m.quiet.empty()) calibrate_noise(c, recording(m.quiet, o.quiet));
  const Recording tone = recording(m.tone, o.recording);
  if (o.reference_hz) calibrate_clock(c, *o.reference_hz, o.reference_ppm, tone);
  if (o.meter_v) {
    const double dbfs = o.at_level.empty() ? find_tone(tone).dbfs : dbfs_given(o.at_level);
    (o.side == "output" ? c.output_full_scale_v : c.full_scale_v) =
        capture::full_scale_volts(*o.meter_v, dbfs);
    c.volts_at = iso_now();
  }
  const fs::path stored = capture::store_calibration(c);
  print_all(context, {c});
  say("stored in {}; it holds while the card's level controls stay where they are\n", stored.string());
  return Exit::Ok;
}

}  // namespace

void add_calibrate(CLI::App& app, Context& context) {
  auto o = std::make_shared<CalibrateOptions>();
  o->signal.name = "sweep-wide";
  CLI::App* c = app.add_subcommand(
      "calibrate",
      "What a sound card or a grabber does by itself: response, levels, noise; kept for each and taken out");
  c->add_option("--device", o->device, "The card: its name, or \"HOST: NAME\" of one that is not plugged in");
  add_rate_option(*c, o->rate_hz, "the card's own, or the recording's");
  c->add_option("--channels", o->channels,
                "How many inputs are wired; otherwise two, or one where it has no more")
      ->check(CLI::Range(1, 256));
  c->add_option(
      "--seconds", o->seconds,
      "How long to take in a tone (20 unless said) or each picture (4; hum is told within 5 % then)");
  c->add_flag("--loop", o->loop, "Send a sweep out of the card and straight back in: response and delay")
      ->group("Response and delay");
  c->add_option("--to", o->to, "Another device to send it from")->group("Response and delay");
  c->add_option("--level", o->signal.level, "Level to send, e.g. -20dBFS")->group("Response and delay");
  c->add_flag("--loud", o->signal.loud, "I have read the caution and want a level above the safe one")
      ->group("Response and delay");
  c->add_option("--sent", o->sent, "The same from files: what was sent")->group("Response and delay");
  c->add_option("--returned", o->returned, "and what came back")->group("Response and delay");
  c->add_flag("--noise", o->noise, "Take in the card's own noise, nothing plugged in")->group("Noise");
  c->add_option("--quiet", o->quiet, "The same from a file")->group("Noise");
  c->add_option("--reference-hz", o->reference_hz, "True frequency of a tone that is plugged in or recorded")
      ->group("Clock");
  c->add_option("--reference-ppm", o->reference_ppm, "How well that frequency is known, ppm")
      ->capture_default_str()
      ->group("Clock");
  c->add_option("--recording", o->recording, "A recording of the tone, for clock and volts")->group("Clock");
  c->add_option("--meter", o->meter_v, "What a true-rms meter shows across the tone, volts")->group("Volts");
  c->add_option("--at-level", o->at_level, "Level of that tone, e.g. -20dBFS; otherwise it is measured")
      ->group("Volts");
  c->add_option("--side", o->side, "Where the meter was read")
      ->check(CLI::IsMember({"input", "output"}))
      ->capture_default_str()
      ->group("Volts");
  CLI::Option* grabber =
      c->add_option(
           "--grabber", o->grabber.grabber.from,
           "Step by step: what to send is said, taken in and learnt. The grabber: its node, its name or a "
           "part of it")
          ->group("Video grabber");
  c->add_option("--input", o->grabber.grabber.input, "Its input: number or a part of its name")
      ->needs(grabber)
      ->group("Video grabber");
  c->add_option("--standard", o->grabber.grabber.standard, "Lines; auto: what is on the wire")
      ->check(CLI::IsMember({"525", "625", "auto"}))
      ->capture_default_str()
      ->needs(grabber)
      ->group("Video grabber");
  c->add_option(
       "--frames", o->grabber.frames,
       "Captures of bars (75 and 100 %) and of the multiburst, through a short cable from a source that is "
       "right")
      ->group("Video grabber");
  c->add_option("--padded", o->grabber.padded, "The last of those bars through a pad: does gain follow sync?")
      ->group("Video grabber");
  c->add_option("--pad-db", o->grabber.pad_db, "Loss of that pad, 1 to 12 dB")->group("Video grabber");
  c->add_flag("--list", o->list, "Show all calibrations")->group("Keeping");
  c->add_flag("--remove", o->remove, "Forget this card's, at --rate or at all")->group("Keeping");
  c->callback([&context, o] { context.action = [&context, o] { return calibrate(*o, context); }; });
}

}  // namespace linebench::app
