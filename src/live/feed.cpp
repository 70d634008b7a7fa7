#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <linebench/live/feed.hpp>
#include <thread>
#include <vector>

namespace linebench::live {
namespace {

using Clock = std::chrono::steady_clock;

constexpr double block_s = 0.02;
constexpr double no_end_s = 1e9;  // 31 years

// Waits until the wall clock is where the stream is, in short sleeps so that a stop is never late.
class Pacer {
 public:
  Pacer(const Pace& pace, const StopFlag& stop) : pace_(pace), stop_(stop) {}
  [[nodiscard]] bool more(double stream_s) const {
    return !stop_.load() && (pace_.seconds <= 0 || stream_s < pace_.seconds);
  }
  void wait(double stream_s) const {
    if (pace_.speed <= 0) return;
    const auto due = start_ + std::chrono::duration_cast<Clock::duration>(
                                  std::chrono::duration<double>(stream_s / pace_.speed));
    while (!stop_.load()) {
      const auto left = due - Clock::now();
      if (left <= Clock::duration::zero()) return;
      std::this_thread::sleep_for(std::min<Clock::duration>(left, std::chrono::milliseconds(50)));
    }
  }

 private:
  Pace pace_;
  const StopFlag& stop_;
  Clock::time_point start_ = Clock::now();
};

// The session's samples straight into the meter.
class MeterSink final : public capture::SampleSink {
 public:
  MeterSink(const CaptureFacts& facts, const AudioMeterOptions& options, Board& board)
      : meter_(facts, options), board_(board) {}
  void write(std::span<const float> interleaved) override {
    if (meter_.push(interleaved)) board_.publish(meter_.view());
  }
  void gap(std::uint64_t lost) {
    if (lost == lost_) return;
    board_.say(fmt::format("samples were lost (gaps so far: {}): readings start anew", lost));
    lost_ = lost;
    meter_.gap();
  }

 private:
  AudioMeter meter_;
  Board& board_;
  std::uint64_t lost_ = 0;
};

// Packed frames of a grabber into the meter.
class FrameMeterSink final : public capture::FrameSink {
 public:
  FrameMeterSink(const capture::FrameFormat& format, const measure::PictureOptions& options, Board& board)
      : format_(counted(format)), meter_(format_, options), board_(board) {}
  void write(std::span<const std::uint8_t> yuyv, const capture::FrameMark& mark) override {
    capture::unpack_yuyv(yuyv, format_.width, format_.height, frame_);
    next_ += mark.lost;
    frame_.number = next_++;
    frame_.corrupt = mark.corrupt;
    if (meter_.push(frame_)) board_.publish(meter_.view());
  }
  void status(const capture::PictureStatus& s) {
    if (!s.event.empty()) board_.say(s.event);
    meter_.wire(s.signal == capture::SignalState::Unknown ? "" : std::string(to_string(s.signal)));
  }

 private:
  static capture::FrameFormat counted(capture::FrameFormat format) {
    format.counted = true;
    return format;
  }

  capture::FrameFormat format_;
  PictureMeter meter_;
  Board& board_;
  capture::Frame frame_;
  std::uint64_t next_ = 0;  ///< lost ones counted
};

}  // namespace

void feed_audio(const AudioOpener& open, const AudioMeterOptions& options, const Pace& pace, Board& board,
                const StopFlag& stop) {
  auto source = open();
  const CaptureFacts facts = source->facts();
  AudioMeter meter(facts, options);
  board.begin(facts);
  const auto channels = static_cast<std::size_t>(facts.channels);
  const auto block = static_cast<std::size_t>(std::max(1.0, std::round(block_s * facts.sample_rate_hz)));
  std::vector<float> samples(block * channels);
  const Pacer pacer(pace, stop);
  std::uint64_t frames = 0, before = 0;
  double stream_s = 0;
  while (pacer.more(stream_s)) {
    const std::size_t got = source->read(samples);
    if (got == 0) {
      if (!pace.repeat || frames == before) break;  // an empty source would be opened for ever
      before = frames;
      source = open();
      continue;
    }
    frames += got;
    stream_s = static_cast<double>(frames) / facts.sample_rate_hz;
    pacer.wait(stream_s);  // samples are there when they have been played, not before
    if (meter.push(std::span<const float>(samples).first(got * channels))) board.publish(meter.view());
  }
}

void feed_frames(const FramesOpener& open, const measure::PictureOptions& options, const Pace& pace,
                 Board& board, const StopFlag& stop) {
  auto source = open();
  const capture::FrameFormat format = source->format();
  PictureMeter meter(format, options);
  board.begin(source->facts());
  const Pacer pacer(pace, stop);
  capture::Frame frame;
  std::uint64_t frames = 0, before = 0, first = 0;
  double stream_s = 0;
  while (pacer.more(stream_s)) {
    if (!source->read(frame)) {
      if (!pace.repeat || frames == before) break;
      // The picture is cut here, and hum's phase with it. What holds no whole run shows something that way
      // only.
      if (frames - before >= run_frames) meter.gap();
      before = first = frames;
      source = open();
      continue;
    }
    frame.number += first;  // frames lost in the file stay gaps
    frames = std::max(frames + 1, frame.number + 1);
    stream_s = static_cast<double>(frames) / format.frame_rate_hz;
    pacer.wait(stream_s);
    if (meter.push(frame)) board.publish(meter.view());
  }
}

capture::Outcome feed_sound(capture::Session& session, const CaptureFacts& facts,
                            const AudioMeterOptions& options, double seconds, Board& board,
                            const StopFlag& stop) {
  board.begin(facts);
  MeterSink sink(facts, options, board);
  const auto watch = [&](const capture::SessionStatus& s) { sink.gap(s.xruns + s.dropped); };
  return session.run({.take = &sink,
                      .seconds = seconds > 0 ? seconds : no_end_s,
                      .kept = false,
                      .watch = watch,
                      .stop = &stop});
}

capture::PictureOutcome feed_grabber(capture::GrabberStream& stream, const std::string& name,
                                     const measure::PictureOptions& options, double seconds, Board& board,
                                     const StopFlag& stop) {
  CaptureFacts facts;
  facts.source = facts.device = name;
  facts.kind = "frames";
  facts.sample_rate_hz = stream.setting().format.frame_rate_hz;
  facts.notes = stream.setting().notes;
  board.begin(facts);
  FrameMeterSink sink(stream.setting().format, options, board);
  return capture::take_picture(stream, name,
                               {.take = &sink,
                                .seconds = seconds > 0 ? seconds : no_end_s,
                                .watch = [&](const capture::PictureStatus& s) { sink.status(s); },
                                .stop = &stop});
}

}  // namespace linebench::live
