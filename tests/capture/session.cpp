// The stream logic over a sound system in memory: exactness, fades, and every way a capture can end early.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/capture/session.hpp>
#include <numbers>

#include "fake_sound.hpp"
#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::capture;

/// Sample n of channel c of a test input: any value that tells where it came from, exact in float.
float mark(std::uint64_t n, std::size_t c) {
  return static_cast<float>(n % 100000) / 131072.0F + static_cast<float>(c) * 0x1p-20F;
}

fake::Behaviour counting_input() {
  fake::Behaviour b;
  b.path = [](std::uint64_t at, std::size_t frames, std::vector<float>& in, const std::vector<float>&) {
    const std::size_t channels = in.size() / frames;
    for (std::size_t i = 0; i < in.size(); ++i) in[i] = mark(at + i / channels, i % channels);
  };
  return b;
}

/// Output comes back into the input `lag` frames later, and is kept as it was sent.
struct LoopBack {
  std::shared_ptr<std::vector<float>> sent = std::make_shared<std::vector<float>>();
  std::size_t lag = 480;
  fake::Behaviour behaviour() const {
    fake::Behaviour b;
    b.path = [sent = sent, lag = lag](std::uint64_t at, std::size_t frames, std::vector<float>& in,
                                      const std::vector<float>& out) {
      sent->insert(sent->end(), out.begin(), out.end());
      const std::size_t channels = 2;
      for (std::size_t i = 0; i < in.size(); ++i) {
        const std::int64_t from =
            static_cast<std::int64_t>((at + i / channels)) - static_cast<std::int64_t>(lag);
        if (from >= 0) in[i] = (*sent)[static_cast<std::size_t>(from) * channels + i % channels];
      }
      (void)frames;
    };
    return b;
  }
};

synth::MemorySource sine(double seconds, int channels = 1, double rate = 48000) {
  std::vector<synth::Samples> c(static_cast<std::size_t>(channels),
                                synth::Samples(synth::count(seconds, rate)));
  for (std::size_t k = 0; k < c.size(); ++k)
    synth::add_sine(c[k], rate, 1000.0 + 100.0 * static_cast<double>(k), -6);
  return {rate, std::move(c)};
}

TEST(Session, TakesInExactlyWhatTheDeviceGave) {
  fake::System system(counting_input());
  Session session(system, {.from = system.behaviour.devices[0]}, system);
  EXPECT_EQ(session.inputs(), 2);
  EXPECT_EQ(session.rate_hz(), 48000);
  fake::MemorySink sink;
  const Outcome o = session.run({.take = &sink, .seconds = 3.21});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_EQ(o.line, "");
  EXPECT_FALSE(o.facts.interrupted);
  EXPECT_FALSE(o.facts.tainted());
  EXPECT_EQ(o.facts.device, "ALSA: Counter card (hw:1,0)");
  EXPECT_EQ(o.facts.frames, 154080U);  // not a whole number of periods
  ASSERT_EQ(sink.samples.size(), 2U * 154080);
  for (std::size_t n = 0; n < 154080; ++n) {
    ASSERT_EQ(sink.samples[2 * n], mark(n, 0)) << n;
    ASSERT_EQ(sink.samples[2 * n + 1], mark(n, 1)) << n;
  }
}

TEST(Session, FullDuplexIsAlignedAndBitExact) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  const SoundDevice card = system.behaviour.devices[0];
  Session session(system, {.from = card, .to = card}, system);
  EXPECT_TRUE(session.full_duplex());
  auto source = sine(2.0, 2);
  fake::MemorySink sink;
  const Outcome o = session.run({.send = &source, .take = &sink, .tail_s = 0.25});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_TRUE(o.aligned);
  EXPECT_EQ(o.facts.xruns, 0U);
  EXPECT_EQ(o.sent, 96000U);
  ASSERT_EQ(sink.samples.size(), 2U * (96000 + 12000));
  auto again = sine(2.0, 2);
  std::vector<float> sent(2 * 96000);
  ASSERT_EQ(again.read(sent), 96000U);
  for (std::size_t i = 0; i < sent.size(); ++i) ASSERT_EQ(sink.samples[i + 2 * loop.lag], sent[i]) << i;
  for (std::size_t i = sent.size() + 2 * loop.lag; i < sink.samples.size(); ++i)
    ASSERT_EQ(sink.samples[i], 0.0F);
}

TEST(Session, MonoGoesToEveryOutput) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  Session session(system, {.to = system.behaviour.devices[0]}, system);
  auto source = sine(0.5);
  const Outcome o = session.run({.send = &source});
  EXPECT_EQ(o.end, End::Complete);
  ASSERT_GE(loop.sent->size(), 2U * 24000);
  for (std::size_t n = 0; n < 24000; ++n) ASSERT_EQ((*loop.sent)[2 * n], (*loop.sent)[2 * n + 1]);
}

