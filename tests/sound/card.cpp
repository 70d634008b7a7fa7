// Through PortAudio and a real sound server: the virtual card that tests/sound_card.sh starts.
// With LINEBENCH_TEST_SOUND=1 a missing card is a failure; without it the tests are skipped, loudly.
#include "sound/card.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <linebench/base/error.hpp>
#include <linebench/capture/session.hpp>

#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::capture;

class Card : public testing::Test {
 protected:
  void SetUp() override { REQUIRE_SOUND_CARD(); }
};

class KeepSink final : public SampleSink {
 public:
  void write(std::span<const float> x) override { samples.insert(samples.end(), x.begin(), x.end()); }
  std::vector<float> samples;
};

synth::MemorySource programme(double rate, double seconds) {
  std::vector<synth::Samples> c(2, synth::Samples(synth::count(seconds, rate)));
  synth::add_noise(c[0], -20, 11);
  synth::add_noise(c[1], -20, 12);
  synth::add_sine(c[0], rate, 997, -10);
  return {rate, std::move(c)};
}

TEST_F(Card, IsListedByHostAndNameWithItsRate) {
  auto system = open_sound_system();
  const auto devices = system->devices();
  const SoundDevice& card = choose_device(devices, "JACK: loopback", Direction::Input);
  EXPECT_EQ(card.inputs, 2);
  EXPECT_EQ(card.outputs, 2);
  EXPECT_TRUE(card.direct());
  const auto rates = system->rates(card, Direction::Output, 2);
  EXPECT_EQ(rates, std::vector<double>{card.default_rate_hz});
}

TEST_F(Card, FullDuplexIsBitExactWithNoXruns) {
  auto system = open_sound_system();
  const auto devices = system->devices();
  const SoundDevice& card = choose_device(devices, "JACK: loopback", Direction::Input);
  KeepSink sink;
  Outcome o;
  double rate = 0;
  sound_test::until_no_gaps([&] {
    Session session(*system, {.from = card, .to = card});
    EXPECT_TRUE(session.full_duplex());
    rate = session.rate_hz();
    auto source = programme(rate, 2.0);
    sink.samples.clear();
    o = session.run({.send = &source, .take = &sink});
    return o.facts.xruns + o.facts.dropped;
  });
  EXPECT_EQ(o.end, End::Complete) << o.line;
  EXPECT_EQ(o.facts.xruns, 0U);
  EXPECT_EQ(o.facts.dropped, 0U);
  EXPECT_TRUE(o.aligned);
  auto again = programme(rate, 2.0);
  std::vector<float> sent(2 * again.facts().frames);
  ASSERT_EQ(again.read(sent), again.facts().frames);
  // The lag is the driver's buffering; every sample after it must be the one that was sent, bit for bit.
  const auto found = std::search(sink.samples.begin(), sink.samples.end(), sent.begin(), sent.begin() + 64);
  ASSERT_NE(found, sink.samples.end());
  const auto lag = static_cast<std::size_t>(found - sink.samples.begin());
  std::printf("  lag %zu frames\n", lag / 2);
  EXPECT_EQ(lag % 2, 0U);
  EXPECT_LE(lag / 2, 16384U);
  ASSERT_GE(sink.samples.size(), lag + sent.size());
  EXPECT_EQ(std::memcmp(sink.samples.data() + lag, sent.data(), sent.size() * sizeof(float)), 0);
}

TEST_F(Card, CaptureAloneTakesExactlyTheTimeAskedFor) {
  auto system = open_sound_system();
  const auto devices = system->devices();
  const SoundDevice& card = choose_device(devices, "JACK: system", Direction::Input);
  KeepSink sink;
  Outcome o;
  sound_test::until_no_gaps([&] {
    Session session(*system, {.from = card, .inputs = 1});
    sink.samples.clear();
    o = session.run({.take = &sink, .seconds = 0.5});
    return o.facts.xruns + o.facts.dropped;
  });
  EXPECT_EQ(o.end, End::Complete) << o.line;
  EXPECT_EQ(sink.samples.size(), static_cast<std::size_t>(card.default_rate_hz / 2));
  EXPECT_EQ(o.facts.xruns, 0U);
}

TEST_F(Card, ARateTheDeviceRefusesIsSaidWithTheOnesItTakes) {
  auto system = open_sound_system();
  const auto devices = system->devices();
  const SoundDevice& card = choose_device(devices, "JACK: loopback", Direction::Input);
  const double wrong = card.default_rate_hz == 96000 ? 48000 : 96000;
  try {
    Session session(*system, {.from = card, .rate_hz = wrong});
    FAIL() << "accepted";
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    EXPECT_NE(std::string(e.what()).find(std::to_string(static_cast<int>(card.default_rate_hz))),
              std::string::npos)
        << e.what();
  }
}

TEST_F(Card, CanBeUsedTwiceInARow) {
  for (int i = 0; i < 3; ++i) {
    auto system = open_sound_system();
    const auto devices = system->devices();
    const SoundDevice& card = choose_device(devices, "JACK: loopback", Direction::Output);
    Session session(*system, {.to = card});
    auto source = programme(session.rate_hz(), 0.2);
    EXPECT_EQ(session.run({.send = &source}).end, End::Complete);
  }
}

}  // namespace
