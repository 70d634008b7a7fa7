// A steady tone on a test picture: its frequency and level, what is none, and what it does to other readings.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <numbers>

#include "support/coverage.hpp"
#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

constexpr const char* level_id = "picture.noise.periodic.level";
constexpr const char* frequency_id = "picture.noise.periodic.frequency";

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

void expect_tone(const Readings& r, const Scene& s) {
  SCOPED_TRACE(fmt::format("{} lines, {:.0f} Hz, {} %", s.lines, s.tone_hz, s.tone_percent));
  const Reading& level = get(r, level_id);
  ASSERT_TRUE(level.measured()) << level.reason;
  // Of some fifty such claims, k = 2, one or two are left; how often is in the coverage below.
  EXPECT_NEAR(level.number(), s.tone_percent, 1.6 * level.uncertainty.value());
  EXPECT_LT(level.uncertainty.value(), 0.05 * s.tone_percent + 0.05);
  const Reading& frequency = get(r, frequency_id);
  EXPECT_NEAR(frequency.number(), s.tone_hz, 3);
  EXPECT_NEAR(frequency.number(), s.tone_hz, frequency.uncertainty.value());
}

double spread(unsigned seed, double factor) { return std::fmod(seed * factor, 1.0); }

// Phases of a tone from line to line and pixel to pixel by its frequency, the line's period and 13.5 MHz
// [BT.601]: a closed form.
TEST(PictureTone, FrequencyAndLevelOverTheBand) {
  for (const int lines : {525, 625}) {
    for (const bool bars : {false, true}) {
      for (const double hz : {41e3, 87313.0, 200.2e3, 451e3, 1.3e6, 2.2023e6, 3.11e6, 5.03e6, 6.1e6}) {
        Scene s;
        s.lines = lines;
        s.coloured_bars = bars;
        if (!bars) s.line = frame_synth::flat(0.5);
        s.noise = 1.5;
        s.tone_hz = hz;
        s.tone_percent = hz < 1e6 ? 2 : 0.8;
        expect_tone(measure(s, 12), s);
      }
    }
  }
}

TEST(PictureTone, Coverage) {
  coverage::expect_coverage(level_id, 80, [](unsigned seed) {
    Scene s;
    s.lines = seed % 2 == 0 ? 525 : 625;
    s.line = frame_synth::flat(0.3 + 0.4 * spread(seed, 0.618));
    s.noise = 2 + 2 * spread(seed, 0.377);
    s.tone_percent = 0.5 + 0.5 * spread(seed, 0.732);
    // Locked to the lines it would stand in the picture.
    const double line_hz = s.lines == 625 ? 15625 : 13.5e6 / 858;
    s.tone_hz =
        line_hz * (std::floor(4 * std::pow(50, spread(seed, 0.141))) + 0.1 + 0.8 * spread(seed, 0.529));
    const Reading level = get(measure(s, 12, seed), level_id);
    if (!level.measured()) throw std::runtime_error(level.reason);
    return coverage::Trial{level.number(), level.uncertainty.value(), s.tone_percent};
  });
}

// Near a multiple of the frame rate it stands still in the picture, and rows differ by its phase.
TEST(PictureTone, ThatStandsStillFromFrameToFrame) {
  for (const double hz : {154315.0, 5149 * 30000.0 / 1001, 20011 * 30000.0 / 1001}) {
    for (const double percent : {0.7, 3.0}) {
      Scene s;
      s.lines = 525;
      s.coloured_bars = true;
      s.noise = 0.7;
      s.tone_hz = hz;
      s.tone_percent = percent;
      expect_tone(measure(s, 20), s);
    }
  }
}

// Whole codes without noise to dither them: the claim holds what rounding does.
TEST(PictureTone, WithoutNoise) {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    Scene s;
    s.line = frame_synth::flat(0.3 + 0.4 * spread(seed, 0.618));
    s.tone_hz = 1e5 * std::pow(40, spread(seed, 0.377));
    s.tone_percent = 0.6 * std::pow(10, spread(seed, 0.732));
    const Reading level = get(measure(s, 12), level_id);
    ASSERT_TRUE(level.measured()) << level.reason;
    EXPECT_NEAR(level.number(), s.tone_percent, level.uncertainty.value());
  }
}

