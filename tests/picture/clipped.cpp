// Hum, noise and movement of a picture that a grabber, or RGB on the way, cuts off at the ends of its codes;
// hum that sits on the gain. The truth is what was put in before the cut.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::Scene;

class Changed final : public capture::FrameSource {
 public:
  Changed(const Scene& s, int frames, std::function<void(capture::Frame&, std::uint64_t)> change, bool rgb)
      : source_(s, frames, 5), change_(std::move(change)), format_(source_.format()) {
    format_.through_rgb = rgb;
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return source_.facts(); }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& f) override {
    if (!source_.read(f)) return false;
    change_(f, n_++);
    return true;
  }

 private:
  frame_synth::Source source_;
  std::function<void(capture::Frame&, std::uint64_t)> change_;
  capture::FrameFormat format_;
  std::uint64_t n_ = 0;
};

Readings measured(const Scene& s, std::function<void(capture::Frame&, std::uint64_t)> change,
                  bool rgb = false) {
  Changed source(s, 75, std::move(change), rgb);
  return measure::measure_picture(source, {});
}

void cut(capture::Frame& f, std::uint64_t /*n*/) {
  for (std::uint8_t& y : f.y) y = std::clamp<std::uint8_t>(y, 16, 235);
}

Scene humming_bars(double noise) {
  Scene s;
  s.line = frame_synth::bars(1, 1);
  s.noise = noise;
  s.hum_percent = 6;
  s.hum_hz = 50.6;
  return s;
}

// A picture whose bars of hum move, and nothing else.
void expect_no_movement(const Readings& r) {
  EXPECT_FALSE(find_reading(r, "picture.roll")->measured());
  for (const char* id : {"picture.jitter", "picture.tear"}) {
    const Reading& x = *find_reading(r, id);
    if (x.measured()) {
      EXPECT_LE(x.number(), x.uncertainty.value()) << id;
      EXPECT_LT(x.number(), 0.1) << id;
    }
  }
}

TEST(PictureClipped, HumOfBarsCutOffAtBlackAndWhite) {
  for (const double noise : {0.0, 1.0, 3.0}) {
    const Readings r = measured(humming_bars(noise), cut);
    const Reading& level = *find_reading(r, "picture.hum.level");
    ASSERT_TRUE(level.measured()) << noise << ": " << level.reason;
    EXPECT_NEAR(level.number(), 6, level.uncertainty.value()) << noise;
    EXPECT_LT(level.uncertainty.value(), 0.5) << noise;
    expect_no_movement(r);
    const Reading& n = *find_reading(r, "picture.noise");
    if (n.measured()) {
      EXPECT_NEAR(n.number(), noise, 0.07 * noise);
    } else {
      EXPECT_GT(n.at_most.value_or(99), noise);
    }
  }
}

TEST(PictureClipped, HumAndNoiseAreNeitherJitterNorTearing) {
  for (const double noise : {2.0, 6.0}) {
    Scene s = humming_bars(noise);
    s.gain = 0.85;
    s.offset = 12;
    const Readings r = measured(s, [](capture::Frame&, std::uint64_t) {});
    expect_no_movement(r);
    EXPECT_NEAR(find_reading(r, "picture.hum.level")->number(), 6, 0.1);
  }
}

TEST(PictureClipped, HumThatSitsOnTheGain) {
  for (const double noise : {0.0, 2.0}) {
    Scene s = humming_bars(noise);
    s.hum_percent = 0;
    const Readings r = measured(s, [&](capture::Frame& f, std::uint64_t n) {
      for (std::size_t row = 0; row < 576; ++row) {
        const double t = 0.04 * static_cast<double>(n) + 0.02 * static_cast<double>(row % 2) +
                         64e-6 * static_cast<double>(row / 2);
        const double gain = 1 + 0.03 * std::sin(2 * std::numbers::pi * 50.6 * t);
        for (std::size_t x = 0; x < 720; ++x) {
          std::uint8_t& y = f.y[720 * row + x];
          y = static_cast<std::uint8_t>(std::clamp(std::lround(16 + (y - 16) * gain), 1L, 254L));
        }
      }
    });
    const Reading& level = *find_reading(r, "picture.hum.level");
    ASSERT_TRUE(level.measured()) << level.reason;
    EXPECT_NEAR(level.number(), 6, level.uncertainty.value() + 0.1) << level.reason;
    EXPECT_NE(level.reason.find("gain"), std::string::npos);
    EXPECT_FALSE(find_reading(r, "picture.roll")->measured());
  }
}

