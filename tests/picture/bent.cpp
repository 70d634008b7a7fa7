// Lines pulled aside by hum on sync, and tears that wander, on a crosshatch: what else is read beside them.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <linebench/measure/picture.hpp>
#include <numbers>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

constexpr double noise = 1.5;

// Uprights of 2.6 px at half their height every `pitch` px, level lines of two rows every 48.
Scene crosshatch(int lines, double pitch) {
  Scene s;
  s.lines = lines;
  s.noise = noise;
  s.picture = [pitch](double x, double row) {
    const double upright = std::exp(-0.5 * std::pow(std::remainder(x - pitch / 2, pitch) / 1.1, 2));
    const double in_square = std::fmod(row + 24, 48);
    return 0.75 * std::max(upright, in_square < 2 ? 1.0 : 0.0);
  };
  return s;
}

// When a row is scanned: the later field half a frame on [BT.470].
double time_of(int lines, int frame, int row) {
  const double frame_s = lines == 625 ? 0.04 : 1001.0 / 30000;
  const bool later = (row % 2 == 0) != (lines == 625);
  return frame * frame_s + (later ? frame_s / 2 : 0) + row / 2 * frame_s / lines;
}

void expect_true_noise(const Readings& r, const std::string& what) {
  const Reading& n = get(r, "picture.noise");
  if (n.measured())
    EXPECT_NEAR(n.number(), noise, 2 * n.uncertainty.value() + 0.005) << what;
  else
    EXPECT_NE(n.reason.find("send a flat field or bars"), std::string::npos) << what << n.reason;
  for (const char* id : {"picture.noise.fixed", "picture.noise.periodic.level"})
    EXPECT_FALSE(get(r, id).measured()) << what << " " << id << " " << get(r, id).number();
}

void expect_bent(int lines, double hz, double pitch, double pp, const std::string& named = "") {
  constexpr int frames = 30;
  Scene s = crosshatch(lines, pitch);
  const auto px = [=](int frame, int row) {
    return pp / 2 * std::sin(2 * std::numbers::pi * hz * time_of(lines, frame, row));
  };
  s.shift = px;
  double sum = 0, squares = 0;
  const double n = static_cast<double>(frames) * s.height();
  for (int frame = 0; frame < frames; ++frame)
    for (int row = 0; row < s.height(); ++row) {
      sum += px(frame, row);
      squares += px(frame, row) * px(frame, row);
    }
  const double rms = std::sqrt(squares / n - sum / n * (sum / n));
  const Readings r = measure(s, frames, 3);
  const std::string what = fmt::format("{} lines, {} Hz, pitch {}, {} px", lines, hz, pitch, pp);
  EXPECT_EQ(get(r, "picture.pattern").text(), "crosshatch") << what;
  const Reading& jitter = get(r, "picture.jitter");
  ASSERT_TRUE(jitter.measured()) << what << ": " << jitter.reason;
  EXPECT_NEAR(jitter.number(), rms, jitter.uncertainty.value()) << what;
  EXPECT_LT(jitter.uncertainty.value(), 0.1 * rms + 0.03) << what;
  EXPECT_NE(jitter.reason.find("as hum on sync makes it"), std::string::npos) << what << jitter.reason;
  EXPECT_NE(jitter.reason.find(named), std::string::npos) << what << jitter.reason;
  EXPECT_EQ(get(r, "picture.tear").number(), 0) << what;
  EXPECT_NEAR(get(r, "picture.roll").number(), 0, 0.1) << what;
  expect_true_noise(r, what);
}

// Hum in time with the fields stands in all frames; else it goes through them.
TEST(PictureBent, HumOnSyncOfACrosshatch) {
  for (const int lines : {625, 525})
    for (const double hz : {50.0, 60.0})
      for (const double pp : {1.0, 3.0, 8.0})
        expect_bent(lines, hz, 48, pp, pp > 2 ? fmt::format("mains of {:.0f} Hz", hz) : "");
}
TEST(PictureBent, HumOnSyncOfNarrowSquares) {
  for (const double pitch : {40.0, 30.0})
    for (const double pp : {2.0, 4.0}) {
      expect_bent(625, 50.03, pitch, pp);
      expect_bent(525, 50, pitch, pp);
    }
}

// Uprights, or a pulse, of two px: what is level goes only up to them.
TEST(PictureBent, NoiseBesideNarrowUprightsThatJitter) {
  for (const double jitter : {0.1, 0.3}) {
    for (const double pitch : {32.0, 40.0, 48.0}) {
      Scene s = crosshatch(625, pitch);
      s.picture = [pitch](double x, double row) {
        const double d = std::remainder(x - pitch / 2, pitch);
        const double upright = frame_synth::step(d, -1) - frame_synth::step(d, 1);
        return 0.75 * std::max(upright, std::fmod(row + 24, 48) < 2 ? 1.0 : 0.0);
      };
      s.jitter = jitter;
      expect_true_noise(measure(s, 20, 3), fmt::format("pitch {}, jitter {}", pitch, jitter));
    }
    Scene s;
    s.noise = noise;
    s.jitter = jitter;
    s.line = frame_synth::pulse_bar();
    expect_true_noise(measure(s, 20, 3), fmt::format("pulse and bar, jitter {}", jitter));
  }
}

// Either mains and twice of it (a rectifier's ripple) in either system.
TEST(PictureBent, ByTwiceTheMains) {
  for (const int lines : {625, 525})
    for (const double mains_hz : {50.0, 60.0})
      expect_bent(lines, 2 * mains_hz * 1.002, 48, 4, fmt::format("mains of {:.0f} Hz", mains_hz));
}

// All below a row that goes down by some rows in each frame.
TEST(PictureBent, TearThatWandersFast) {
  struct Tear {
    int lines;
    double pitch, from, px, rows;
  };
  for (const Tear& t : {Tear{625, 48, 50, 5, 23},
                        {525, 48, 40, 6, 17},
                        {625, 40, 60, 3, 7},
                        {525, 40, 90, -4, 11},
                        {625, 48, 130, 12, 20}}) {
    Scene s = crosshatch(t.lines, t.pitch);
    s.shift = [&](int frame, int row) { return row >= t.from + t.rows * frame ? t.px : 0.0; };
    const Readings r = measure(s, 18, 3);
    const std::string what = fmt::format("{} lines, {} px from {} by {}", t.lines, t.px, t.from, t.rows);
    EXPECT_EQ(get(r, "picture.pattern").text(), "crosshatch") << what;
    const Reading& tear = get(r, "picture.tear");
    ASSERT_TRUE(tear.measured()) << what << tear.reason;
    EXPECT_NEAR(tear.number(), std::abs(t.px), tear.uncertainty.value()) << what;
    EXPECT_LT(tear.uncertainty.value(), 0.3) << what;
    const Reading& jitter = get(r, "picture.jitter");
    EXPECT_LE(jitter.number(), jitter.uncertainty.value() + 0.03) << what;
    EXPECT_NEAR(get(r, "picture.roll").number(), 0, 0.1) << what;
    EXPECT_FALSE(get(r, "picture.hum.level").measured()) << what;
    expect_true_noise(r, what);
  }
}

}  // namespace