TEST(PictureTone, NoneIsSaidToBeBelowABound) {
  for (const int lines : {525, 625}) {
    for (const double jitter : {0.0, 0.3}) {
      Scene s;
      s.lines = lines;
      s.coloured_bars = true;
      s.noise = 2;
      s.jitter = jitter;
      s.hum_percent = 3;
      s.flag_px = 2;
      const Readings r = measure(s, 20);
      EXPECT_FALSE(get(r, level_id).measured()) << get(r, frequency_id).number();
      EXPECT_LT(get(r, level_id).at_most.value_or(9), 0.2);
      EXPECT_FALSE(get(r, frequency_id).measured());
      EXPECT_LT(get(r, "picture.noise.periodic.from").number(), 35e3);
    }
  }
}

// Noise lies between the lines of a spectrum, however many there are.
TEST(PictureTone, NoiseBesideSeveral) {
  for (const double noise : {0.8, 2.0}) {
    for (const bool jitters : {false, true}) {
      Scene s;
      s.coloured_bars = true;
      s.noise = noise;
      s.jitter = jitters ? 0.3 : 0;
      const auto sine = [](double hz, double t) { return std::sin(2 * std::numbers::pi * hz * t); };
      s.wave = [&](double t) { return 0.9 * sine(1.2003e6, t) + (jitters ? 0 : 0.8 * sine(1.2311e6, t)); };
      const Readings r = measure(s, 20);
      const Reading& n = get(r, "picture.noise");
      ASSERT_TRUE(n.measured()) << n.reason;
      std::printf("%.3f +-%.3f for %.1f\n", n.number(), n.uncertainty.value(), noise);
      EXPECT_NEAR(n.number(), noise, 0.07 * noise);
      EXPECT_NEAR(n.number(), noise, 1.5 * n.uncertainty.value());
      EXPECT_NEAR(get(r, frequency_id).number(), 1.2003e6, 100);
    }
  }
}

// A transmitter's modulation is not noise: at most what is between its lines is.
TEST(PictureTone, WandersAndHidesNoise) {
  Scene s;
  s.coloured_bars = true;
  s.noise = 0.8;
  s.wave = [](double t) {
    const double turn = 2 * std::numbers::pi;
    return 1.4 * std::sin(turn * 1.2107e6 * t + 12.5 * std::sin(turn * 400 * t));
  };
  const Readings r = measure(s, 20);
  const Reading& n = get(r, "picture.noise");
  EXPECT_FALSE(n.measured());
  EXPECT_GT(n.at_most.value_or(0), 0.8);
  EXPECT_LT(n.at_most.value_or(9), 1.6);
  EXPECT_NEAR(get(r, frequency_id).number(), 1.2107e6, 8e3);
  EXPECT_NEAR(get(r, level_id).number(), 2.8, get(r, level_id).uncertainty.value());
}

// A whole multiple of the frame rate stands in the picture: rows differ by it, frames do not.
TEST(PictureTone, LockedToTheFramesIsToldAndNoNoise) {
  for (const double hz : {1.2e6, 2.1e6}) {
    for (const double jitter : {0.0, 0.3}) {
      Scene s;
      s.coloured_bars = true;
      s.noise = 0.8;
      s.tone_hz = hz;
      s.tone_percent = 2;
      s.jitter = jitter;
      SCOPED_TRACE(fmt::format("{} Hz, jitter {}", hz, jitter));
      const Readings r = measure(s, 20);
      EXPECT_NEAR(get(r, level_id).number(), 2, 0.1);
      EXPECT_NEAR(get(r, "picture.noise").number(), 0.8, 0.06);
      const Reading& j = get(r, "picture.jitter");
      if (j.measured()) {
        EXPECT_NEAR(j.number(), jitter, j.uncertainty.value());
      }
    }
  }
}

