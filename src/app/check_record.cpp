#include "check_record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <linebench/capture/picture_session.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/report/format.hpp>

#include "check_measure.hpp"
#include "meter.hpp"
#include "open_grabber.hpp"
#include "picture_line.hpp"
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
  const OpenGrabber g = open_grabber({.from = d.grabber});
  capture::YuvFileSink sink(file, g.stream->setting());
  const PictureLine line;
  capture::PictureOutcome outcome =
      capture::take_picture(*g.stream, g.identity,
                            {.take = &sink,
                             .seconds = wish.seconds,
                             .watch = [&line](const capture::PictureStatus& status) { line.show(status); },
                             .stop = &context.stop});
  line.wipe();
  outcome.facts.device = g.device;
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

// Times are those of arrival: a grabber that sends nothing for a while leaves a gap.
class PictureSoakSink final : public capture::FrameSink {
 public:
  PictureSoakSink(check::PictureSoak& soak, const capture::FrameFormat& format)
      : soak_(soak), format_(format) {}
  void write(std::span<const std::uint8_t> yuyv, const capture::FrameMark&) override {
    const auto now = Clock::now();
    if (!begun_) begun_ = now;
    at_s_ = std::chrono::duration<double>(now - *begun_).count();
    capture::unpack_yuyv(yuyv, format_.width, format_.height, frame_);
    soak_.push(frame_, at_s_);
  }
  [[nodiscard]] double at_s() const { return at_s_; }

 private:
  using Clock = std::chrono::steady_clock;
  check::PictureSoak& soak_;
  capture::FrameFormat format_;
  capture::Frame frame_;
  std::optional<Clock::time_point> begun_;
  double at_s_ = 0;
};

// What was typed goes to the talk. @return what of a line is being typed, to be shown.
void hear(TypedMeanwhile& typed, const SoakTalk& talk, double at_s, const Context& context, StopFlag& stop) {
  while (const auto line = typed.line()) {
    say("\r\x1b[K{}{}\n", talk.prompt, report::printable(*line));
    if (!talk.line(at_s, *line)) stop = true;
  }
  if (context.stop) stop = true;
  if (!typed.so_far().empty()) say("\r{}{}\x1b[K", talk.prompt, report::printable(typed.so_far()));
}

// The meter, or in its place what is being typed; lines go to the talk. Looks after Ctrl-C too.
capture::SessionWatch meter_and_lines(capture::SessionWatch meter, TypedMeanwhile& typed,
                                      const SoakTalk& talk, const Context& context, StopFlag& stop) {
  return [meter = std::move(meter), &typed, &talk, &context, &stop](const capture::SessionStatus& status) {
    hear(typed, talk, status.done_s, context, stop);
    if (typed.so_far().empty() && meter) meter(status);
  };
}

job::Capture record_picture_soak(const check::CaptureWish& wish, const CheckDevices& d,
                                 const Context& context, const SoakTalk& talk) {
  // A grabber that sends nothing for a while is what such a run is to see; only one that stays silent ends
  // it.
  constexpr auto given_up = std::chrono::seconds(60);
  const OpenGrabber g = open_grabber({.from = d.grabber});
  const capture::FrameFormat& format = g.stream->setting().format;
  check::PictureSoak soak(format, talk.picture_event);
  PictureSoakSink sink(soak, format);
  StopFlag stop = false;
  TypedMeanwhile typed;
  const PictureLine line;
  const auto watch = [&](const capture::PictureStatus& status) {
    hear(typed, talk, sink.at_s(), context, stop);
    if (typed.so_far().empty()) line.show(status);
  };
  const capture::PictureOutcome outcome = capture::take_picture(
      *g.stream, g.identity,
      {.take = &sink, .seconds = wish.seconds, .watch = watch, .stop = &stop, .silence_is_loss = given_up});
  line.wipe();
  if (outcome.end != capture::End::Complete) say("linebench: {}\n", report::printable(outcome.line));
  CaptureFacts facts = outcome.facts;
  facts.device = g.device;
  facts.source = "long run, not kept";
  return soaked(wish, "picture", facts, soak.finish());
}

job::Capture record_sound_soak(const check::CaptureWish& wish, const CheckDevices& d, const Context& context,
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
  return soaked(wish, "audio", facts, soak.finish());
}

}  // namespace

job::Capture record_soak(const check::CaptureWish& wish, const CheckDevices& devices, const Context& context,
                         const SoakTalk& talk) {
  return wish.view == check::CaptureWish::View::Video ? record_picture_soak(wish, devices, context, talk)
                                                      : record_sound_soak(wish, devices, context, talk);
}

bool can_take(const CheckDevices& d, const check::CaptureWish& wish) {
  if (wish.view == check::CaptureWish::View::Video) return !d.grabber.empty() && wish.video_as != "waveform";
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