// In RGB of full bars every colour stands at an end: there is nothing left to tell hum by.
TEST(PictureClipped, FullBarsThroughRgbTellNoHum) {
  Scene s = humming_bars(1);
  s.coloured_bars = true;
  s.colour = 1;
  const Readings r = measured(s, cut, true);
  EXPECT_FALSE(find_reading(r, "picture.hum.level")->measured());
  EXPECT_FALSE(find_reading(r, "picture.noise")->measured());
  Scene grey = humming_bars(1);
  grey.line = frame_synth::flat(0.5);
  const Readings g = measured(
      grey, [](capture::Frame&, std::uint64_t) {}, true);
  EXPECT_NEAR(find_reading(g, "picture.hum.level")->number(), 6, 0.1);
}

// A grabber that ends at 16 and 235 hides how far black or white lie beyond: black 12 codes low, white 10 %
// high. Where they are right it hides nothing. Noise tells; the truth is what was put in before the cut.
TEST(PictureClipped, LevelsBeyondAreNotTold) {
  struct Case {
    double gain, offset;
    bool told;
  };
  for (const auto& [gain, offset, told] : {Case{1, 0, true}, {1, -12, false}, {1.1, 0, false}}) {
    for (const frame_synth::Line& line : {frame_synth::window(), frame_synth::pulse_bar(),
                                          frame_synth::staircase(5), frame_synth::staircase(10)}) {
      Scene s;
      s.line = line;
      s.noise = 1;
      s.gain = gain;
      s.offset = offset;
      const Readings r = measured(s, cut);
      const Reading& black = *find_reading(r, "picture.luma.black");
      const Reading& white = *find_reading(r, "picture.luma.white");
      EXPECT_EQ(black.measured(), told) << black.reason;
      EXPECT_EQ(white.measured(), told) << white.reason;
      if (told) {
        EXPECT_NEAR(black.number(), 16, 0.5);
        EXPECT_NEAR(white.number(), 235, 2.35);
      } else {
        EXPECT_NE(black.reason.find(offset < 0 ? "crushed" : "clipped"), std::string::npos) << black.reason;
      }
      EXPECT_NE(find_reading(r, "picture.clipped")->reason.find("none comes below 16"), std::string::npos);
    }
  }
}

// The trough that an echo turned over leaves beside the bar is cut off at black, and most of the echo with
// it.
TEST(PictureClipped, EchoCutOffIsNotTold) {
  for (const frame_synth::Line& line : {frame_synth::window(), frame_synth::pulse_bar()}) {
    for (const double gain : {-0.2, -0.1, -0.05}) {
      for (const double px : {9.5, 19.0}) {
        Scene s;
        s.line = line;
        s.noise = 1;
        s.echo_px = px;
        s.echo_gain = gain;
        Changed source(s, 8, cut, false);
        const Readings r = measure::measure_picture(source, {});
        const Reading& level = *find_reading(r, "picture.echo.level");
        SCOPED_TRACE(testing::Message() << gain << " at " << px);
        if (!level.measured()) {
          EXPECT_FALSE(level.at_most.has_value()) << level.reason;
          EXPECT_NE(level.reason.find("cut off"), std::string::npos) << level.reason;
          continue;
        }
        EXPECT_NEAR(level.number(), 20 * std::log10(std::abs(gain)), level.uncertainty.value());
        const Reading& delay = *find_reading(r, "picture.echo.delay");
        EXPECT_NEAR(delay.number(), px / 13.5e-3, delay.uncertainty.value());
      }
    }
  }
}

}  // namespace