TEST(PictureTone, OnALivePictureThatStandsStill) {
  Scene s;
  s.picture = frame_synth::landscape;
  s.noise = 1.2;
  s.tone_hz = 1.300213e6;
  s.tone_percent = 3;
  const Readings r = measure(s, 20);
  const Reading& level = get(r, level_id);
  ASSERT_TRUE(level.measured()) << level.reason;
  EXPECT_NEAR(get(r, frequency_id).number(), s.tone_hz, 10);
  EXPECT_NEAR(level.number(), 3, level.uncertainty.value());
  EXPECT_NEAR(get(r, "picture.noise").number(), 1.2, 0.07 * 1.2);
  const Reading& jitter = get(r, "picture.jitter");
  EXPECT_TRUE(!jitter.measured() || jitter.number() < 0.05) << jitter.number();
  s.tone_percent = 0;
  const Readings clean = measure(s, 20);
  EXPECT_FALSE(get(clean, level_id).measured());
  EXPECT_FALSE(get(clean, level_id).at_most.has_value());
}

TEST(PictureTone, NeedsATestPictureAsScanned) {
  Scene live;
  live.picture = frame_synth::landscape;
  live.noise = 1.5;
  live.tone_hz = 1.3e6;
  live.tone_percent = 2;
  EXPECT_FALSE(get(measure(live, 12), level_id).measured());
  Scene scaled;
  scaled.width = 640;
  scaled.line = frame_synth::flat(0.5);
  scaled.noise = 1.5;
  const Readings r = measure(scaled, 12);
  EXPECT_NE(get(r, level_id).reason.find("scaled"), std::string::npos) << get(r, level_id).reason;
}

// Its stripes move from frame to frame, and they move edges; the picture does neither.
TEST(PictureTone, IsNeitherRollNorJitter) {
  for (const double hz : {63444.0, 113722.0, 193358.0, 949339.0, 154315.0}) {
    for (const double jitter : {0.0, 0.3}) {
      Scene s;
      s.coloured_bars = true;
      s.noise = 0.7;
      s.jitter = jitter;
      s.tone_hz = hz;
      s.tone_percent = 3;
      SCOPED_TRACE(fmt::format("{} Hz, {} px", hz, jitter));
      const Readings r = measure(s, 20);
      EXPECT_FALSE(get(r, "picture.roll").measured()) << get(r, "picture.roll").number();
      const Reading& read = get(r, "picture.jitter");
      ASSERT_TRUE(read.measured()) << read.reason;
      EXPECT_NEAR(read.number(), jitter, read.uncertainty.value());
      expect_tone(r, s);
    }
  }
}

// However its phase goes on from frame to frame: 30000/1001 of them a second make it stand still, turn by
// half a period, by a third, or slowly.
TEST(PictureTone, NoiseIsToldBesideIt) {
  constexpr double frame_hz = 30000.0 / 1001;
  for (const double beat : {0.0, 0.5, 1.0 / 3, 0.02}) {
    for (const double noise : {1.0, 2.5}) {
      Scene s;
      s.lines = 525;
      s.coloured_bars = true;
      s.noise = noise;
      s.tone_hz = (56712 + beat) * frame_hz;
      s.tone_percent = 5.5;
      SCOPED_TRACE(fmt::format("{} Hz, {} codes", s.tone_hz, noise));
      const Readings r = measure(s, 20);
      const Reading& read = get(r, "picture.noise");
      ASSERT_TRUE(read.measured()) << read.reason;
      EXPECT_NEAR(read.number(), noise, read.uncertainty.value());
      EXPECT_LT(read.uncertainty.value(), 0.05 * noise);
      EXPECT_NEAR(get(r, "picture.snr").number(), 20 * std::log10(219 / noise),
                  get(r, "picture.snr").uncertainty.value());
    }
  }
}

}  // namespace
