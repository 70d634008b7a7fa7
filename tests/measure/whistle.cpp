// Line whistle against closed forms.
#include <gtest/gtest.h>

#include <linebench/base/decibel.hpp>
#include <linebench/measure/whistle.hpp>

#include "support/coverage.hpp"
#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

WhistleResult whistle_of(const synth::Samples& x, double rate) {
  WhistleAnalyser a(rate);
  for (std::size_t at = 0; at < x.size(); at += 5000) {
    a.push(std::span(x).subspan(at, std::min<std::size_t>(5000, x.size() - at)));
  }
  return a.finish();
}

TEST(Whistle, BothLineRatesAtEveryRate) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    for (const double hz : {15625.0, 15734.266, 15625.0 * 1.0009, 15734.266 * 0.9991}) {
      synth::Samples x(synth::count(12.0, rate), 0.0F);
      synth::add_noise(x, -80.0, 4);
      synth::add_sine(x, rate, 1000.0, -20.0);
      synth::add_sine(x, rate, hz, -85.0, 0.3);
      const WhistleResult r = whistle_of(x, rate);
      ASSERT_TRUE(r.found) << rate << " " << hz;
      EXPECT_NEAR(r.frequency_hz, hz, 0.005);
      EXPECT_NEAR(dbfs_from_power(r.power), -85.0, 0.2);
    }
  }
}

TEST(Whistle, OtherTonesAndNoiseAreNone) {
  int found = 0;
  for (unsigned seed = 0; seed < 60; ++seed) {
    synth::Samples x(synth::count(seed % 2 == 0 ? 1.0 : 4.0, 48000), 0.0F);
    synth::add_noise(x, -60.0, seed);
    synth::add_sine(x, 48000, 15680.0, -30.0);  // between the two
    synth::add_sine(x, 48000, 15560.0, -30.0);
    synth::add_sine(x, 48000, 5208.333, -30.0);  // a third of 15625
    synth::add_sine(x, 48000, 15625.0 - 4 * 400, -20.0);
    found += whistle_of(x, 48000).found ? 1 : 0;
  }
  EXPECT_EQ(found, 0);
}

// Rounding to 16 bits without dither: a tone whose period is a whole second of samples leaves a comb of 1 Hz,
// one line of it beside each line rate.
TEST(Whistle, QuantisationAndSilenceAreNone) {
  synth::Samples x(synth::count(10.0, 48000), 0.0F);
  const auto none = [&] {
    const WhistleResult r = whistle_of(x, 48000);
    EXPECT_FALSE(r.found) << r.frequency_hz << " Hz " << dbfs_from_power(r.power);
    EXPECT_GE(dbfs_from_power(r.least_power), -150.0);
    return dbfs_from_power(r.least_power);
  };
  none();
  synth::add_sine(x, 48000, 1000.0, -1.0);
  none();
  x.assign(x.size(), 0.0F);
  synth::add_sine(x, 48000, 997.0, -20.0);
  for (float& v : x) v = std::round(v * 32768.0F) / 32768.0F;
  EXPECT_GT(none(), -135.0);
  // A real one is still found over it.
  synth::add_sine(x, 48000, 15625.0, -100.0);
  EXPECT_TRUE(whistle_of(x, 48000).found);
}

// A dimmer cuts both half periods alike: odd multiples of the mains as far as its edges reach (Fourier series
// of a wave that turns its sign after half a period). One of them always lies near a line rate.
TEST(Whistle, MultiplesOfTheMainsAreNone) {
  for (const double mains : {49.95, 49.98, 50.02, 59.96, 60.02}) {
    const auto comb = [&](double db) {
      synth::Samples x(synth::count(8.0, 48000), 0.0F);
      synth::add_noise(x, -80.0, 9);
      for (int k = 261; k < 330; k += 2) synth::add_sine(x, 48000, mains * k, db, 0.1 * k);
      return x;
    };
    const WhistleResult none = whistle_of(comb(-75.0), 48000);
    EXPECT_FALSE(none.found) << mains << ": " << none.frequency_hz << " Hz " << dbfs_from_power(none.power);
    // One that stands above them is heard through them.
    synth::Samples x = comb(-95.0);
    synth::add_sine(x, 48000, 15625.0, -75.0);
    const WhistleResult real = whistle_of(x, 48000);
    ASSERT_TRUE(real.found) << mains;
    EXPECT_NEAR(dbfs_from_power(real.power), -75.0, 0.5);
  }
}

// The picture's field blanking modulates it: side lines of a few hundredths of its power.
TEST(Whistle, ItsOwnSideLinesAreNoComb) {
  synth::Samples x(synth::count(8.0, 48000), 0.0F);
  synth::add_noise(x, -80.0, 9);
  synth::add_sine(x, 48000, 15625.0, -70.0);
  for (const double side : {-100.0, -50.0, 50.0, 100.0})
    synth::add_sine(x, 48000, 15625.0 + side, -80.0, side);
  const WhistleResult r = whistle_of(x, 48000);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(dbfs_from_power(r.power), -70.0, 0.2);
}

TEST(Whistle, SaysWhyItCannot) {
  const synth::Samples x(synth::count(2.0, 32000), 0.0F);
  const Readings low = to_readings(whistle_of(x, 32000), "");
  EXPECT_NE(find_reading(low, "audio.whistle.level")->reason.find("sample rate"), std::string::npos);
  const Readings brief = to_readings(whistle_of(synth::Samples(9600, 0.0F), 48000), "");
  EXPECT_NE(find_reading(brief, "audio.whistle.level")->reason.find("too short"), std::string::npos);
  const Readings none = to_readings(whistle_of(synth::Samples(96000, 0.0F), 48000), ".left");
  EXPECT_TRUE(find_reading(none, "audio.whistle.level.left")->at_most.has_value());
}

TEST(Whistle, Coverage) {
  std::vector<WhistleResult> runs;
  for (unsigned seed = 1; seed <= coverage::trials(200); ++seed) {
    synth::Samples x(synth::count(1.0, 44100), 0.0F);
    synth::add_noise(x, -50.0, seed);
    synth::add_sine(x, 44100, 15625.0 + 0.05 * seed, -60.0, 0.1 * seed);
    runs.push_back(whistle_of(x, 44100));
  }
  coverage::expect_coverage("whistle frequency, Hz", 200, [&](unsigned seed) -> coverage::Trial {
    return {runs[seed - 1].frequency_hz, 2 * runs[seed - 1].frequency_u, 15625.0 + 0.05 * seed};
  });
  coverage::expect_coverage("whistle level, dB", 200, [&](unsigned seed) -> coverage::Trial {
    const WhistleResult& r = runs[seed - 1];
    return {dbfs_from_power(r.power), 8.686 * r.power_u / r.power, -60.0};
  });
}

}  // namespace
