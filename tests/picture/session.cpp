// Taking frames in: what is kept and what is said, whatever the grabber does.
#include <gtest/gtest.h>

#include <atomic>

#include "fake_grabber.hpp"
#include "support/python.hpp"

namespace {
using namespace fake_grabber;
using namespace std::chrono_literals;
using linebench::StopFlag;
using testing_support::TempDir;

struct Kept final : FrameSink {
  void write(std::span<const std::uint8_t> yuyv, const FrameMark& mark) override {
    if (fail_after == frames.size()) throw linebench::unusable("disk full");
    frames.emplace_back(yuyv.begin(), yuyv.end());
    marks.push_back(mark);
  }
  std::vector<std::vector<std::uint8_t>> frames;
  std::vector<FrameMark> marks;
  std::size_t fail_after = 1'000'000;
};

PictureOutcome run(Stream& s, Kept& kept, double seconds, PictureWatch watch = {},
                   const StopFlag* stop = nullptr) {
  return take_picture(
      s, "the grabber",
      {.take = &kept, .seconds = seconds, .watch = std::move(watch), .stop = stop, .silence_is_loss = 150ms});
}

TEST(PictureSession, WholeAndByteForByte) {
  for (const std::size_t padding : {std::size_t{0}, std::size_t{32}}) {
    Stream s(setting("YUYV", padding), frames(12, 100));
    Kept kept;
    const auto out = run(s, kept, 0.4);
    EXPECT_EQ(out.end, End::Complete) << out.line;
    EXPECT_EQ(out.facts.frames, 10U);
    EXPECT_EQ(out.facts.dropped, 0U);
    EXPECT_FALSE(out.facts.interrupted);
    EXPECT_TRUE(s.started && s.stopped);
    ASSERT_EQ(kept.frames.size(), 10U);
    for (std::size_t r = 0; r < 64; ++r) {
      for (std::size_t i = 0; i < 128; ++i)
        ASSERT_EQ(kept.frames[3][r * 128 + i], s.buffer()[r * (128 + padding) + i]);
    }
  }
  Stream s(setting("UYVY"), frames(2));
  Kept kept;
  (void)run(s, kept, 0.04);
  EXPECT_EQ(kept.frames.at(0)[0], s.buffer()[1]);
  EXPECT_EQ(kept.frames.at(0)[1], s.buffer()[0]);
}

TEST(PictureSession, LostAndDamagedAreCounted) {
  auto steps = frames(10);
  for (std::size_t i = 4; i < 10; ++i) steps[i].sequence += 3;
  steps[6].corrupt = true;
  steps[7].bytes = 100;
  Stream s(setting(), steps);
  Kept kept;
  const auto out = run(s, kept, 9 / 25.0);
  EXPECT_EQ(out.facts.frames, 9U);
  EXPECT_EQ(out.facts.dropped, 4U);
  ASSERT_EQ(out.lost.size(), 2U);
  EXPECT_EQ(out.lost[0], (std::pair<std::uint64_t, std::uint64_t>(4, 3)));
  EXPECT_EQ(out.lost[1], (std::pair<std::uint64_t, std::uint64_t>(7, 1)));
  EXPECT_EQ(out.corrupt, std::vector<std::uint64_t>{6});
  std::vector<std::uint64_t> lost;
  for (const FrameMark& m : kept.marks) lost.push_back(m.lost);
  EXPECT_EQ(lost, (std::vector<std::uint64_t>{0, 0, 0, 0, 3, 0, 0, 1, 0})) << "each with the frame after it";
  EXPECT_TRUE(kept.marks[6].corrupt);
}

TEST(PictureSession, CountThatWrapsRound) {
  Stream s(setting(), frames(5, 0xfffffffd));
  Kept kept;
  EXPECT_EQ(run(s, kept, 0.2).facts.dropped, 0U);
}

TEST(PictureSession, PulledStalledStoppedFull) {
  {
    auto steps = frames(4);
    steps.push_back({.result = WaitResult::Lost});
    Stream s(setting(), steps);
    Kept kept;
    const auto out = run(s, kept, 10);
    EXPECT_EQ(out.end, End::DeviceLost);
    EXPECT_NE(out.line.find("gone"), std::string::npos) << out.line;
    EXPECT_EQ(kept.frames.size(), 4U);
    EXPECT_TRUE(out.facts.interrupted);
  }
  {
    Stream s(setting(), frames(3));
    Kept kept;
    const auto out = run(s, kept, 10);
    EXPECT_EQ(out.end, End::DeviceLost);
    EXPECT_NE(out.line.find("no frames for"), std::string::npos) << out.line;
    EXPECT_EQ(kept.frames.size(), 3U);
  }
  {
    Stream s(setting(), frames(2000));
    Kept kept;
    StopFlag stop = false;
    const auto out = run(
        s, kept, 100, [&](const PictureStatus& p) { stop = p.done_s > 0.1; }, &stop);
    EXPECT_EQ(out.end, End::Stopped);
    EXPECT_GT(kept.frames.size(), 2U);
  }
  {
    Stream s(setting(), frames(20));
    Kept kept;
    kept.fail_after = 5;
    const auto out = run(s, kept, 0.8);
    EXPECT_EQ(out.end, End::StorageFailed);
    EXPECT_EQ(out.facts.frames, 5U);
    EXPECT_NE(out.line.find("disk full"), std::string::npos);
  }
}

TEST(PictureSession, SignalAndStandardOnTheWireAreTold) {
  auto steps = frames(900);
  for (std::size_t i = 250; i < 550; ++i) steps[i].signal = SignalState::None;
  for (std::size_t i = 550; i < 900; ++i) steps[i].lines = 525;
  Stream s(setting(), steps);
  Kept kept;
  std::string said;
  const auto out = run(s, kept, 36, [&](const PictureStatus& p) { said += p.event; });
  EXPECT_EQ(out.end, End::Complete);
  EXPECT_EQ(kept.frames.size(), 900U);
  EXPECT_NE(said.find("no signal"), std::string::npos) << said;
  EXPECT_NE(said.find("back"), std::string::npos) << said;
  EXPECT_NE(said.find("525 lines"), std::string::npos) << said;
  EXPECT_GE(out.facts.notes.size(), 2U);
}

TEST(PictureSession, FileAndSidecarReadBack) {
  const TempDir dir;
  auto steps = frames(6);
  for (std::size_t i = 2; i < 6; ++i) steps[i].sequence += 2;
  steps[4].corrupt = true;
  Stream s(setting(), steps);
  YuvFileSink sink(dir / "a.yuv", s.setting());
  const auto out = take_picture(s, "g", {.take = &sink, .seconds = 6 / 25.0});
  const auto facts = sink.finish(out);
  EXPECT_EQ(facts.frames, 6U);
  const auto back = open_frames(dir / "a.yuv");
  EXPECT_EQ(back->facts().frames, 6U);
  EXPECT_EQ(back->facts().dropped, 2U);
  EXPECT_EQ(back->format().lines, 625);
  EXPECT_EQ(back->format().top_field_first, true);
  Frame f;
  std::vector<std::uint64_t> numbers;
  std::vector<bool> corrupt;
  while (back->read(f)) {
    numbers.push_back(f.number);
    corrupt.push_back(f.corrupt);
    EXPECT_EQ(f.y[5], s.buffer()[10]);
  }
  EXPECT_EQ(numbers, (std::vector<std::uint64_t>{0, 1, 4, 5, 6, 7}));
  EXPECT_TRUE(corrupt.at(4));
  EXPECT_THROW(YuvFileSink(dir / "a.avi", s.setting()), linebench::Error);
}

Grabber grabber(const char* name, const char* path) {
  Grabber g;
  g.name = name;
  g.path = path;
  g.inputs = {{0, "Television", true, true, SignalState::Unknown},
              {1, "S-Video", true, true, SignalState::Unknown},
              {2, "Composite", true, true, SignalState::Unknown}};
  return g;
}

TEST(Grabbers, ChosenByWhatAPersonWrites) {
  const std::vector<Grabber> two = {grabber("USB Video", "/dev/video0"),
                                    grabber("Desk camera", "/dev/video2")};
  EXPECT_EQ(choose_grabber(two, "/dev/video2").name, "Desk camera");
  EXPECT_EQ(choose_grabber(two, "usb").path, "/dev/video0");
  EXPECT_EQ(choose_grabber(two, "V4L2: desk camera").path, "/dev/video2");
  const auto exit_of = [&](const char* text) {
    try {
      (void)choose_grabber(two, text);
    } catch (const linebench::Error& e) {
      return e.exit();
    }
    return linebench::Exit::Ok;
  };
  EXPECT_EQ(exit_of("V4L2"), linebench::Exit::Usage);
  EXPECT_EQ(exit_of("nothing"), linebench::Exit::Unusable);
  EXPECT_THROW((void)choose_grabber({}, "x"), linebench::Error);
  EXPECT_EQ(choose_input(two[0], "").name, "Composite");
  EXPECT_EQ(choose_input(two[0], "1").name, "S-Video");
  EXPECT_EQ(choose_input(two[0], "s-vid").index, 1);
  EXPECT_THROW((void)choose_input(two[0], "hdmi"), linebench::Error);
}

}  // namespace
