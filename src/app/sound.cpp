#include "sound.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <linebench/signals/level.hpp>
#include <linebench/signals/recipe.hpp>
#include <system_error>

#include "meter.hpp"
#include "say.hpp"

namespace linebench::app {

namespace fs = std::filesystem;

void check_seconds(double seconds) {
  constexpr double week_s = 7.0 * 24 * 3600;
  if (!(seconds > 0 && seconds <= week_s)) {
    throw bad_usage(
        fmt::format("--seconds {}: give a number above 0, at most {:.0f} (a week)", seconds, week_s));
  }
}

void check_out(const fs::path& out, bool replace) {
  std::error_code ec;
  if (fs::is_directory(out, ec))
    throw bad_usage(fmt::format("{}: is a folder; add a file name", out.string()));
  if (replace || !fs::exists(out, ec)) return;
  throw bad_usage(fmt::format("{}: exists already; choose another name, or add --replace", out.string()));
}

std::optional<capture::Calibration> calibration_of(const capture::SoundDevice& device, double rate_hz) {
  try {
    return capture::find_calibration(device.identity(), rate_hz);
  } catch (const Error& e) {
    say("linebench: {}\n", e.what());
    return std::nullopt;
  }
}

void add_rate_option(CLI::App& command, double& rate_hz, const std::string& otherwise) {
  // CLI11's own checks let NaN pass, and 0 would stand for "not given".
  const auto wrong = [](const std::string& text) {
    char* end = nullptr;
    const double hz = std::strtod(text.c_str(), &end);
    return end != text.c_str() && *end == '\0' && hz > 0 && std::isfinite(hz)
               ? std::string()
               : fmt::format("{}: give a sample rate in Hz, such as 48000", text);
  };
  command.add_option("--rate", rate_hz, "Sample rate in Hz; otherwise " + otherwise)->check(wrong);
}

void add_signal_options(CLI::App& command, SignalOptions& o) {
  command.add_option("--level", o.level, "Level to send, e.g. -20dBFS, or +4dBu on a calibrated output");
  command.add_option("--seconds", o.seconds, "Length of the signal instead of its own");
  command.add_option("--channel", o.channel, "Which outputs carry it")
      ->check(CLI::IsMember({"all", "left", "right"}))
      ->capture_default_str();
  command.add_flag("--loud", o.loud, "I have read the caution and want a level above the safe one");
}

signals::Recipe audio_recipe(const std::string& name) {
  signals::Recipe recipe = signals::load_recipe(name);
  if (recipe.kind->medium != signals::Medium::Audio) {
    throw bad_usage(
        fmt::format("signal {}: is a test picture, not a sound; linebench signals list shows those with a "
                    "length and a level",
                    recipe.name));
  }
  return recipe;
}

namespace {

signals::AudioSignalOptions options_of(const SignalOptions& o, const capture::SoundDevice& to,
                                       double rate_hz) {
  signals::AudioSignalOptions options;
  options.sample_rate_hz = rate_hz;
  if (o.channel == "left") options.route = signals::Route::Left;
  if (o.channel == "right") options.route = signals::Route::Right;
  if (o.seconds) {
    check_seconds(*o.seconds);
    options.seconds = o.seconds;
  }
  if (!o.level.empty()) {
    const auto calibration = calibration_of(to, rate_hz);
    options.level_dbfs = signals::resolve_dbfs(signals::parse_level(o.level),
                                               calibration ? calibration->output_full_scale_v : std::nullopt);
  }
  return options;
}

}  // namespace

std::optional<signals::Recipe> known_recipe(const std::string& name) {
  if (name.empty()) return std::nullopt;
  try {
    return audio_recipe(name);
  } catch (const Error&) {
    return std::nullopt;
  }
}

double level_to_send(const SignalOptions& o, const capture::SoundDevice& to, double rate_hz) {
  const signals::Recipe recipe = audio_recipe(o.name);
  return signals::signal_level_dbfs(recipe, options_of(o, to, rate_hz));
}

std::unique_ptr<AudioSource> signal_to_send(const SignalOptions& o, const capture::SoundDevice& to,
                                            double rate_hz, int outputs, Caution caution) {
  const signals::Recipe recipe = audio_recipe(o.name);
  signals::AudioSignalOptions options = options_of(o, to, rate_hz);
  options.channels = outputs;
  const double level = signals::signal_level_dbfs(recipe, options);
  if (const std::string words = signals::caution_for(level); !words.empty()) {
    if (!o.loud) throw bad_usage(words + " Then add --loud.");
    if (caution == Caution::Say) say("{}\n", words);
  }
  return signals::make_audio_signal(recipe, options);
}

Taken take_to_file(capture::Session& session, const capture::SoundDevice& from, capture::RunPlan plan,
                   const fs::path& out, capture::SampleFormat format, const std::string& signal) {
  capture::AudioFileWriter writer(out, session.rate_hz(), session.inputs(), format);
  const auto calibration = calibration_of(from, session.rate_hz());
  CaptureFacts known;
  known.device = from.identity();
  known.signal = signal;
  if (calibration) capture::apply_calibration(known, *calibration);
  writer.begin(known);
  capture::FileSink sink(writer);
  plan.take = &sink;
  Taken taken;
  {
    Meter meter;
    plan.watch = meter.watch();
    taken.outcome = session.run(plan);
  }
  CaptureFacts facts = taken.outcome.facts;
  facts.signal = signal;
  if (calibration) capture::apply_calibration(facts, *calibration);
  if (writer.frames() == 0) {
    writer.discard();
    taken.facts = facts;
    return taken;
  }
  try {
    taken.facts = writer.finish(facts);
  } catch (const Error& e) {
    // After a full disk this is no news; the samples are there.
    if (taken.outcome.end != capture::End::StorageFailed) throw;
    taken.facts = facts;
  }
  return taken;
}

Exit exit_of(const capture::Outcome& outcome) {
  switch (outcome.end) {
    case capture::End::Complete:
      return Exit::Ok;
    case capture::End::Stopped:
      say("linebench: {}\n", outcome.line);
      return Exit::Interrupted;
    case capture::End::DeviceLost:
    case capture::End::StorageFailed:
      break;
  }
  throw unusable(outcome.line);
}

ScratchFolder::ScratchFolder() {
  std::error_code ec;
  std::string name = (fs::temp_directory_path(ec) / "linebench-XXXXXX").string();
  if (ec || ::mkdtemp(name.data()) == nullptr) {
    throw unusable("no folder for temporary files; set TMPDIR to one you may write to");
  }
  path_ = name;
}

ScratchFolder::~ScratchFolder() {
  std::error_code ec;
  fs::remove_all(path_, ec);
}

}  // namespace linebench::app
