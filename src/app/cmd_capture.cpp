#include <fmt/format.h>

#include <cstdio>
#include <linebench/report/document.hpp>
#include <memory>

#include "cmd_capture_picture.hpp"
#include "commands.hpp"
#include "meter.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

struct CaptureOptions {
  std::string from, out;
  double seconds = 0, rate_hz = 0;
  int channels = 0, bits = 24;
  bool replace = false;
};

/// A capture that will not fit is said before an hour was spent on it.
void warn_of_space(const fs::path& out, double bytes) {
  std::error_code ec;
  const fs::path folder = out.has_parent_path() ? out.parent_path() : fs::path(".");
  const fs::space_info space = fs::space(folder, ec);
  if (ec || bytes <= static_cast<double>(space.available)) return;
  say("linebench: {}: {:.1f} GB are needed and {:.1f} GB are free; it will end when the disk is full\n",
      out.string(), bytes / 1e9, static_cast<double>(space.available) / 1e9);
}

Exit capture_audio(Context& context, const CaptureOptions& o) {
  check_seconds(o.seconds);
  check_out(o.out, o.replace);
  const capture::SampleFormat format = capture::pcm_format(o.bits);
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& from = capture::choose_device(devices, o.from, capture::Direction::Input);
  capture::Session session(*system, {.from = from, .inputs = o.channels, .rate_hz = o.rate_hz});
  warn_of_space(o.out, o.seconds * session.rate_hz() * session.inputs() * o.bits / 8);
  const Taken taken =
      take_to_file(session, from, {.seconds = o.seconds, .stop = &context.stop}, o.out, format, "");
  const CaptureFacts& f = taken.facts;
  if (f.frames > 0) {
    say("{}: {:.1f} s, {} channel{}, {} Hz, from {}: {}; {}\n", o.out, f.duration_s(), f.channels,
        f.channels == 1 ? "" : "s", f.sample_rate_hz, f.device, level_words(taken.outcome.levels),
        f.tainted()
            ? fmt::format("{} gaps, {} samples lost: take it again before judging by it", f.xruns, f.dropped)
            : "no gaps");
  }
  if (context.json) {
    report::Document document;
    document.command = "capture audio";
    document.input = f;
    document.verdict = f.interrupted ? "incomplete" : "pass";
    print_json(document);
  }
  return exit_of(taken.outcome);
}

}  // namespace

void add_capture(CLI::App& app, Context& context) {
  CLI::App* group = app.add_subcommand("capture", "Take a signal in to a file");
  group->require_subcommand(1);
  auto o = std::make_shared<CaptureOptions>();
  CLI::App* c = group->add_subcommand("audio", "From a sound device to WAV, FLAC, W64, RF64 or AIFF");
  c->add_option("--from", o->from, "The sound device: its name or a part of it that fits no other")
      ->required();
  c->add_option("--seconds", o->seconds, "How long")->required();
  c->add_option("--out", o->out, "The file to make")->required();
  add_rate_option(*c, o->rate_hz, "the device's own");
  c->add_option("--channels", o->channels, "How many channels; otherwise two, or one where it has no more")
      ->check(CLI::Range(1, 256));
  c->add_option("--bits", o->bits, "Bits a sample")
      ->check(CLI::IsMember({16, 24, 32}))
      ->capture_default_str();
  c->add_flag("--replace", o->replace, "Replace a file of that name");
  c->callback([&context, o] { context.action = [&context, o] { return capture_audio(context, *o); }; });
  add_capture_picture(*group, context);
}

}  // namespace linebench::app
