// From a device to the board: through the capture's own sessions, with stand-ins for the drivers.
#include <gtest/gtest.h>

#include <atomic>
#include <cmath>
#include <linebench/live/feed.hpp>
#include <optional>
#include <thread>

#include "capture/fake_sound.hpp"
#include "feeding.hpp"
#include "picture/fake_grabber.hpp"
#include "support/frame_synth.hpp"

namespace {

using namespace linebench;
using feeding::value;

constexpr double pi = std::numbers::pi;

fake::Behaviour hum_on_both_sides() {
  fake::Behaviour b;
  b.path = [](std::uint64_t at, std::size_t frames, std::vector<float>& in, const std::vector<float>&) {
    for (std::size_t i = 0; i < frames && !in.empty(); ++i) {
      const double t = static_cast<double>(at + i) / 48000;
      in[2 * i] = static_cast<float>(0.01 * std::sin(2 * pi * 50 * t));
      in[2 * i + 1] = static_cast<float>(0.001 * std::sin(2 * pi * 50 * t));
    }
  };
  return b;
}

TEST(LiveFeed, ASoundDeviceIsReadThroughItsSession) {
  fake::System system(hum_on_both_sides());
  const StopFlag stop = false;
  capture::Session session(system, {.from = system.behaviour.devices[0]}, system);
  live::Board board;
  CaptureFacts facts = feeding::facts(session.rate_hz(), session.inputs());
  facts.kind = "sound device";
  const auto end = live::feed_sound(session, facts, {}, 3, board, stop);
  EXPECT_EQ(end.end, capture::End::Complete);
  const Readings r = board.newest().readings;
  EXPECT_NEAR(*value(r, "audio.hum.level.left"), -40, 0.05);
  EXPECT_NEAR(*value(r, "audio.hum.level.right"), -60, 0.05);
  EXPECT_NEAR(board.newest().time_s, 3, 0.051);
}

TEST(LiveFeed, LostSamplesAreSaidAndStartTheWindowsAnew) {
  fake::Behaviour b = hum_on_both_sides();
  b.flags = [](std::uint64_t at) { return capture::BufferFlags{.input_lost = at == 48000 * 2}; };
  fake::System system(b);
  const StopFlag stop = false;
  capture::Session session(system, {.from = system.behaviour.devices[0]}, system);
  live::Board board;
  double after_gap = 1e9;
  system.on_sleep = [&] {
    const live::Snapshot s = board.newest();
    if (s.note.find("lost") != std::string::npos && !value(s.readings, "audio.hum.level.left"))
      after_gap = std::min(after_gap, s.time_s);
  };
  (void)live::feed_sound(session, feeding::facts(48000, 2), {}, 4, board, stop);
  EXPECT_NE(board.newest().note.find("gaps so far: 1)"), std::string::npos) << board.newest().note;
  EXPECT_LT(after_gap, 2.3) << "no reading over the gap";
  EXPECT_NEAR(*value(board.newest().readings, "audio.hum.level.left"), -40, 0.05) << "and it is back";
}

TEST(LiveFeed, ADeviceThatIsGoneEndsIt) {
  fake::Behaviour b = hum_on_both_sides();
  b.dies_at = 48000;
  fake::System system(b);
  const StopFlag stop = false;
  capture::Session session(system, {.from = system.behaviour.devices[0]}, system);
  live::Board board;
  const auto end = live::feed_sound(session, feeding::facts(48000, 2), {}, 0, board, stop);
  EXPECT_EQ(end.end, capture::End::DeviceLost);
  EXPECT_NEAR(board.newest().time_s, 1, 0.1);
}

TEST(LiveFeed, AGrabberIsReadThroughItsSession) {
  auto steps = fake_grabber::frames(40);
  for (std::size_t i = 20; i < steps.size(); ++i) steps[i].signal = capture::SignalState::None;
  fake_grabber::Stream stream(fake_grabber::setting(), steps);
  const StopFlag stop = false;
  live::Board board;
  const auto end = live::feed_grabber(stream, "V4L2: Lane camera", {}, 40 / 25.0, board, stop);
  EXPECT_EQ(end.end, capture::End::Complete) << end.line;
  const live::Snapshot s = board.newest();
  EXPECT_EQ(s.input.source, "V4L2: Lane camera");
  ASSERT_TRUE(s.picture);
  EXPECT_EQ(s.picture->height, 64);
  EXPECT_TRUE(stream.stopped);
}

TEST(LiveFeed, AFileKeepsItsPaceAndRepeats) {
  synth::Samples x(synth::count(0.5, 48000));
  synth::add_sine(x, 48000, 50, -30);
  const live::AudioOpener open = [&] {
    return std::make_unique<synth::MemorySource>(48000, std::vector<synth::Samples>(1, x));
  };
  const StopFlag stop = false;
  live::Board board;
  const auto since = std::chrono::steady_clock::now();
  live::feed_audio(open, {}, {.speed = 4, .repeat = true, .seconds = 2}, board, stop);
  const double took = std::chrono::duration<double>(std::chrono::steady_clock::now() - since).count();
  EXPECT_GE(took, 0.49) << "2 s at four times the pace";
  EXPECT_LT(took, 30) << "and not at the pace of a file that never ends";
  EXPECT_NEAR(board.newest().time_s, 2, 0.051);
  EXPECT_NEAR(*value(board.newest().readings, "audio.hum.level"), -30, 0.05) << "25 periods fit: no seam";
}

TEST(LiveFeed, AStopIsNeverLate) {
  const live::AudioOpener open = [&] {
    return std::make_unique<synth::MemorySource>(48000,
                                                 std::vector<synth::Samples>(1, synth::Samples(48000 * 60)));
  };
  StopFlag stop = false;
  live::Board board;
  std::thread feeding([&] { live::feed_audio(open, {}, {.speed = 0.001}, board, stop); });
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  const auto since = std::chrono::steady_clock::now();
  stop = true;
  feeding.join();
  EXPECT_LT(std::chrono::steady_clock::now() - since, std::chrono::seconds(10))
      << "its next block is due in 20 s";
}

// Mains of 60 Hz in pictures of 25 a second turns by 0.4 in each frame that is lost.
TEST(LiveFeed, FramesAGrabberLosesLeaveTheHumAsItIs) {
  struct Hummed final : capture::GrabberStream {
    Hummed() {
      scene.line = frame_synth::flat(0.4);
      scene.noise = 1;
      scene.hum_percent = 4;
      scene.hum_hz = 60;
      set.format = scene.format();
      set.fourcc = "YUYV";
      set.bytes_per_line = 1440;
      from.emplace(scene, 30, 1);  // 24 come: the session holds so many however slow the meter is
    }
    [[nodiscard]] const capture::GrabberSetting& setting() const override { return set; }
    void start() override {}
    capture::WaitResult wait(std::chrono::milliseconds, capture::GrabbedFrame& g) override {
      capture::Frame f;
      do {
        if (!from->read(f)) return capture::WaitResult::Timeout;
      } while (f.number % 5 == 2);
      bytes.resize(2 * f.y.size());
      for (std::size_t i = 0; i < f.y.size(); ++i) bytes[2 * i] = f.y[i], bytes[2 * i + 1] = 128;
      g.bytes = bytes;
      g.sequence = static_cast<std::uint32_t>(f.number);
      g.corrupt = false;
      return capture::WaitResult::Frame;
    }
    void stop() noexcept override {}
    Wire wire() override { return {capture::SignalState::Present, 625}; }
    frame_synth::Scene scene;
    capture::GrabberSetting set;
    std::optional<frame_synth::Source> from;
    std::vector<std::uint8_t> bytes;
  } stream;
  const StopFlag stop = false;
  live::Board board;
  (void)live::feed_grabber(stream, "V4L2: Lane camera", {}, 24 / 25.0, board, stop);
  const Readings r = board.newest().readings;
  const Reading& level = *find_reading(r, "picture.hum.level");
  ASSERT_TRUE(level.measured()) << level.reason;
  EXPECT_NEAR(level.number(), 4, level.uncertainty.value());
  EXPECT_LT(level.uncertainty.value(), 0.1);
  const Reading& hz = *find_reading(r, "picture.hum.frequency");
  ASSERT_TRUE(hz.measured()) << hz.reason;
  EXPECT_NEAR(hz.number(), 60, hz.uncertainty.value());
  EXPECT_NEAR(board.newest().time_s, 30 / 25.0, 0.01) << "lost ones are counted";
}

// Where a file begins anew hum's phase jumps, and a run over that would read a hum that never was.
TEST(LiveFeed, NoRunReachesOverTheEndOfAFileThatRepeats) {
  frame_synth::Scene scene;
  scene.line = frame_synth::flat(0.4);
  scene.hum_percent = 4;
  scene.noise = 1;
  const live::FramesOpener open = [&] { return std::make_unique<frame_synth::Source>(scene, 30, 1); };
  const StopFlag stop = false;
  for (const double seconds : {1.8, 2.2, 2.7}) {  // runs end here that would have gone over it
    live::Board board;
    live::feed_frames(open, {}, {.speed = 0, .repeat = true, .seconds = seconds}, board, stop);
    const Reading hum = *find_reading(board.newest().readings, "picture.hum.level");
    ASSERT_TRUE(hum.measured()) << hum.reason;
    EXPECT_NEAR(hum.number(), 4, hum.uncertainty.value());
    EXPECT_LT(hum.uncertainty.value(), 0.1);
  }
}

// An empty file again and again would never end.
TEST(LiveFeed, RepeatingNothingEnds) {
  const live::AudioOpener open = [&] {
    return std::make_unique<synth::MemorySource>(48000, std::vector<synth::Samples>(1));
  };
  const StopFlag stop = false;
  live::Board board;
  live::feed_audio(open, {}, {.speed = 0, .repeat = true}, board, stop);
  EXPECT_EQ(board.newest().time_s, 0);
}

TEST(LiveFeed, FramesOfAFileRepeatWithTheTimeGoingOn) {
  frame_synth::Scene scene;
  scene.hum_percent = 3;
  scene.noise = 2;
  const live::FramesOpener open = [&] { return std::make_unique<frame_synth::Source>(scene, 10, 1); };
  const StopFlag stop = false;
  live::Board board;
  live::feed_frames(open, {}, {.speed = 0, .repeat = true, .seconds = 1.2}, board, stop);
  EXPECT_NEAR(board.newest().time_s, 1.2, 0.25);
  EXPECT_EQ(find_reading(board.newest().readings, "picture.signal")->text(), "present");
}

}  // namespace
