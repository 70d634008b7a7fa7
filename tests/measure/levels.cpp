#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <linebench/base/error.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/levels.hpp>

#include "support/coverage.hpp"
#include "support/synth.hpp"

namespace lb = linebench;
using lb::measure::measure_audio;

namespace {

double value(const lb::Readings& r, const char* id) {
  const lb::Reading* found = lb::find_reading(r, id);
  if (found == nullptr || !found->measured()) {
    ADD_FAILURE() << id << ": " << (found == nullptr ? "missing" : found->reason);
    return std::numeric_limits<double>::quiet_NaN();
  }
  return found->number();
}

lb::Readings measure(double rate, std::vector<synth::Samples> channels) {
  synth::MemorySource source(rate, std::move(channels));
  return measure_audio(source, {});
}

}  // namespace

// AES17: a full-scale sine at 997 Hz is 0 dBFS; its crest factor is sqrt 2 = 3.01 dB.
TEST(Levels, FullScaleSineIsZeroDbfs) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    synth::Samples x(synth::count(2.0, rate));
    synth::add_sine(x, rate, 997.0, 0.0);
    const auto r = measure(rate, {x});
    EXPECT_NEAR(value(r, "audio.level.rms"), 0.0, 0.002);
    EXPECT_NEAR(value(r, "audio.level.peak"), 0.0, 0.002);
    EXPECT_NEAR(value(r, "audio.level.crest"), 3.0103, 0.003);
    EXPECT_LT(*lb::find_reading(r, "audio.level.rms")->uncertainty, 0.02);
  }
}

TEST(Levels, DcIsTakenOutOfRmsAndReported) {
  synth::Samples x(48000, 0.25F);
  synth::add_sine(x, 48000, 1000, -40.0);
  const auto r = measure(48000, {x});
  EXPECT_NEAR(value(r, "audio.level.rms"), -40.0, 0.001);
  EXPECT_NEAR(value(r, "audio.level.dc"), 0.25, 1e-6);
  EXPECT_NEAR(value(r, "audio.level.peak"), 20 * std::log10(0.26), 0.001);
  EXPECT_NEAR(value(r, "audio.level.crest"), 3.0103, 0.003);
}

TEST(Levels, StereoReadingsCarryTheSide) {
  synth::Samples left(48000);
  synth::Samples right(48000);
  synth::add_sine(left, 48000, 1000, -20.0);
  synth::add_sine(right, 48000, 1000, -30.0);
  const auto r = measure(48000, {left, right});
  EXPECT_NEAR(value(r, "audio.level.rms.left"), -20.0, 0.001);
  EXPECT_NEAR(value(r, "audio.level.rms.right"), -30.0, 0.001);
  EXPECT_EQ(lb::find_reading(r, "audio.level.rms"), nullptr);
}

TEST(Levels, VoltageNeedsACalibration) {
  synth::Samples x(48000);
  synth::add_sine(x, 48000, 1000, 0.0);
  synth::MemorySource source(48000, {x});
  // 1.0 stands for 1.7362 V peak: a full-scale sine is 1.2277 V rms, which is +4 dBu.
  source.edit_facts().full_scale_v = std::sqrt(2.0) * std::sqrt(0.6) * std::pow(10.0, 4.0 / 20.0);
  EXPECT_NEAR(value(measure_audio(source, {}), "audio.level.voltage"), 4.0, 0.002);
  const auto plain = measure(48000, {x});
  EXPECT_FALSE(lb::find_reading(plain, "audio.level.voltage")->measured());
}

TEST(Levels, SilenceIsSaidNotGuessed) {
  synth::MemorySource source(48000, {synth::Samples(48000)});
  source.edit_facts().format = "WAV, 16 bit";
  const auto r = measure_audio(source, {});
  const lb::Reading* rms = lb::find_reading(r, "audio.level.rms");
  ASSERT_NE(rms, nullptr);
  EXPECT_FALSE(rms->measured());
  EXPECT_NE(rms->reason.find("digital silence"), std::string::npos);
  EXPECT_NEAR(*rms->at_most, 20 * std::log10(std::sqrt(2.0) / 65536.0), 0.01);
}

TEST(Levels, TooShortOrEmptyIsUnusable) {
  EXPECT_THROW(measure(48000, {synth::Samples()}), lb::Error);
  EXPECT_THROW(measure(48000, {synth::Samples(4000, 0.1F)}), lb::Error);
}

TEST(Levels, NotANumberIsNamedWithItsTime) {
  synth::Samples x(48000);
  synth::add_sine(x, 48000, 1000, -6.0);
  x[24000] = std::numeric_limits<float>::quiet_NaN();
  try {
    (void)measure(48000, {x});
    FAIL() << "NaN was accepted";
  } catch (const lb::Error& e) {
    EXPECT_EQ(e.exit(), lb::Exit::Unusable);
    EXPECT_NE(std::string(e.what()).find("0.5000 s"), std::string::npos) << e.what();
  }
}

TEST(Levels, GapsAreSaidWithEachValue) {
  synth::Samples x(48000);
  synth::add_sine(x, 48000, 1000, -6.0);
  synth::MemorySource source(48000, {x});
  source.edit_facts().xruns = 2;
  const auto r = measure_audio(source, {});
  EXPECT_NE(lb::find_reading(r, "audio.level.rms")->reason.find("2 overruns"), std::string::npos);
}

TEST(Levels, RmsUncertaintyOfNoiseIsTrue) {
  for (const double seconds : {0.15, 1.0}) {
    coverage::expect_coverage("rms of white noise", 400, [&](unsigned seed) {
      synth::Samples x(synth::count(seconds, 16000));
      synth::add_noise(x, -30.0, seed);
      lb::measure::LevelAnalyser a(16000);
      a.push(x);
      const auto r = to_readings(a.finish(), {}, "");
      return coverage::Trial{r[0].number(), *r[0].uncertainty, -30.0};
    });
  }
}
