// Vertical roll: how fast, and what is none.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <random>
#include <vector>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) {
  const Reading* found = find_reading(r, id);
  if (found == nullptr) throw std::runtime_error(std::string("no reading ") + id);
  return *found;
}
double number(const Readings& r, const char* id) {
  const Reading& x = get(r, id);
  EXPECT_TRUE(x.measured()) << id << ": " << x.reason;
  return x.measured() ? x.number() : std::nan("");
}
// The value, and that its own uncertainty does not belie it grossly.
void expect_value(const Readings& r, const char* id, double truth, double tolerance) {
  const double v = number(r, id);
  EXPECT_NEAR(v, truth, tolerance) << id;
  EXPECT_LE(std::abs(v - truth), 2.5 * get(r, id).uncertainty.value_or(0)) << id << " and its uncertainty";
}

TEST(PictureRoll, SubLineUpAndDown) {
  for (const double lines : {0.0, 0.35, -2.6, 17.0}) {
    Scene s;
    s.noise = 1;
    s.picture = frame_synth::landscape;
    s.roll = lines;
    const Readings r = measure(s, 16);
    expect_value(r, "picture.roll", lines, 0.1);
    EXPECT_EQ(get(r, "picture.hum.level").measured(), false);
  }
}

// What lies between two pictures passes through a rolling one and takes its share of every mean over frames.
TEST(PictureRoll, LeavesNoLevels) {
  Scene s;
  s.noise = 1;
  // 49 of 625 lines are no picture [BT.470]; they go down by 3.4 lines a frame.
  s.other = [](double, int frame, int row) {
    const double at = row - 3.4 * frame + 40;
    return at - 625 * std::floor(at / 625) >= 576 ? -107.0 : 0.0;
  };
  const Readings r = measure(s, 50);
  EXPECT_NEAR(number(r, "picture.roll"), 3.4, 0.1);
  for (const Reading& x : r) {
    const bool level = x.id.starts_with("picture.luma.") || x.id.starts_with("picture.bars.") ||
                       x.id == "picture.hue" || x.id == "picture.saturation";
    EXPECT_FALSE(level && x.measured()) << x.id << " " << x.number();
  }
}

// A camera that is turned upwards moves its picture as a roll does, but no gap between pictures passes.
TEST(PictureRoll, TheGapTellsItFromATurnedCamera) {
  for (const bool rolls : {true, false}) {
    Scene s;
    s.noise = 1;
    s.roll = 2;
    s.picture = [](double x, double row) {
      return 0.5 + 0.2 * std::sin(row / 9 + x / 40) + 0.2 * std::sin(row * row / 4000);
    };
    if (rolls) {
      s.other = [](double, int frame, int row) {
        const double at = row - 2.0 * frame + 30;
        return at - 625 * std::floor(at / 625) >= 576 ? -110.0 : 0.0;  // [BT.470]
      };
    }
    const Reading roll = get(measure(s, 40), "picture.roll");
    ASSERT_TRUE(roll.measured()) << roll.reason;
    EXPECT_NEAR(roll.number(), 2, 0.1);
    EXPECT_EQ(roll.reason.find("camera that is turned") == std::string::npos, rolls) << roll.reason;
  }
}

// Bars show by the gap alone where they stand, and the first frame does not even show that.
TEST(PictureRoll, OfBarsByTheGapAlone) {
  for (const double lines : {-12.5, -3.4, 0.7, 2.0, 27.0}) {
    Scene s;
    s.noise = 1.5;
    s.other = [lines](double, int frame, int row) {
      const double at = row - lines * frame;
      return at - 625 * std::floor(at / 625) >= 576 ? -107.0 : 0.0;  // [BT.470]
    };
    const Readings r = measure(s, 40);
    EXPECT_NEAR(number(r, "picture.roll"), lines, 0.1);
    EXPECT_LT(*get(r, "picture.roll").uncertainty, 0.1);
    EXPECT_LT(std::abs(number(r, "picture.roll") - lines), *get(r, "picture.roll").uncertainty);
  }
}

// Lines that come again every so many rows fit a period on as well.
TEST(PictureRoll, FastOfACrosshatch) {
  for (const double lines : {8.0, -12.5, 27.0}) {
    Scene s;
    s.noise = 1.5;
    s.picture = [](double x, double row) {
      return std::fmod(row, 44) < 2 || std::fmod(x, 45) < 3 ? 0.75 : 0.1;
    };
    s.roll = lines;
    expect_value(measure(s, 30), "picture.roll", lines, 0.1);
  }
}

