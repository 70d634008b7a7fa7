#include <fmt/format.h>

#include <cstdio>
#include <linebench/report/document.hpp>
#include <memory>

#include "commands.hpp"
#include "meter.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

struct SendOptions {
  SignalOptions signal;
  std::string to;
  double rate_hz = 0;
};

Exit send(Context& context, const SendOptions& o) {
  (void)audio_recipe(o.signal.name);
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& to = capture::choose_device(devices, o.to, capture::Direction::Output);
  capture::Session session(*system, {.to = to, .rate_hz = o.rate_hz});
  const auto source = signal_to_send(o.signal, to, session.rate_hz(), session.outputs(), Caution::Say);
  for (const std::string& note : source->facts().notes) say("{}\n", note);
  capture::Outcome outcome;
  {
    Meter meter;
    outcome = session.run({.send = source.get(), .watch = meter.watch(), .stop = &context.stop});
  }
  const double sent_s = static_cast<double>(outcome.sent) / session.rate_hz();
  say("{}: {:.1f} s sent to {}; {}\n", source->facts().signal, sent_s, to.identity(),
      outcome.facts.xruns > 0 ? fmt::format("{} gaps: send it again", outcome.facts.xruns) : "no gaps");
  if (context.json) {
    report::Document document;
    document.command = "signals send";
    document.input = outcome.facts;
    document.input.frames = outcome.sent;
    document.input.signal = source->facts().signal;
    document.verdict = outcome.end == capture::End::Complete ? "pass" : "incomplete";
    print_json(document);
  }
  return exit_of(outcome);
}

}  // namespace

void add_signals_send(CLI::App& signals_command, Context& context) {
  auto o = std::make_shared<SendOptions>();
  CLI::App* c = signals_command.add_subcommand("send", "Send a test signal out of a sound device");
  c->add_option("NAME", o->signal.name, "The signal's name (linebench signals list), or a recipe file")
      ->required();
  c->add_option("--to", o->to, "The sound device: its name or a part of it that fits no other")->required();
  add_rate_option(*c, o->rate_hz, "the device's own");
  add_signal_options(*c, o->signal);
  c->callback([&context, o] { context.action = [&context, o] { return send(context, *o); }; });
}

}  // namespace linebench::app