TEST(Session, AStopFadesTheOutput) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  Session session(system, {.to = system.behaviour.devices[0]}, system);
  auto source = sine(10);
  StopFlag stop = false;
  system.on_sleep = [&] {
    if (system.now() > std::chrono::seconds(1)) stop = true;
  };
  const Outcome o = session.run({.send = &source, .stop = &stop});
  EXPECT_EQ(o.end, End::Stopped);
  EXPECT_NE(o.line.find("stopped after"), std::string::npos);
  EXPECT_LT(o.sent, 60000U);
  // No step larger than the tone itself makes: a click would be one. (1 kHz at 48 kHz: 2 pi 1000/48000 of the
  // peak.)
  const double steepest = 2 * std::numbers::pi * 1000 / 48000 * 0.502 * 1.05;
  for (std::size_t n = 1; n < loop.sent->size() / 2; ++n) {
    ASSERT_LE(std::abs((*loop.sent)[2 * n] - (*loop.sent)[2 * n - 2]), steepest) << n;
  }
  EXPECT_NEAR(loop.sent->back(), 0.0F, 1e-6F);
}

TEST(Session, ALengthGivenEndsTheSignalWithAFade) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  Session session(system, {.to = system.behaviour.devices[0]}, system);
  auto source = sine(10);
  const Outcome o = session.run({.send = &source, .seconds = 1.0});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_NEAR(static_cast<double>(o.sent), 48000, 480);
  EXPECT_EQ((*loop.sent)[2 * 48000], 0.0F);
  EXPECT_GT(std::abs((*loop.sent)[2 * 45000 + 12]), 0.01F);
}

// Seen on a busy machine: the last period of a sent tone came too late, was not heard, and nobody was told.
TEST(Session, WhatIsSentIsPlayedOutAndAGapInTheLastOfItIsTold) {
  const LoopBack loop;
  fake::Behaviour b = loop.behaviour();
  b.latency_s = 0.1;
  b.flags = [](std::uint64_t at) { return BufferFlags{.input_lost = false, .output_lost = at == 48000}; };
  fake::System system(b);
  auto signal = sine(1);
  Session session(system, {.to = b.devices[0], .rate_hz = 48000}, system);
  const Outcome o = session.run({.send = &signal});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_EQ(o.sent, 48000U);
  EXPECT_EQ(o.facts.xruns, 1U);
  EXPECT_GE(loop.sent->size() / 2, 48000U + 4800U);
}

// Seen with a path that leads back into itself: the driver's word on its latency grew without end, and the
// capture stood at "11 of 11 s" for as long.
TEST(Session, AnAbsurdLatencyDoesNotHoldUpTheEnd) {
  const LoopBack loop;
  fake::Behaviour b = loop.behaviour();
  b.latency_s = 3600;
  fake::System system(b);
  auto signal = sine(1);
  Session session(system, {.from = b.devices[0], .to = b.devices[0], .rate_hz = 48000}, system);
  fake::MemorySink sink;
  StopFlag stop = false;
  system.on_sleep = [&] { stop = system.now() >= std::chrono::seconds(10); };
  const Outcome o = session.run({.send = &signal, .take = &sink, .stop = &stop});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_LT(system.now(), std::chrono::seconds(5));
}

TEST(Session, StoppedByHandKeepsWhatWasTaken) {
  fake::System system(counting_input());
  Session session(system, {.from = system.behaviour.devices[0]}, system);
  StopFlag stop = false;
  system.on_sleep = [&] {
    if (system.now() >= std::chrono::seconds(2)) stop = true;
  };
  fake::MemorySink sink;
  const Outcome o = session.run({.take = &sink, .seconds = 60, .stop = &stop});
  EXPECT_EQ(o.end, End::Stopped);
  EXPECT_TRUE(o.facts.interrupted);
  ASSERT_EQ(o.facts.notes.size(), 1U);
  EXPECT_NE(o.facts.notes[0].find("of 60.0 s"), std::string::npos);
  EXPECT_EQ(sink.samples.size() / 2, o.facts.frames);
  EXPECT_NEAR(o.facts.duration_s(), 2.0, 0.05);
}

class DeviceLoss : public testing::TestWithParam<bool> {};

