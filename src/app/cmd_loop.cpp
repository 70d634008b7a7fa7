#include <fmt/format.h>

#include <cstdio>
#include <linebench/capture/digital_copy.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/report/document.hpp>
#include <memory>

#include "card.hpp"
#include "commands.hpp"
#include "meter.hpp"
#include "progress_line.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

struct LoopOptions {
  SignalOptions signal;
  std::string from, to, out, limits;
  double rate_hz = 0;
  int channels = 0, bits = 24;
  bool replace = false;
  ShowOptions show;
};

constexpr const char* digital_copy =
    "not of the path: the return is the sent signal bit for bit, so it never left the computer";
constexpr const char* digital_copy_note =
    "For a reading of the path choose an input that the path's cable is plugged into, not the computer's own "
    "copy "
    "of its output.";

// A side that was left silent on purpose. One input may hang on either output.
std::vector<std::string> unsent_sides(const SignalOptions& signal, int inputs) {
  if (inputs != 2 || signal.channel == "all") return {};
  return {signal.channel == "left" ? ".right" : ".left"};
}

Exit loop(Context& context, LoopOptions& o) {
  check_limits(o.limits);
  check_job(o.show);
  o.show.file = o.out;
  (void)audio_recipe(o.signal.name);
  if (!o.out.empty()) check_out(o.out, o.replace);
  if (!o.show.html.empty()) check_page_path(o.show.html, o.out);
  const capture::SampleFormat format = capture::pcm_format(o.bits);
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& to = capture::choose_device(devices, o.to, capture::Direction::Output);
  const capture::SoundDevice& from = capture::choose_device(devices, o.from, capture::Direction::Input);
  capture::Session session(*system, {.from = from, .inputs = o.channels, .to = to, .rate_hz = o.rate_hz});
  const auto make = [&](Caution caution) {
    return signal_to_send(o.signal, to, session.rate_hz(), session.outputs(), caution);
  };
  const auto again = [&] { return make(Caution::Said); };
  const auto sending = make(Caution::Say);

  const ScratchFolder scratch;
  const std::filesystem::path out = o.out.empty() ? scratch / "return.wav" : std::filesystem::path(o.out);
  Taken taken =
      take_to_file(session, from, {.send = sending.get(), .kept = !o.out.empty(), .stop = &context.stop}, out,
                   format, sending->facts().signal);
  if (taken.outcome.end != capture::End::Complete) {
    taken.outcome.line +=
        o.out.empty() ? "; not measured, and not kept since no --out was given" : "; not measured";
    return exit_of(taken.outcome);
  }
  report::Document document;
  document.command = "loop";
  const signals::Recipe recipe = audio_recipe(o.signal.name);
  const measure::Sent sent{.name = recipe.name,
                           .level_dbfs = level_to_send(o.signal, to, session.rate_hz()),
                           .tone_hz = measure::tone_of(recipe),
                           .response = measure::shows_response(recipe),
                           .swept = recipe.kind->name == "sweep",
                           .returns = true,
                           .unsent = unsent_sides(o.signal, session.inputs())};
  document.readings = measure_return({again, recipe}, out, card_between(to, from, session.rate_hz()), context,
                                     o.show, document.input);
  measure::add_signal_readings(document.readings, document.input, sent);
  if (o.out.empty()) {
    document.input.source = "return, not kept";
    document.input.kind = "sound device";
    document.input.format.clear();
  }
  if (capture::is_digital_copy(*again(), *capture::open_audio_file(out))) {
    document.caveat = digital_copy;
    document.input.notes.emplace_back(fmt::format("This is {}. {}", digital_copy, digital_copy_note));
  }
  judge::Asked asked = judge::asked_of(recipe);
  asked.level_known = true;
  asked.unsent = sent.unsent;
  judge_document(document, o.limits, asked);
  return show(context, document, o.show);
}

}  // namespace

void add_loop(CLI::App& app, Context& context) {
  auto o = std::make_shared<LoopOptions>();
  o->signal.name = "sweep-wide";
  CLI::App* c =
      app.add_subcommand("loop", "Send a test signal, take in what comes back, and measure the path");
  c->add_option("--to", o->to, "The sound device to send from")->required();
  c->add_option("--from", o->from, "The sound device the return comes in by")->required();
  c->add_option("--signal", o->signal.name, "The test signal (linebench signals list)")
      ->capture_default_str();
  add_signal_options(*c, o->signal);
  c->add_option("--out", o->out, "Keep the return in this file");
  add_rate_option(*c, o->rate_hz, "the input's own");
  c->add_option("--channels", o->channels,
                "How many channels to take in; otherwise two, or one where it has no more")
      ->check(CLI::Range(1, 256));
  c->add_option("--bits", o->bits, "Bits a sample")
      ->check(CLI::IsMember({16, 24, 32}))
      ->capture_default_str();
  c->add_flag("--replace", o->replace, "Replace a file of that name");
  add_show_options(*c, o->show, o->limits);
  c->callback([&context, o] { context.action = [&context, o] { return loop(context, *o); }; });
}

}  // namespace linebench::app
