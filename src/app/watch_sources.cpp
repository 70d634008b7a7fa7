#include "watch_sources.hpp"

#include <filesystem>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/calibration.hpp>

#include "say.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

bool is_there(const std::string& name) {
  std::error_code ec;
  return fs::exists(name, ec) && !fs::is_character_file(name, ec);
}

// A session that ended by itself is told; by hand it was the person's wish.
void tell_end(capture::End end, const std::string& line) {
  if (end == capture::End::DeviceLost || end == capture::End::StorageFailed) throw unusable(line);
}

}  // namespace

WatchSources::WatchSources(const WatchFrom& from, live::Board& board, const StopFlag& stop)
    : board_(board), stop_(stop) {
  if (!from.audio.empty()) open_audio(from);
  if (!from.picture.empty()) open_picture(from);
  if (!from.pitch.empty()) open_pitch(from);
}

WatchSources::~WatchSources() {
  for (std::thread& t : threads_) {
    if (t.joinable()) t.join();
  }
}

capture::SoundSystem& WatchSources::sound() {
  if (!sound_) sound_ = capture::open_sound_system();
  return *sound_;
}

void WatchSources::open_audio(const WatchFrom& from) {
  if (is_there(from.audio)) {
    const fs::path file = from.audio;
    (void)capture::open_audio_file(file);
    work_.emplace_back([this, file, from](const StopFlag& stop) {
      live::feed_audio([&] { return capture::open_audio_file(file); }, from.meter, from.pace, board_, stop);
    });
    return;
  }
  const auto devices = sound().devices();
  watched_ = capture::choose_device(devices, from.audio, capture::Direction::Input);
  session_ = std::make_unique<capture::Session>(
      sound(), capture::SessionPlan{.from = watched_, .inputs = from.channels, .rate_hz = from.rate_hz});
  CaptureFacts facts;
  facts.source = facts.device = watched_->identity();
  facts.kind = "sound device";
  facts.sample_rate_hz = session_->rate_hz();
  facts.channels = session_->inputs();
  if (const auto calibration = calibration_of(*watched_, session_->rate_hz()))
    capture::apply_calibration(facts, *calibration);
  work_.emplace_back([this, facts, from](const StopFlag& stop) {
    const capture::Outcome outcome =
        live::feed_sound(*session_, facts, from.meter, from.pace.seconds, board_, stop);
    tell_end(outcome.end, outcome.line);
  });
}

void WatchSources::open_picture(const WatchFrom& from) {
  measure::PictureOptions options;
  options.mains_hz = from.meter.mains_hz;
  if (from.standard != "auto") options.lines = from.standard == "525" ? 525 : 625;
  if (is_there(from.picture)) {
    const fs::path file = from.picture;
    (void)capture::open_frames(file);
    work_.emplace_back([this, file, options, from](const StopFlag& stop) {
      live::feed_frames([&] { return capture::open_frames(file); }, options, from.pace, board_, stop);
    });
    return;
  }
  grabbers_ = capture::open_grabber_system();
  const auto all = grabbers_->grabbers();
  const capture::Grabber& grabber = capture::choose_grabber(all, from.picture);
  const capture::GrabberInput& input = capture::choose_input(grabber, from.input);
  stream_ = grabbers_->open({.grabber = grabber, .input = input, .lines = options.lines.value_or(0)});
  const std::string name = grabber.identity() + ", input " + input.name;
  work_.emplace_back([this, name, options, from](const StopFlag& stop) {
    const capture::PictureOutcome outcome =
        live::feed_grabber(*stream_, name, options, from.pace.seconds, board_, stop);
    tell_end(outcome.end, outcome.line);
  });
}

void WatchSources::open_pitch(const WatchFrom& from) {
  const auto devices = sound().devices();
  const capture::SoundDevice& out = capture::choose_device(devices, from.pitch, capture::Direction::Output);
  const std::string no = live::pitch_refusal(out, watched_, from.pitch_checked);
  if (!no.empty()) throw bad_usage("--pitch: " + no);
  pitch_ = std::make_unique<live::Pitch>(sound(), out);
}

live::Pitch* WatchSources::pitch() {
  if (pitch_ && !pitch_->alive()) {
    board_.say("the pitch's sound device is gone");
    pitch_.reset();
  }
  return pitch_.get();
}

void WatchSources::start() {
  failed_.resize(work_.size());
  running_ = static_cast<int>(work_.size());
  for (std::size_t i = 0; i < work_.size(); ++i) {
    threads_.emplace_back([this, i] {
      try {
        work_[i](stop_);
      } catch (const std::exception& e) {
        failed_[i] = std::current_exception();
        board_.say(e.what());
      }
      --running_;
    });
  }
}

void WatchSources::join() {
  for (std::thread& t : threads_) t.join();
  threads_.clear();
  for (const std::exception_ptr& e : failed_) {
    if (e) std::rethrow_exception(e);
  }
}

}  // namespace linebench::app
