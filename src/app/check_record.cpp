#include "check_record.hpp"

#include <fmt/format.h>

#include <linebench/capture/picture_session.hpp>

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

}  // namespace

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
