// Files that others' tools make: noise added in RGB and cut off there, rows of blanking filled in without
// noise, noise that is not white, equal frames, coders that eat noise.
#include <gtest/gtest.h>

#include "support/changed_frames.hpp"

namespace {
using namespace linebench;
using capture::Frame;
using frame_synth::Changed;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

// The last rows and half a row at the top, of BT.601 black: 6 % of the rows.
TEST(PictureStranger, BlankingWithoutNoiseDoesNotLowerIt) {
  Scene s;
  s.noise = 1.5;
  Changed source(s, 8, [](Frame& f, int) { std::fill(f.y.end() - 720 * 34, f.y.end(), 16); });
  const Readings r = measure::measure_picture(source, {});
  const Reading& noise = get(r, "picture.noise");
  ASSERT_TRUE(noise.measured()) << noise.reason;
  EXPECT_NEAR(noise.number(), 1.5, noise.uncertainty.value());
  EXPECT_LT(noise.uncertainty.value(), 0.015);
}

// ffmpeg's noise filter puts out noise whose neighbours three pixels apart are alike by 2.5 %; here more.
TEST(PictureStranger, NoiseOfItsOwnColourIsNoJitterOfFineDetail) {
  Scene s;
  s.picture = [](double x, double row) {
    const auto i = static_cast<int>(x / 24) * 13 + static_cast<int>(row / 24) * 29;
    return 0.2 + 0.6 * (i % 7) / 6.0;
  };
  std::mt19937 random(3);
  std::normal_distribution<float> normal(0, 2.9F);
  Changed source(s, 30, [&](Frame& f, int) {
    float before[3] = {};
    for (std::uint8_t& v : f.y) {
      const float fresh = normal(random);
      const float noise = fresh - 0.1F * before[0] + 0.1F * before[2];
      before[2] = before[1], before[1] = before[0], before[0] = fresh;
      v = static_cast<std::uint8_t>(std::clamp(std::lround(static_cast<float>(v) + noise), 0L, 255L));
    }
  });
  const Readings r = measure::measure_picture(source, {});
  const Reading& jitter = get(r, "picture.jitter");
  if (jitter.measured()) {
    EXPECT_LE(jitter.number(), jitter.uncertainty.value());
    EXPECT_LT(jitter.uncertainty.value(), 0.05);
  }
}

TEST(PictureStranger, NothingChangesSoNoHumIsToldAndNoMoreTimeIsAsked) {
  Scene s;
  s.picture = frame_synth::landscape;
  const Readings r = frame_synth::measure(s, 40);
  const Reading& hum = get(r, "picture.hum.level");
  EXPECT_FALSE(hum.measured());
  EXPECT_NE(hum.reason.find("nothing in the picture changes"), std::string::npos) << hum.reason;
}

// Bars of 75 % with noise on red, green and blue, each cut off at its ends [BT.601 matrix].
TEST(PictureStranger, NoiseAddedInRgb) {
  Scene s;
  s.line = frame_synth::bars(0.75, 0.75);
  s.coloured_bars = true;
  std::mt19937 random(3);
  std::normal_distribution<double> normal(0, 4);
  Changed source(s, 12, [&](Frame& f, int) {
    for (std::size_t i = 0; i < f.y.size(); ++i) {
      const double y = (f.y[i] - 16) * 255 / 219.0;
      const double cb = (f.cb[i / 2] - 128) * 255 / 224.0;
      const double cr = (f.cr[i / 2] - 128) * 255 / 224.0;
      double rgb[3] = {y + 1.402 * cr, y - 0.344 * cb - 0.714 * cr, y + 1.772 * cb};
      for (double& v : rgb) v = std::clamp(std::round(v + normal(random)), 0.0, 255.0);
      f.y[i] = static_cast<std::uint8_t>(
          std::lround(16 + 219 * (0.299 * rgb[0] + 0.587 * rgb[1] + 0.114 * rgb[2]) / 255));
    }
  });
  source.format().through_rgb = true;
  const Readings r = measure::measure_picture(source, {});
  const double rms = 4 * 219 / 255.0 * std::sqrt(0.299 * 0.299 + 0.587 * 0.587 + 0.114 * 0.114);
  const Reading& noise = get(r, "picture.noise");
  ASSERT_TRUE(noise.measured()) << noise.reason;
  EXPECT_NEAR(noise.number(), rms, 0.07 * rms);
  const Reading& gain = get(r, "picture.luma.gain");
  EXPECT_NEAR(gain.number(), 100, gain.uncertainty.value());
  EXPECT_LE(get(r, "picture.jitter").number(), get(r, "picture.jitter").uncertainty.value());
}

// Half the picture black and noisy, cut off at code 16, with strong hum on the rest: it does not move.
TEST(PictureStranger, ClippedPictureWithHumDoesNotMove) {
  for (const double hum : {8.0, 20.0}) {
    Scene s;
    s.line = frame_synth::bars(1, 1);
    s.hum_percent = hum;
    std::mt19937 random(3);
    std::normal_distribution<float> normal(0, 1.5F);
    Changed source(s, 50, [&](Frame& f, int) {
      for (std::uint8_t& v : f.y)
        v = static_cast<std::uint8_t>(
            std::clamp(std::lround(static_cast<float>(v) + normal(random)), 16L, 235L));
    });
    const Readings r = measure::measure_picture(source, {});
    const Reading& noise = get(r, "picture.noise");
    EXPECT_EQ(noise.reason.find("moves"), std::string::npos) << noise.reason;
    if (noise.measured()) {
      EXPECT_NEAR(noise.number(), 1.5, 0.07 * 1.5);
    }
  }
}

// A camera that is panned moves all lines alike: that is no line jitter.
TEST(PictureStranger, PanIsNoJitter) {
  for (const double px : {0.05, 0.8, 3.0}) {
    Scene s;
    s.noise = 2;
    s.picture = frame_synth::landscape;
    s.shift = [px](int frame, int) { return px * frame; };
    const Readings r = frame_synth::measure(s, 20);
    const Reading& jitter = get(r, "picture.jitter");
    if (jitter.measured()) {
      EXPECT_LE(jitter.number(), jitter.uncertainty.value()) << px;
    } else if (px == 0.8) {
      EXPECT_NE(jitter.reason.find("sideways"), std::string::npos) << jitter.reason;
    }
  }
}

TEST(PictureStranger, LossyCoderGivesNoBoundOfNoise) {
  Scene s;
  s.noise = 0.3;
  Changed source(s, 12, [](Frame&, int) {});
  source.format().lossy = true;
  const Readings r = measure::measure_picture(source, {});
  EXPECT_FALSE(get(r, "picture.noise").measured());
  EXPECT_FALSE(get(r, "picture.noise").at_most.has_value());
}

// Things crossing and changing in a noisy picture leave changes at all rates.
TEST(PictureStranger, ThingsThatMoveAreNoHum) {
  for (unsigned seed = 1; seed <= 2; ++seed) {
    Scene s;
    s.noise = 3;
    s.picture = frame_synth::landscape;
    Changed source(s, 60, [&](Frame& f, int n) {
      for (int k = 0; k < 3; ++k) {
        const int x0 = static_cast<int>((seed * 97 + k * 211 + n * (5 + 4 * k)) % 560);
        const int y0 = static_cast<int>((seed * 53 + k * 173 + n * (3 + 2 * k)) % 400);
        for (int row = y0; row < y0 + 150; ++row)
          for (int x = x0; x < x0 + 160; ++x)
            f.y[static_cast<std::size_t>(row * 720 + x)] =
                static_cast<std::uint8_t>(60 + 50 * k + (x + n) % 20);
      }
    });
    const Readings r = measure::measure_picture(source, {});
    EXPECT_FALSE(get(r, "picture.hum.level").measured()) << get(r, "picture.hum.level").number();
  }
}

}  // namespace
