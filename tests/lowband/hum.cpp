// Hum told from the picture's comb, and said where it cannot be.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "lowband/measuring.hpp"
#include "support/coverage.hpp"

namespace {

using namespace linebench;
using lowband_synth::Card;
using lowband_synth::card_525;
using lowband_test::get;
using lowband_test::measured;

Card shaded(Card c) {
  c.rate_hz = 48000;
  c.top_mv = 560;
  c.bottom_mv = 140;
  c.coupling_hz = 10;
  return c;
}

TEST(LowbandHum, LevelAndFrequency) {
  struct Case {
    bool is_525;
    double hz, pp, third, seconds, mains;
  };
  // 60.00 Hz beside 59.94 fields needs 17 s; 800 mV is more than sync and picture together.
  for (const Case& c :
       {Case{false, 49.3, 20, 0, 4, 0}, Case{false, 50.8, 800, 0, 3, 0}, Case{true, 60.0, 30, 0.3, 25, 0},
        Case{true, 50.02, 5, 0.3, 5, 50}, Case{false, 60.1, 100, 0.2, 3, 0}}) {
    Card card = shaded(c.is_525 ? card_525() : Card{});
    card.hum_hz = c.hz;
    card.hum_pp_mv = c.pp;
    card.hum_third = c.third;
    card.phase = 1;
    card.full_scale_v = 4;
    double high = -9;
    double low = 9;
    for (int i = 0; i < 3600; ++i) {
      const double p = i * std::numbers::pi / 1800;
      const double y = std::sin(p) + c.third * std::sin(3 * p + 0.7);
      high = std::max(high, y);
      low = std::min(low, y);
    }
    const double truth = c.pp / 2 * (high - low);
    measure::LowbandOptions o;
    if (c.mains > 0) o.mains_hz = c.mains;
    const Readings r = measured(card, c.seconds, 3, o);
    const Reading& level = get(r, "video.hum.level");
    const Reading& hz = get(r, "video.hum.frequency");
    ASSERT_TRUE(level.measured()) << level.reason;
    std::printf("  %g Hz: %.3f +- %.3f mV (%.3f), %.5f +- %.5f Hz; sync %.2f +- %.2f\n", c.hz, level.number(),
                *level.uncertainty, truth, hz.number(), *hz.uncertainty,
                get(r, "video.sync.amplitude").number(), *get(r, "video.sync.amplitude").uncertainty);
    EXPECT_NEAR(level.number(), truth, 0.05 * truth);
    EXPECT_NEAR(level.number(), truth, *level.uncertainty);
    EXPECT_NEAR(hz.number(), c.hz, 0.02);
    const Reading& one = get(r, "video.hum.harmonic.1");
    EXPECT_NEAR(one.number(), c.pp, std::max(0.01 * c.pp, *one.uncertainty));
    const bool third = find_reading(r, "video.hum.harmonic.3") != nullptr;
    EXPECT_EQ(third, c.third > 0) << "the multiple that is there, and only that";
    if (third) {
      EXPECT_NEAR(get(r, "video.hum.harmonic.3").number(), c.third * c.pp,
                  std::max(0.05 * c.third * c.pp, *get(r, "video.hum.harmonic.3").uncertainty));
    }
    EXPECT_NEAR(get(r, "video.sync.amplitude").number(), card.sync_mv, 0.02 * card.sync_mv);
  }
}

TEST(LowbandHum, AtTheFieldRateItCannotBeTold) {
  Card c = shaded({});
  c.hum_hz = 50.01;
  c.hum_pp_mv = 60;
  const Readings r = measured(c, 4);
  const Reading& level = get(r, "video.hum.level");
  EXPECT_FALSE(level.measured());
  EXPECT_NE(level.reason.find("cannot be told from the picture"), std::string::npos) << level.reason;
  EXPECT_FALSE(level.at_most) << "nothing may be claimed of what cannot be seen";
  // So is hum that stands a little beside it, but nearer than the capture's length can tell.
  for (const double hz : {49.8, 50.22}) {
    c.hum_hz = hz;
    EXPECT_FALSE(get(measured(c, 4), "video.hum.level").measured()) << hz;
  }
  // With the mains known to be elsewhere, none found is a bound.
  c.hum_pp_mv = 0;
  measure::LowbandOptions o;
  o.mains_hz = 60;
  const Readings none = measured(c, 4, 2, o);
  EXPECT_FALSE(get(none, "video.hum.level").measured());
  ASSERT_TRUE(get(none, "video.hum.level").at_most);
  EXPECT_LT(*get(none, "video.hum.level").at_most, 2);
}

// Mains at 60.00 Hz beside 59.94 fields in 8 s: the fundamental is hidden, 180 Hz is not. It is the third
// multiple of 60 Hz and not the fourth of 45.
TEST(LowbandHum, AVisibleMultipleOfHiddenMainsIsNoOtherMains) {
  for (const auto& [is_525, hz] : {std::pair{true, 60.0}, {true, 60.005}, {false, 49.95}}) {
    Card c = shaded(is_525 ? card_525() : Card{});
    c.hum_hz = hz;
    c.hum_pp_mv = 40;
    c.hum_third = 0.4;
    const Readings r = measured(c, 8);
    const Reading& x = get(r, "video.hum.frequency");
    if (x.measured()) {
      EXPECT_NEAR(x.number(), hz, *x.uncertainty + 1e-4);
    } else {
      EXPECT_NE(get(r, "video.hum.level").reason.find(is_525 ? "180.0" : "149.8"), std::string::npos)
          << get(r, "video.hum.level").reason;
    }
  }
}

// Five times 60 Hz is six times 50 Hz: no part of the fit, however the search came to 60.
TEST(LowbandHum, MultipleThatFallsOnThePicture) {
  for (const double seconds : {1.9, 2.05, 2.13, 2.2, 2.3, 2.4}) {
    Card c = shaded({});
    c.coupling_hz = 4;
    c.hum_hz = 60;
    c.hum_pp_mv = 150;
    c.full_scale_v = 4;
    const Readings r = measured(c, seconds);
    std::printf("  %.2f s: %.2f +- %.2f mV\n", seconds, get(r, "video.hum.level").number(),
                *get(r, "video.hum.level").uncertainty);
    EXPECT_NEAR(get(r, "video.hum.level").number(), 150, 7.5);
  }
}

TEST(LowbandHum, LargerThanTheSignalItHidesNoVerticalSync) {
  for (const bool is_525 : {true, false}) {
    for (const double pp : {900.0, 2000.0, 3000.0}) {
      for (const double off : {-0.3, 0.0, 0.06, 1.2}) {
        for (const double phase : {0.0, 1.6, 3.1, 4.7}) {
          Card c = shaded(is_525 ? card_525() : Card{});
          c.hum_hz = (is_525 ? 60 / 1.001 : 50) + off;
          c.hum_pp_mv = pp;
          c.phase = phase;
          c.full_scale_v = 4;
          const Readings r = measured(c, 2);
          EXPECT_EQ(get(r, "video.vertical_sync").text(), "present")
              << pp << " mV, " << c.hum_hz << " Hz, phase " << phase;
          EXPECT_EQ(get(r, "video.lines_per_frame").number(), is_525 ? 525 : 625);
        }
      }
    }
  }
}

TEST(LowbandHum, UncertaintyIsTrue) {
  coverage::expect_coverage("video.hum.level", 120, [](unsigned seed) {
    Card c = shaded({});
    c.rate_hz = 44100;
    c.hum_hz = 48.2 + 0.008 * seed;
    c.hum_pp_mv = 10;
    c.noise_mv = 25;
    c.phase = seed;
    const Readings r = measured(c, 1.5, seed);
    const Reading& x = get(r, "video.hum.level");
    return coverage::Trial{x.measured() ? x.number() : 1e9, x.uncertainty.value_or(0), 10};
  });
}

}  // namespace
