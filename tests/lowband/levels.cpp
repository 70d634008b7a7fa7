// The lowband view against closed-form composite waveforms as a sound card takes them in.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <string>

#include "lowband/measuring.hpp"
#include "support/coverage.hpp"

namespace {

using namespace linebench;
using lowband_synth::Card;
using lowband_synth::card_525;
using lowband_test::get;
using lowband_test::measured;

void expect_near(const Readings& r, const std::string& id, double truth, double tolerance) {
  const Reading& x = get(r, id);
  ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
  std::printf("    %-24s %12.5f +- %.5f (%.5f)\n", id.c_str(), x.number(), x.uncertainty.value_or(0), truth);
  EXPECT_NEAR(x.number(), truth, tolerance) << id;
  EXPECT_LT(x.uncertainty.value_or(0), 3 * tolerance) << id;
}

TEST(Lowband, SyncAndPictureAtEveryRateAndCoupling) {
  for (const bool is_525 : {false, true}) {
    for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
      for (const double coupling : {2.0, 20.0}) {
        for (const double level : {70.0, 630.0}) {
          Card c = is_525 ? card_525() : Card{};
          c.rate_hz = rate;
          c.coupling_hz = coupling;
          c.top_mv = c.bottom_mv = level;
          c.start_s = 0.0123;
          std::printf("  %d lines, %g Hz, coupling %g Hz, picture %g mV\n", c.lines, rate, coupling, level);
          const Readings r = measured(c, 1.2);
          EXPECT_EQ(get(r, "video.signal").text(), "present");
          EXPECT_EQ(get(r, "video.system").text(), is_525 ? "525" : "625");
          EXPECT_EQ(get(r, "video.polarity").text(), "normal");
          EXPECT_EQ(get(r, "video.interlaced").text(), "yes");
          EXPECT_EQ(get(r, "video.lines_per_frame").number(), c.lines);
          EXPECT_EQ(get(r, "video.vertical_sync.missing").number(), 0);
          expect_near(r, "video.sync.amplitude", c.sync_mv, 0.015 * c.sync_mv);
          expect_near(r, "video.line.frequency", c.line_hz, 3e-6 * c.line_hz);
          expect_near(r, "video.field.frequency", c.field_hz(), 5e-6 * c.field_hz());
          const double white = is_525 ? 5000.0 / 7 : 700;
          expect_near(r, "video.apl", 100 * c.picture_mean_mv() / white, 1.5);
        }
      }
    }
  }
}

// A 75 ohm source into an open line twice, into two loads two thirds: common practice.
TEST(Lowband, TerminationByTheLevel) {
  for (const bool is_525 : {false, true}) {
    for (const auto& [gain, word] : {std::pair{1.0, "correct"}, {2.0, "missing"}, {2.0 / 3, "double"}}) {
      Card c = is_525 ? card_525() : Card{};
      c.gain = gain;
      const Readings r = measured(c, 1.2);
      ASSERT_TRUE(get(r, "video.termination").measured()) << get(r, "video.termination").reason;
      EXPECT_EQ(get(r, "video.termination").text(), word);
    }
    Card c = is_525 ? card_525() : Card{};
    c.gain = 1.4;
    EXPECT_FALSE(get(measured(c, 1.2), "video.termination").measured());
  }
}

}  // namespace
