// Mobile-phone bursts made from the frame structure: a slot of 15/26 ms in each frame of 120/26 ms, the 26th
// frame of each multiframe idle [ETSI TS 145 002; frame lengths from memory].
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/interference.hpp>
#include <linebench/measure/phone_burst.hpp>
#include <numbers>

#include "support/disturbance_synth.hpp"
#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;
using disturbance_synth::add_bursts;

PhoneBurstResult bursts_of(const synth::Samples& x, double rate) {
  PhoneBurstAnalyser a(rate);
  for (std::size_t at = 0; at < x.size(); at += 4096) {
    a.push(std::span(x).subspan(at, std::min<std::size_t>(4096, x.size() - at)));
  }
  return a.finish();
}

TEST(PhoneBurst, FoundWithItsRateAtEveryRateOfSampling) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double length : {0.7, 3.0}) {
      synth::Samples x(synth::count(8.0, rate), 0.0F);
      synth::add_noise(x, -70.0, 2);
      for (int k = 1; k < 20; ++k) synth::add_sine(x, rate, 50.0 * k, -60.0, k);
      add_bursts(x, rate, 0.02, 3.1, length);
      const PhoneBurstResult r = bursts_of(x, rate);
      ASSERT_TRUE(r.found) << rate << " " << length;
      EXPECT_NEAR(r.rate_hz, 26.0 / 0.12, 2 * r.rate_u);
      EXPECT_LT(r.rate_u, 0.06);
      EXPECT_NEAR(r.first_s, 3.1, 0.25);
      EXPECT_NEAR(r.burst_seconds, length, 0.45);
      // Fourier series of the pulses: line k has amplitude 2 d sinc(k d) x height, d = 1/8, 25 frames of 26.
      double power = 0;
      for (int k = 1; k <= 10; ++k) {
        const double a = k * std::numbers::pi / 8.0;
        power += 0.5 * std::pow(2.0 / 8.0 * std::sin(a) / a * 0.02 * 25.0 / 26.0, 2);
      }
      EXPECT_NEAR(dbfs_from_power(r.power), dbfs_from_power(power), length > 1 ? 1.0 : 2.0);
    }
  }
}

TEST(PhoneBurst, MainsVoiceTonesAndNoiseAreNot) {
  constexpr double rate = 16000;
  for (const double f0 : {49.93, 50.0, 60.0, 54.1667}) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_noise(x, -80.0, 2);
    for (int k = 1; k < 40; ++k) synth::add_sine(x, rate, f0 * k, -50.0, k * k);
    EXPECT_FALSE(bursts_of(x, rate).found) << f0;
  }
  for (unsigned seed = 0; seed < 20; ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_voice(x, rate, 216.67, -20.0, seed);
    synth::add_noise(x, -70.0, seed);
    EXPECT_FALSE(bursts_of(x, rate).found) << seed;
  }
  synth::Samples x(synth::count(5.0, rate), 0.0F);
  EXPECT_FALSE(bursts_of(x, rate).found);
  synth::add_sine(x, rate, 216.67, -10.0);
  synth::add_sine(x, rate, 650.0, -10.0);
  EXPECT_FALSE(bursts_of(x, rate).found);
  EXPECT_TRUE(bursts_of(synth::Samples(4000, 0.0F), rate).too_short);
}

TEST(PhoneBurst, UnderAVoice) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_voice(x, rate, 120.0, -26.0, 3);
  synth::add_noise(x, -80.0, 2);
  add_bursts(x, rate, 0.3, 4.0, 2.0);
  const PhoneBurstResult r = bursts_of(x, rate);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.rate_hz, 26.0 / 0.12, 0.1);
}

TEST(Interference, OnePassGivesWhatThePartsGive) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(6.0, rate), 0.0F);
  synth::add_noise(x, -80.0, 2);
  synth::add_sine(x, rate, 50.02, -50.0);
  synth::add_sine(x, rate, 15625.0, -60.0);
  add_bursts(x, rate, 0.02, 3.0, 1.5);
  x[48000] += 0.5F;
  InterferenceAnalyser a(rate, {});
  a.push(x);
  const Readings r = to_readings(a.finish(), ".left");
  EXPECT_NEAR(find_reading(r, "audio.hum.frequency.left")->number(), 50.02, 0.002);
  EXPECT_NEAR(find_reading(r, "audio.whistle.level.left")->number(), -60.0, 0.1);
  EXPECT_NEAR(find_reading(r, "audio.phone_burst.rate.left")->number(), 216.67, 0.1);
  EXPECT_NEAR(find_reading(r, "audio.click.times.left")->curve().x.at(0), 1.0, 0.001);
  EXPECT_EQ(find_reading(r, "audio.clip.samples.left")->number(), 0.0);
}

}  // namespace
