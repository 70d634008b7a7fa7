#include "recordings.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <linebench/base/error.hpp>
#include <linebench/capture/digital_copy.hpp>

#include "say.hpp"

namespace linebench::app {
namespace {

bool whole_identity(const std::string& text) { return text.find(": ") != std::string::npos; }

void refuse_unfit(const Taken& t) {
  if (t.outcome.end == capture::End::Stopped)
    throw Error(Exit::Interrupted, "stopped; the calibration is as it was");
  (void)exit_of(t.outcome);
  if (t.facts.tainted()) throw unusable("the recording has gaps; close other programs and calibrate again");
}

}  // namespace

std::string Card::identity(const std::string& recording) {
  if (device_.empty() && !recording.empty()) {
    if (std::string known = capture::open_audio_file(recording)->facts().device; !known.empty()) return known;
  }
  if (device_.empty()) throw bad_usage("which card? name it with --device (linebench devices lists them)");
  return whole_identity(device_) ? device_ : input().identity();
}

std::string Card::output_identity() {
  const std::string& text = to_.empty() ? device_ : to_;
  return whole_identity(text) ? text : output().identity();
}

const std::vector<capture::SoundDevice>& Card::devices() {
  if (!system_) {
    system_ = capture::open_sound_system();
    devices_ = system_->devices();
  }
  return devices_;
}
const capture::SoundDevice& Card::input() {
  return capture::choose_device(devices(), device_, capture::Direction::Input);
}
const capture::SoundDevice& Card::output() {
  return capture::choose_device(devices(), to_.empty() ? device_ : to_, capture::Direction::Output);
}

void Card::record(double seconds, const Context& context, const std::filesystem::path& out) {
  const capture::SoundDevice& from = input();
  capture::Session session(*system_, {.from = from, .inputs = channels_, .rate_hz = rate_hz_});
  refuse_unfit(take_to_file(session, from, {.seconds = seconds, .kept = false, .stop = &context.stop}, out,
                            capture::SampleFormat::Float32, ""));
}

std::unique_ptr<AudioSource> Card::send_and_record(const SignalOptions& signal, const Context& context,
                                                   const std::filesystem::path& out) {
  const capture::SoundDevice& from = input();
  const capture::SoundDevice& to = output();
  capture::Session session(*system_, {.from = from, .inputs = channels_, .to = to, .rate_hz = rate_hz_});
  const auto make = [&](Caution caution) {
    return signal_to_send(signal, to, session.rate_hz(), session.outputs(), caution);
  };
  const auto sending = make(Caution::Say);
  refuse_unfit(take_to_file(session, from, {.send = sending.get(), .kept = false, .stop = &context.stop}, out,
                            capture::SampleFormat::Float32, sending->facts().signal));
  if (capture::is_digital_copy(*make(Caution::Said), *capture::open_audio_file(out))) {
    say("The return is the sent signal bit for bit: it never left the computer, so this says nothing "
        "about the card's converters. Choose the input the cable is plugged into.\n");
  }
  return make(Caution::Said);
}

}  // namespace linebench::app
