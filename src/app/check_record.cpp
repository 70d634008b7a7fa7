#include "check_record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/capture/picture_session.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/report/format.hpp>

#include "check_measure.hpp"
#include "meter.hpp"
#include "say.hpp"
#include "sound.hpp"
#include "typed_meanwhile.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

void refuse_unfinished(const capture::Outcome& outcome) {
  if (outcome.end == capture::End::Stopped)
    throw Error(Exit::Interrupted, "stopped; this capture is not kept, the job is");
  (void)exit_of(outcome);
}

// As long as the signal that comes from elsewhere, where that is longer.
double seconds_of(const check::CaptureWish& wish, double rate_hz) {
  const auto recipe = known_recipe(wish.signal);
  if (!recipe) return wish.seconds;
  signals::AudioSignalOptions options;
  options.sample_rate_hz = rate_hz;
  return std::max(wish.seconds, signals::make_audio_signal(*recipe, options)->facts().duration_s());
}

void record_sound(const check::CaptureWish& wish, const CheckDevices& d, const fs::path& file,
                  const Context& context) {
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& from = capture::choose_device(devices, d.from, capture::Direction::Input);
  if (wish.signal.empty() || d.to.empty()) {
    capture::Session session(*system, {.from = from});
    refuse_unfinished(take_to_file(session, from,
                                   {.seconds = seconds_of(wish, session.rate_hz()), .stop = &context.stop},
                                   file, capture::SampleFormat::Pcm24, wish.signal)
                          .outcome);
    return;
  }
  const capture::SoundDevice& to = capture::choose_device(devices, d.to, capture::Direction::Output);
  capture::Session session(*system, {.from = from, .to = to});
  SignalOptions signal;
  signal.name = wish.signal;
  const auto sending = signal_to_send(signal, to, session.rate_hz(), session.outputs(), Caution::Say);
  refuse_unfinished(take_to_file(session, from, {.send = sending.get(), .stop = &context.stop}, file,
                                 capture::SampleFormat::Pcm24, wish.signal)
                        .outcome);
}

void record_picture(const check::CaptureWish& wish, const CheckDevices& d, const fs::path& file,
                    const Context& context) {
  const auto system = capture::open_grabber_system();
  const auto grabbers = system->grabbers();
  const capture::Grabber& from = capture::choose_grabber(grabbers, d.grabber);
  const capture::GrabberInput& input = capture::choose_input(from, "");
  const auto stream = system->open({.grabber = from, .input = input});
  capture::YuvFileSink sink(file, stream->setting());
  capture::PictureOutcome outcome = capture::take_picture(
      *stream, from.identity(), {.take = &sink, .seconds = wish.seconds, .stop = &context.stop});
  (void)sink.finish(outcome);
  refuse_unfinished({.end = outcome.end, .line = outcome.line, .facts = {}, .levels = {}});
}

class SoakSink final : public capture::SampleSink {
 public:
  explicit SoakSink(check::Soak& soak) : soak_(soak) {}
  void write(std::span<const float> interleaved) override { soak_.push(interleaved); }

 private:
  check::Soak& soak_;
};

// The meter, or in its place what is being typed; lines go to the talk. Looks after Ctrl-C too.
capture::SessionWatch meter_and_lines(capture::SessionWatch meter, TypedMeanwhile& typed,
                                      const SoakTalk& talk, const Context& context, StopFlag& stop) {
  return [meter = std::move(meter), &typed, &talk, &context, &stop](const capture::SessionStatus& status) {
    while (const auto line = typed.line()) {
      say("\r\x1b[K{}{}\n", talk.prompt, report::printable(*line));
      if (!talk.line(status.done_s, *line)) stop = true;
    }
    if (context.stop) stop = true;
    if (!typed.so_far().empty()) {
      say("\r{}{}\x1b[K", talk.prompt, report::printable(typed.so_far()));
    } else if (meter) {
      meter(status);
    }
  };
}

}  // namespace

job::Capture record_soak(const check::CaptureWish& wish, const CheckDevices& d, const Context& context,
                         const SoakTalk& talk) {
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& from = capture::choose_device(devices, d.from, capture::Direction::Input);
  const bool sends = !d.to.empty();
  capture::SessionPlan plan{.from = from};
  if (sends) plan.to = capture::choose_device(devices, d.to, capture::Direction::Output);
  capture::Session session(*system, plan);
  SignalOptions signal;
  signal.name = wish.signal;
  signal.seconds = wish.seconds;
  std::unique_ptr<AudioSource> sending;
  if (sends) sending = signal_to_send(signal, *plan.to, session.rate_hz(), session.outputs(), Caution::Say);
  check::Soak soak(session.rate_hz(), session.inputs(), soak_options(wish), talk.event);
  SoakSink sink(soak);
  StopFlag stop = false;
  Meter meter;
  TypedMeanwhile typed;
  const capture::Outcome outcome =
      session.run({.send = sending.get(),
                   .take = &sink,
                   .seconds = sends ? 0 : wish.seconds,
                   .kept = false,
                   .watch = meter_and_lines(meter.watch(), typed, talk, context, stop),
                   .stop = &stop});
  const bool nothing = outcome.facts.duration_s() < check::shortest_soak_s;
  if (nothing || outcome.end == capture::End::StorageFailed) (void)exit_of(outcome);
  if (outcome.end != capture::End::Complete) say("linebench: {}\n", report::printable(outcome.line));
  CaptureFacts facts = outcome.facts;
  facts.signal = wish.signal;
  facts.source = "long run, not kept";
  facts.kind = "sound device";
  return soaked(wish, facts, soak.finish());
}

bool can_take(const CheckDevices& d, const check::CaptureWish& wish) {
  if (wish.view == check::CaptureWish::View::Video) return !d.grabber.empty();
  if (d.from.empty()) return false;
  const auto recipe = known_recipe(wish.signal);
  return !d.to.empty() || !recipe || !measure::shows_response(*recipe);
}

void check_devices(const CheckDevices& d) {
  if (!d.from.empty() || !d.to.empty()) {
    const auto system = capture::open_sound_system();
    const auto devices = system->devices();
    if (!d.from.empty()) (void)capture::choose_device(devices, d.from, capture::Direction::Input);
    if (!d.to.empty()) (void)capture::choose_device(devices, d.to, capture::Direction::Output);
  }
  if (!d.grabber.empty()) {
    const auto grabbers = capture::open_grabber_system()->grabbers();
    (void)capture::choose_grabber(grabbers, d.grabber);
  }
}

void record_for(const check::CaptureWish& wish, const CheckDevices& d, const fs::path& file,
                const Context& context) {
  std::error_code ec;
  fs::create_directories(file.parent_path(), ec);
  if (ec)
    throw unusable(
        fmt::format("{}: the folder cannot be made ({})", file.parent_path().string(), ec.message()));
  if (wish.view == check::CaptureWish::View::Video) {
    record_picture(wish, d, file, context);
  } else {
    record_sound(wish, d, file, context);
  }
}

}  // namespace linebench::app