TEST_P(DeviceLoss, IsNoticedAndWhatWasTakenIsKept) {
  fake::Behaviour b = counting_input();
  b.dies_at = 48000;
  b.admits_death = GetParam();
  fake::System system(b);
  fake::MemorySink sink;
  {
    Session session(system, {.from = b.devices[0]}, system);
    const Outcome o = session.run({.take = &sink, .seconds = 60});
    EXPECT_EQ(o.end, End::DeviceLost);
    EXPECT_TRUE(o.facts.interrupted);
    EXPECT_EQ(o.facts.frames, 48000U);
    EXPECT_NE(o.line.find("Counter card"), std::string::npos);
    EXPECT_NE(o.line.find("what was taken is kept"), std::string::npos);
  }
  EXPECT_EQ(sink.samples.size(), 2U * 48000);
  EXPECT_EQ(system.abandoned, 1) << "closing must not wait for a device that is gone";
  // A silent driver is given two seconds, one that admits it is not.
  EXPECT_NEAR(std::chrono::duration<double>(system.now()).count(), GetParam() ? 1.0 : 3.0, 0.1);
}

INSTANTIATE_TEST_SUITE_P(SilentOrSaid, DeviceLoss, testing::Bool());

TEST(Session, ADeviceThatNeverCallsIsLost) {
  fake::Behaviour b = counting_input();
  b.dies_at = 0;
  fake::System system(b);
  Session session(system, {.from = b.devices[0]}, system);
  fake::MemorySink sink;
  const Outcome o = session.run({.take = &sink, .seconds = 1});
  EXPECT_EQ(o.end, End::DeviceLost);
  EXPECT_EQ(o.facts.frames, 0U);
}

TEST(Session, AGapFlaggedOnEveryPartOfALongBufferIsOneGap) {
  fake::Behaviour b = counting_input();
  b.flags = [](std::uint64_t at) {
    const bool late = (at >= 4800 && at < 4800 + 4096) || (at >= 24000 && at < 24000 + 4096);
    return BufferFlags{.input_lost = late, .output_lost = late};
  };
  fake::System system(b);
  fake::MemorySink sink;
  Session session(system, {.from = b.devices[0]}, system);
  EXPECT_EQ(session.run({.take = &sink, .seconds = 1}).facts.xruns, 2U);
}

TEST(Session, XrunsAreCounted) {
  fake::Behaviour b = counting_input();
  b.flags = [](std::uint64_t at) {
    return BufferFlags{.input_lost = at == 4800 || at == 9600, .output_lost = at == 14400};
  };
  fake::System system(b);
  fake::MemorySink sink;
  Session session(system, {.from = b.devices[0]}, system);
  const Outcome o = session.run({.take = &sink, .seconds = 1});
  EXPECT_EQ(o.facts.xruns, 2U);  // an output's gap is no matter for a capture
  EXPECT_TRUE(o.facts.tainted());
  EXPECT_EQ(o.end, End::Complete);
}

TEST(Session, AStalledDiskIsSaidAsDroppedSamples) {
  fake::System system(counting_input());
  Session session(system, {.from = system.behaviour.devices[0]}, system);
  struct Stalling final : SampleSink {
    fake::System& system;
    std::size_t frames = 0;
    bool stalled = false;
    explicit Stalling(fake::System& s) : system(s) {}
    void write(std::span<const float> x) override {
      frames += x.size() / 2;
      if (!stalled && frames > 48000) {
        stalled = true;
        for (int i = 0; i < 500; ++i) system.sleep(std::chrono::milliseconds(10));
      }
    }
  } sink(system);
  const Outcome o = session.run({.take = &sink, .seconds = 20});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_GT(o.facts.dropped, 48000U);
  EXPECT_TRUE(o.facts.tainted());
  EXPECT_EQ(o.facts.frames + o.facts.dropped, 960000U);
  EXPECT_EQ(sink.frames, o.facts.frames);
}

TEST(Session, DiskFullEndsItAndKeepsTheRest) {
  fake::System system(counting_input());
  Session session(system, {.from = system.behaviour.devices[0]}, system);
  fake::MemorySink sink;
  sink.limit = 100000;
  const Outcome o = session.run({.take = &sink, .seconds = 20});
  EXPECT_EQ(o.end, End::StorageFailed);
  EXPECT_TRUE(o.facts.interrupted);
  EXPECT_NE(o.line.find("disk is full"), std::string::npos);
  EXPECT_EQ(sink.samples.size() / 2, o.facts.frames);
  EXPECT_GT(o.facts.frames, 40000U);
}

TEST(Session, TwoHostApisMeanTwoStreams) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  Session session(system, {.from = system.behaviour.devices[2], .to = system.behaviour.devices[0]}, system);
  EXPECT_FALSE(session.full_duplex());
  EXPECT_EQ(system.opened, 2);
  auto source = sine(1);
  fake::MemorySink sink;
  const Outcome o = session.run({.send = &source, .take = &sink});
  EXPECT_EQ(o.end, End::Complete);
  EXPECT_FALSE(o.aligned);
  ASSERT_EQ(o.facts.notes.size(), 2U);  // clocks of their own; OSS is reached through a mixer
  EXPECT_EQ(o.facts.frames, 72000U);
}

