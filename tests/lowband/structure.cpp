// Polarity, interlace, missing vertical sync, pictures that look like it, and input that will not do.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/base/error.hpp>
#include <map>
#include <random>

#include "lowband/measuring.hpp"
#include "support/coverage.hpp"

namespace {

using namespace linebench;
using lowband_synth::Card;
using lowband_synth::card_525;
using lowband_synth::make;
using lowband_synth::MemoryCard;
using lowband_test::get;
using lowband_test::measured;

TEST(Lowband, PolarityInterlaceAndHardPictures) {
  for (const double rate : {48000.0, 192000.0}) {
    for (const bool inverted : {false, true}) {
      for (const bool interlaced : {true, false}) {
        for (const int picture : {0, 1, 2, 3}) {
          Card c = picture % 2 == 0 ? Card{} : card_525();
          c.rate_hz = rate;
          c.inverted = inverted;
          c.interlaced = interlaced;
          c.coupling_hz = 8;
          c.second_hz = 2;
          c.dc = 0.02;
          c.gain = picture == 2 ? 0.5 : 1;
          c.line_hz *= 1 + 500e-6;
          if (picture == 1)
            c.stripe_mv = 0, c.top_mv = c.bottom_mv = 700;  // a dark stripe as high as vertical sync
          if (picture == 2) c.stripe_mv = 700, c.top_mv = c.bottom_mv = 0;
          if (picture == 3) c.top_mv = c.bottom_mv = 0;
          SCOPED_TRACE(testing::Message() << rate << " inverted " << inverted << " interlaced " << interlaced
                                          << " picture " << picture);
          const Readings r = measured(c, 1.5, 5);
          ASSERT_TRUE(get(r, "video.polarity").measured()) << get(r, "video.signal").reason;
          EXPECT_EQ(get(r, "video.polarity").text(), inverted ? "inverted" : "normal");
          EXPECT_EQ(get(r, "video.interlaced").text(), interlaced ? "yes" : "no");
          EXPECT_EQ(get(r, "video.lines_per_frame").number(), interlaced ? c.lines : c.lines / 2);
          EXPECT_EQ(get(r, "video.vertical_sync.missing").number(), 0);
          const Reading& sync = get(r, "video.sync.amplitude");
          ASSERT_TRUE(sync.measured()) << sync.reason;
          EXPECT_NEAR(sync.number(), c.gain * c.sync_mv, 0.02 * c.gain * c.sync_mv);
          EXPECT_NEAR(get(r, "video.line.frequency").number(), c.line_hz, 5e-6 * c.line_hz);
        }
      }
    }
  }
}

TEST(Lowband, CountsMissingVerticalSyncs) {
  Card c;
  c.rate_hz = 96000;
  c.missing_fields = {20, 21, 50};
  const Readings r = measured(c, 2);
  EXPECT_EQ(get(r, "video.vertical_sync.missing").number(), 3);
  EXPECT_EQ(get(r, "video.vertical_sync").text(), "intermittent");
  EXPECT_EQ(get(r, "video.lines_per_frame").number(), 625);
  // None at all: lines are there, fields are not.
  for (int i = 0; i < 200; ++i) c.missing_fields.insert(i);
  const Readings none = measured(c, 2);
  EXPECT_EQ(get(none, "video.signal").text(), "present");
  EXPECT_EQ(get(none, "video.vertical_sync").text(), "missing");
  EXPECT_FALSE(get(none, "video.sync.amplitude").measured());
}

TEST(Lowband, FindsTheChannelAndNeedsVolts) {
  Card c;
  const std::vector<float> x = make(c, 1.2, 1);
  std::vector<float> both;
  for (const float v : x) {
    both.push_back(0.001F);
    both.push_back(v);
  }
  MemoryCard source(c.rate_hz, both, std::nullopt, 2);
  const Readings r = measure::measure_lowband(source, {});
  EXPECT_NE(get(r, "video.signal").reason.find("channel 2"), std::string::npos);
  EXPECT_TRUE(get(r, "video.line.frequency").measured());
  for (const char* id : {"video.sync.amplitude", "video.apl", "video.hum.level"}) {
    EXPECT_FALSE(get(r, id).measured());
    EXPECT_NE(get(r, id).reason.find("--full-scale"), std::string::npos) << id;
  }
}

TEST(Lowband, SaysWhatItCannotShow) {
  const Readings r = measured({}, 1.2);
  for (const char* id : {"video.burst.amplitude", "video.sync.width", "video.white", "video.snr.weighted",
                         "video.sync.missing"}) {
    EXPECT_EQ(get(r, id).verdict, Verdict::Unmeasurable) << id;
    EXPECT_NE(get(r, id).reason.find("--view waveform"), std::string::npos) << id;
  }
  EXPECT_NE(get(r, "video.blanking.level").reason.find("dc"), std::string::npos);
  // Noise alone, and a clipped converter.
  std::vector<float> noise(192000);
  std::mt19937 gen(4);
  std::normal_distribution<float> normal(0, 0.1F);
  for (float& v : noise) v = normal(gen);
  MemoryCard quiet(96000, noise, 1.0);
  const Readings none = measure::measure_lowband(quiet, {});
  EXPECT_EQ(get(none, "video.signal").text(), "none");
  EXPECT_FALSE(get(none, "video.line.frequency").measured());
  Card hot;
  hot.full_scale_v = 0.25;
  const Readings clipped = measured(hot, 1.2);
  EXPECT_NE(get(clipped, "video.signal").reason.find("clipped"), std::string::npos);
}

TEST(Lowband, RefusesRatesThatWillNotDo) {
  for (const double rate : {8000.0, 32000.0, 27e6}) {
    MemoryCard source(rate, std::vector<float>(1000), 1.0);
    EXPECT_THROW((void)measure::measure_lowband(source, {}), Error) << rate;
  }
  MemoryCard empty(48000, {}, 1.0);
  EXPECT_THROW((void)measure::measure_lowband(empty, {}), Error);
}

// Sources differ from one another within the standard's tolerance of pulse widths, cards in their coupling.
TEST(Lowband, UncertaintyIsTrue) {
  struct Seen {
    double value, u, truth;
  };
  std::map<std::string, std::vector<coverage::Trial>> seen;
  constexpr int trials = 200;
  for (unsigned seed = 1; seed <= coverage::trials(trials); ++seed) {
    std::mt19937 gen(seed);
    std::uniform_real_distribution<double> even(-1, 1);
    Card c;
    c.rate_hz = seed % 2 == 0 ? 48000 : 96000;
    c.broad_us = 27.3 + 0.2 * even(gen);
    c.equalising_us = 2.35 + 0.1 * even(gen);
    c.coupling_hz = 11 + 9 * even(gen);
    c.top_mv = 350 + 300 * even(gen);
    c.bottom_mv = 350 + 300 * even(gen);
    c.noise_mv = 20;
    c.start_s = 0.02 * (1 + even(gen));
    c.line_hz = 15625 * (1 + 1e-4 * even(gen));
    const Readings r = measured(c, 1.0, seed);
    const double active = c.line_us() - 12;
    const double truth_apl = c.picture_mean_mv() / 7 * (286 * active) / (287.5 * 52);
    for (const auto& [id, truth] :
         {std::pair{"video.sync.amplitude", c.sync_mv}, std::pair{"video.line.frequency", c.line_hz},
          std::pair{"video.field.frequency", c.field_hz()}, std::pair{"video.apl", truth_apl}}) {
      const Reading& x = get(r, id);
      ASSERT_TRUE(x.measured()) << id << x.reason;
      seen[id].push_back({x.number(), *x.uncertainty, truth});
    }
  }
  for (const auto& [id, all] : seen)
    coverage::expect_coverage(
        id.c_str(), trials, [&](unsigned s) { return all[s - 1]; }, 0.93, id == "video.apl" ? 1.0 : 0.98);
}

}  // namespace