// A period on it may fall on whole lines, where the shift itself falls between two: here 63 rows and 3.
TEST(PictureRoll, OfWhatComesAgain) {
  for (const double period : {41.0, 63.0, 80.0}) {
    for (const double lines : {3.0, -1.0, 5.0}) {
      Scene s;
      s.noise = 1;
      s.picture = [period](double x, double row) {
        const double at = std::fmod(row + 40 * period, period) / period;
        return 0.5 + 0.2 * std::sin(2 * std::numbers::pi * at + x / 50) +
               0.15 * std::sin(6 * std::numbers::pi * at + x / 90);
      };
      s.roll = lines;
      const Reading roll = get(measure(s, 20), "picture.roll");
      SCOPED_TRACE(period);
      if (roll.measured()) {
        EXPECT_NEAR(roll.number(), lines, 0.2);
      }
    }
  }
}

// The subcarrier's rest on bars: of 525 lines its dots go on by one line a field, half a cycle a line
// [BT.470].
TEST(PictureRoll, DotsThatCrawlAreNone) {
  for (const int lines : {525, 625}) {
    for (const double percent : {3.0, 10.0}) {
      Scene s;
      s.lines = lines;
      s.coloured_bars = true;
      s.noise = 0.8;
      s.tone_hz = lines == 525 ? 315e6 / 88 : 4433618.75;
      s.tone_percent = percent;
      SCOPED_TRACE(percent);
      const Readings r = measure(s, 20);
      EXPECT_FALSE(get(r, "picture.roll").measured()) << number(r, "picture.roll");
      expect_value(r, "picture.luma.white", 235, 1);
      const Reading& jitter = get(r, "picture.jitter");
      if (jitter.measured()) {
        EXPECT_LT(jitter.number(), std::max(0.02, *jitter.uncertainty));
      }
    }
  }
}

// A grid's level lines come to rows that had none a frame before, and are gone from the next: it is no snow.
TEST(PictureRoll, AGridThatRollsIsNoSnow) {
  for (const int lines : {525, 625}) {
    for (const double pitch : {40.0, 46.0, 48.0}) {
      for (const double roll : {2.3, -5.7}) {
        Scene s;
        s.lines = lines;
        s.noise = 1.5;
        s.roll = roll;
        s.picture = [=](double x, double row) {
          const auto line = [&](double at, double rms) {
            const double d = at - pitch * std::round(at / pitch);
            return std::exp(-0.5 * d * d / (rms * rms));
          };
          return 0.82 * std::max(line(x - pitch / 2, 1.1), line(row - pitch / 2, 1.2));
        };
        SCOPED_TRACE(fmt::format("{} lines, {} px, {} lines a frame", lines, pitch, roll));
        const Readings r = measure(s, 20);
        EXPECT_EQ(find_reading(r, "picture.signal.lost")->number(), 0);
        const Reading& told = *find_reading(r, "picture.roll");
        ASSERT_TRUE(told.measured()) << told.reason;
        EXPECT_NEAR(told.number(), roll, 0.1);
      }
    }
  }
}

// Fourteen waves at random, most of them slanting: a picture that goes sideways seems to go up or down by
// them, which is no roll, and beside which a roll stays what it is.
TEST(PictureRoll, OfAPannedCamera) {
  struct Pan {
    double px, lines;
  };
  for (const unsigned seed : {2U, 3U}) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> any(-1, 1);
    std::vector<std::array<double, 3>> waves(14);
    // Whole periods over the 576 rows, at which the picture comes round.
    for (auto& w : waves)
      w = {0.15 * any(random), 2 * std::numbers::pi / 576 * std::round(14 * any(random)), 6 * any(random)};
    for (const Pan pan : {Pan{0.5, 0}, {0.5, 0.3}, {-2, 0}, {-2, -1.6}, {5, 0}}) {
      Scene s;
      s.noise = 1.5;
      s.picture = [&](double x, double row) {
        double v = 0.5;
        for (const auto& w : waves) v += 0.05 * std::sin(w[0] * x + w[1] * row + w[2]);
        return std::clamp(v, 0.0, 1.0);
      };
      s.shift = [&](int frame, int) { return pan.px * frame; };
      s.roll = pan.lines;
      SCOPED_TRACE(fmt::format("seed {}, {} px, {} lines a frame", seed, pan.px, pan.lines));
      const Readings r = measure(s, 10, seed);
      const Reading& roll = get(r, "picture.roll");
      if (!roll.measured() && pan.px > 2) continue;
      ASSERT_TRUE(roll.measured()) << roll.reason;
      EXPECT_NEAR(roll.number(), pan.lines, std::min(0.1, roll.uncertainty.value()));
      EXPECT_LT(roll.uncertainty.value(), 0.1);
    }
  }
}

}  // namespace
