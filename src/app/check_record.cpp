#include "check_record.hpp"

#include <fmt/format.h>

#include <linebench/capture/picture_session.hpp>

#include "check_measure.hpp"
#include "meter.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

void refuse_unfinished(const capture::Outcome& outcome) {
  if (outcome.end == capture::End::Stopped)
    throw Error(Exit::Interrupted, "stopped; this capture is not kept, the job is");
  (void)exit_of(outcome);
}

void record_sound(const check::CaptureWish& wish, const CheckDevices& d, const fs::path& file,
                  const Context& context) {
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& from = capture::choose_device(devices, d.from, capture::Direction::Input);
  if (wish.signal.empty()) {
    capture::Session session(*system, {.from = from});
    refuse_unfinished(take_to_file(session, from, {.seconds = wish.seconds, .stop = &context.stop}, file,
                                   capture::SampleFormat::Pcm24, "")
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

}  // namespace

job::Capture record_soak(const check::CaptureWish& wish, const CheckDevices& d, const Context& context,
                         const std::function<void(const check::SoakEvent&)>& told) {
  const auto system = capture::open_sound_system();
  const auto devices = system->devices();
  const capture::SoundDevice& from = capture::choose_device(devices, d.from, capture::Direction::Input);
  const capture::SoundDevice& to = capture::choose_device(devices, d.to, capture::Direction::Output);
  capture::Session session(*system, {.from = from, .to = to});
  SignalOptions signal;
  signal.name = wish.signal;
  signal.seconds = wish.seconds;
  const auto sending = signal_to_send(signal, to, session.rate_hz(), session.outputs(), Caution::Say);
  check::Soak soak(session.rate_hz(), session.inputs(), soak_options(wish), told);
  SoakSink sink(soak);
  Meter meter;
  const capture::Outcome outcome = session.run(
      {.send = sending.get(), .take = &sink, .kept = false, .watch = meter.watch(), .stop = &context.stop});
  if (outcome.end != capture::End::Stopped) (void)exit_of(outcome);
  CaptureFacts facts = outcome.facts;
  facts.signal = wish.signal;
  facts.source = "long run, not kept";
  facts.kind = "sound device";
  return soaked(wish, facts, soak.finish());
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