TEST(Session, TwoCardsThatDoNotCoupleAreOpenedApart) {
  fake::Behaviour b = counting_input();
  b.refuses_duplex = true;
  fake::System system(b);
  Session session(system, {.from = b.devices[1], .to = b.devices[0]}, system);
  EXPECT_FALSE(session.full_duplex());
  EXPECT_EQ(session.inputs(), 1);
  EXPECT_THROW(Session(system, {.from = b.devices[0], .to = b.devices[0]}, system), Error);
}

TEST(Session, RefusesWhatDoesNotFit) {
  fake::System system(counting_input());
  const auto& d = system.behaviour.devices;
  EXPECT_THROW(Session(system, {.from = d[1], .inputs = 2}, system), Error);
  EXPECT_THROW(Session(system, {.from = d[0], .rate_hz = 22050}, system), Error);
  EXPECT_THROW(Session(system, {.from = d[0], .rate_hz = 5}, system), Error);
  EXPECT_THROW(Session(system, {}, system), Error);
  auto slow = sine(1, 1, 44100);
  Session session(system, {.to = d[0]}, system);
  EXPECT_THROW((void)session.run({.send = &slow}), Error);
}

TEST(Session, ABrokenSourceEndsWithItsErrorAndAFade) {
  const LoopBack loop;
  fake::System system(loop.behaviour());
  Session session(system, {.to = system.behaviour.devices[0]}, system);
  struct Broken final : AudioSource {
    synth::MemorySource inner = sine(10);
    int reads = 0;  // the ring holds 32 blocks before the start
    [[nodiscard]] const CaptureFacts& facts() const override { return inner.facts(); }
    std::size_t read(std::span<float> x) override {
      if (++reads > 60) throw unusable("signal.wav: infinite sample at 2.5 s; make it again");
      return inner.read(x);
    }
  } source;
  EXPECT_THROW((void)session.run({.send = &source}), Error);
  ASSERT_FALSE(loop.sent->empty());
  EXPECT_NEAR(loop.sent->back(), 0.0F, 1e-6F);
}

TEST(Session, TheWatchSeesLevels) {
  fake::Behaviour b;
  b.path = [](std::uint64_t, std::size_t, std::vector<float>& in, const std::vector<float>&) {
    for (std::size_t i = 0; i < in.size(); ++i) in[i] = i % 2 == 0 ? 0.5F : -0.25F;
  };
  fake::System system(b);
  Session session(system, {.from = b.devices[0]}, system);
  fake::MemorySink sink;
  int looks = 0;
  const auto watch = [&](const SessionStatus& s) {
    ++looks;
    ASSERT_EQ(s.levels.size(), 2U);
    EXPECT_EQ(s.levels[0].peak, 0.5F);
    EXPECT_NEAR(s.levels[1].rms, 0.25, 1e-9);
    EXPECT_EQ(s.total_s, 3.0);
  };
  (void)session.run({.take = &sink, .seconds = 3, .watch = watch});
  EXPECT_NEAR(looks, 29, 2);
}

TEST(ChooseDevice, ByIdentityNameOrAnyUniquePart) {
  const std::vector<SoundDevice> devices{{"ALSA", "Counter card (hw:1,0)", 2, 2, 48000},
                                         {"ALSA", "Counter card 2 (hw:2,0)", 2, 0, 48000},
                                         {"JACK", "system", 2, 2, 48000},
                                         {"OSS", "system", 0, 2, 48000}};
  EXPECT_EQ(&choose_device(devices, "ALSA: Counter card (hw:1,0)", Direction::Input), devices.data());
  EXPECT_EQ(&choose_device(devices, "counter CARD 2", Direction::Input), &devices[1]);
  EXPECT_EQ(&choose_device(devices, "counter", Direction::Output), devices.data())
      << "only one of them has an output";
  EXPECT_EQ(&choose_device(devices, "jack", Direction::Output), &devices[2]);
  EXPECT_EQ(&choose_device(devices, "system", Direction::Input), &devices[2]);
  const auto code = [&](std::string_view text, Direction d) {
    try {
      (void)choose_device(devices, text, d);
    } catch (const Error& e) {
      return e.exit();
    }
    return Exit::Ok;
  };
  EXPECT_EQ(code("system", Direction::Output), Exit::Usage) << "ambiguous";
  EXPECT_EQ(code("counter", Direction::Input), Exit::Usage) << "ambiguous";
  EXPECT_EQ(code("", Direction::Input), Exit::Usage);
  EXPECT_EQ(code("3", Direction::Input), Exit::Unusable) << "a number is no name";
  EXPECT_EQ(code("hw:2,0", Direction::Output), Exit::Unusable) << "has no output";
  EXPECT_THROW((void)choose_device({}, "any", Direction::Input), Error);
}

}  // namespace
