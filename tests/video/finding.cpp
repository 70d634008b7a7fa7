// Finding the signal where the picture itself holds pulses as wide as sync, on every line, of either sign.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/measure/video_receiver.hpp>
#include <random>
#include <string>

#include "support/video_synth.hpp"

namespace {

using namespace linebench::measure;
using namespace video_synth;

// Stripes: `low` for `width_us`, then `high`, `count` times from `from_us` on.
Picture stripes(double from_us, int count, double period_us, double width_us, double low, double high) {
  std::vector<Piece> line{{0.0, high}};
  for (int i = 0; i < count; ++i) {
    line.push_back({from_us + i * period_us, low});
    line.push_back({from_us + i * period_us + width_us, high});
  }
  return [line](int) { return line; };
}

struct Case {
  const char* name;
  Picture picture;
};

TEST(VideoFinding, PicturesThatLookLikeSync) {
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    const double white = is_625 ? 700 : 5000.0 / 7;
    const Case cases[] = {
        {"bars 75", bars(w, white, 0.75, 0.75, is_625 ? 0 : 53.6)},
        {"one dark stripe", stripes(30, 1, 0, 4.7, 0, white)},
        {"two dark stripes", stripes(20, 2, 15, 4.7, 0, white)},
        {"three bright stripes", stripes(15, 3, 14, 4.7, white, 0)},
        {"six packets on a pedestal", stripes(18, 6, 7, 4.5, 0.2 * white, white)},
        {"bright for a broad pulse's width", stripes(14, 1, 0, 27, white, 0)},
    };
    for (const Case& c : cases) {
      for (const bool inverted : {false, true}) {
        SCOPED_TRACE(c.name);
        w.picture = c.picture;
        w.inverted = inverted;
        MemoryVideo source(18e6, make(w, 18e6, 0.13));
        VideoReceiver receiver(source, {});
        ASSERT_TRUE(receiver.acquire()) << receiver.reason();
        EXPECT_EQ(receiver.setup().inverted, inverted);
        EXPECT_EQ(receiver.setup().lines, w.lines);
        EXPECT_NEAR(receiver.setup().sync_mv, w.sync_mv, 0.01 * w.sync_mv);
      }
    }
  }
}

// Samples of a right signal told with another rate than they were taken at.
bool finds(const std::vector<float>& x, double told_hz, std::string& reason) {
  MemoryVideo source(told_hz, x);
  VideoReceiver receiver(source, {});
  const bool found = receiver.acquire();
  reason = receiver.reason();
  return found;
}

TEST(VideoFinding, SaysThatTheRateIsWrongAndWhichFits) {
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    w.picture = bars(w, is_625 ? 700 : 5000.0 / 7, 0.75, 0.75, is_625 ? 0 : 53.6);
    w.noise_mv = 5;
    for (const double rate : {12.5e6, 20e6}) {
      const std::vector<float> x = make(w, rate, 0.045);
      for (const double wrong : {2.0, 0.5, 1.1, 0.3, 2.7}) {
        SCOPED_TRACE(
            fmt::format("{} lines at {} MS/s told to be {} times that", w.lines, rate * 1e-6, wrong));
        std::string reason;
        EXPECT_FALSE(finds(x, wrong * rate, reason));
        EXPECT_NE(reason.find("is the rate in the sidecar"), std::string::npos) << reason;
        const std::size_t at = reason.find("at about ");
        ASSERT_NE(at, std::string::npos) << reason;
        EXPECT_NEAR(std::stod(reason.substr(at + 9)), rate * 1e-6, 0.011 * rate * 1e-6) << reason;
      }
    }
  }
}

// What is wrong with these is not the rate.
TEST(VideoFinding, BlamesNoRateThatIsRight) {
  std::string reason;
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    w.picture = bars(w, is_625 ? 700 : 5000.0 / 7, 0.75, 0.75, is_625 ? 0 : 53.6);
    const std::vector<float> clean = make(w, 15e6, 0.06);
    for (const double ppm : {-500.0, 500.0})
      EXPECT_TRUE(finds(clean, 15e6 * (1 + 1e-6 * ppm), reason)) << reason;
    // A fifth of the syncs gone: held at blanking.
    std::vector<float> gaps = clean;
    std::mt19937 random(5);
    const double line = 15e6 / w.line_hz;
    for (double at = 0; at + line < static_cast<double>(gaps.size()); at += line) {
      if (random() % 5 != 0) continue;
      for (std::size_t i = 0; i < static_cast<std::size_t>(line); ++i) {
        float& v = gaps[static_cast<std::size_t>(at) + i];
        v = std::max(v, 0.0F);
      }
    }
    EXPECT_TRUE(finds(gaps, 15e6, reason)) << reason;
    w.noise_mv = is_625 ? 70 : 71;  // 20 dB below white
    EXPECT_TRUE(finds(make(w, 15e6, 0.06), 15e6, reason)) << reason;
  }
  std::mt19937 random(3);
  std::normal_distribution<float> noise(0, 0.1F);
  for (const double rate : {12.5e6, 27e6}) {
    std::vector<float> x(static_cast<std::size_t>(0.05 * rate));
    for (float& v : x) v = noise(random);
    EXPECT_FALSE(finds(x, rate, reason));
    EXPECT_EQ(reason.find("is the rate"), std::string::npos) << reason;
    std::fill(x.begin(), x.end(), 0.01F);
    EXPECT_FALSE(finds(x, rate, reason));
    EXPECT_EQ(reason.find("is the rate"), std::string::npos) << reason;
    for (std::size_t i = 0; i < x.size(); ++i)
      x[i] = 0.3F * static_cast<float>(std::sin(2 * 3.14159265 * 1e6 / rate * static_cast<double>(i)));
    EXPECT_FALSE(finds(x, rate, reason));
    EXPECT_EQ(reason.find("is the rate"), std::string::npos) << reason;
  }
}

}  // namespace
