// Sparkle on a picture: how often, and that it is no noise, no tear and no jitter.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "support/coverage.hpp"
#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

constexpr const char* id = "picture.impulses";

const Reading& get(const Readings& r, const char* name) { return *find_reading(r, name); }

// A rate is a count over the time that was scanned, 13.5 MHz a sample [BT.601]; counts scatter by their root
// [Poisson].
TEST(PictureImpulses, RateAndWhatTheyDoNotDisturb) {
  for (const int lines : {525, 625}) {
    for (const bool bars : {false, true}) {
      for (const double specks : {5.0, 60.0, 400.0, 1600.0}) {
        SCOPED_TRACE(fmt::format("{} lines, {} specks", lines, specks));
        Scene s;
        s.lines = lines;
        s.coloured_bars = bars;
        if (!bars) s.line = frame_synth::flat(0.5);
        s.noise = 1;
        s.specks = specks;
        const Readings r = measure(s, 20);
        const Reading& rate = get(r, id);
        ASSERT_TRUE(rate.measured()) << rate.reason;
        const double truth = specks * 13.5e6 / (720.0 * s.height());
        std::printf("%d specks a frame: %.0f +-%.0f for %.0f\n", static_cast<int>(specks), rate.number(),
                    rate.uncertainty.value(), truth);
        EXPECT_NEAR(rate.number(), truth, 1.5 * rate.uncertainty.value());
        EXPECT_LT(rate.uncertainty.value(), 0.4 * truth);
        EXPECT_EQ(get(r, "picture.pattern").text(), bars ? "bars-75" : "flat");
        ASSERT_TRUE(get(r, "picture.noise").measured()) << get(r, "picture.noise").reason;
        EXPECT_NEAR(get(r, "picture.noise").number(), 1, 0.07);
        if (!bars) continue;
        const Reading& tear = get(r, "picture.tear");
        EXPECT_TRUE(!tear.measured() || tear.number() == 0) << tear.number();
        const Reading& jitter = get(r, "picture.jitter");
        EXPECT_TRUE(!jitter.measured() || jitter.number() < 0.03) << jitter.number();
      }
    }
  }
}

TEST(PictureImpulses, Coverage) {
  coverage::expect_coverage(id, 60, [](unsigned seed) {
    Scene s;
    s.lines = seed % 2 == 0 ? 525 : 625;
    s.coloured_bars = seed % 3 == 0;
    if (!s.coloured_bars) s.line = frame_synth::flat(0.3 + 0.4 * std::fmod(seed * 0.618, 1.0));
    s.noise = 1 + 2 * std::fmod(seed * 0.377, 1.0);
    s.specks = 3 * std::pow(300, std::fmod(seed * 0.732, 1.0));
    const Reading rate = get(measure(s, 12, seed), id);
    if (!rate.measured()) throw std::runtime_error(rate.reason);
    return coverage::Trial{rate.number(), rate.uncertainty.value(), s.specks * 13.5e6 / (720.0 * s.height())};
  });
}

TEST(PictureImpulses, NoneInNoiseHumJitterOrATone) {
  for (int k = 0; k < 6; ++k) {
    Scene s;
    s.coloured_bars = true;
    s.noise = k == 0 ? 8 : 1.5;
    s.hum_percent = k == 1 ? 20 : 0;
    s.jitter = k == 2 ? 0.8 : 0;
    s.tone_percent = k == 3 ? 2 : 0;
    s.tone_hz = 1.237e6;
    s.tear_px = k == 4 ? 4 : 0;
    s.stands = k == 5 ? 4 : 0;
    const Reading r = get(measure(s, 20), id);
    EXPECT_FALSE(r.measured()) << k << ": " << r.number() << " " << r.reason;
    EXPECT_LT(r.at_most.value_or(1e9), 40) << k << ": " << r.reason;
  }
}

TEST(PictureImpulses, NotWhereRowsDoNotStand) {
  Scene s;
  s.picture = frame_synth::landscape;
  s.noise = 1;
  s.roll = 3;
  s.specks = 200;
  const Reading r = get(measure(s, 20), id);
  EXPECT_FALSE(r.measured()) << r.number();
  EXPECT_FALSE(r.at_most.has_value());
}

// A camera that pans shows detail that no row had before.
TEST(PictureImpulses, NotOfALivePicture) {
  for (const bool pans : {false, true}) {
    Scene s;
    s.picture = frame_synth::landscape;
    s.noise = 1;
    s.hum_percent = 4;
    if (pans) s.shift = [](int frame, int) { return 2.5 * frame; };
    const Reading r = get(measure(s, 20), id);
    EXPECT_FALSE(r.measured()) << r.number();
    EXPECT_FALSE(r.at_most.has_value());
  }
}

}  // namespace
