// Noise of test pictures that is not white, is smoothed over frames, or stands beside what a decoder leaves
// of the subcarrier: closed forms laid on the frames of a scene.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <functional>
#include <random>

#include "support/changed_frames.hpp"
#include "support/coverage.hpp"

namespace {
using namespace linebench;
using capture::Frame;
using frame_synth::Changed;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }
void expect_within(const Readings& r, const char* id, double truth, double most) {
  const Reading& x = get(r, id);
  ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
  EXPECT_NEAR(x.number(), truth, x.uncertainty.value()) << id;
  EXPECT_LE(x.uncertainty.value(), most) << id;
}
std::uint8_t code(double v) { return static_cast<std::uint8_t>(std::clamp(std::lround(v), 0L, 255L)); }

// Smoothed over so many px (rms): about 3 MHz down to 1 MHz wide. Nothing moves.
TEST(PictureLevelNoise, OfANarrowBandIsNeitherJitterNorMotion) {
  for (const double px : {0.0, 0.8, 1.5, 2.0}) {
    for (const double codes : {2.0, 5.0}) {
      Scene s;
      s.noise = codes;
      s.noise_width = px;
      const Readings r = frame_synth::measure(s, 25);
      SCOPED_TRACE(testing::Message() << codes << " codes over " << px << " px");
      expect_within(r, "picture.noise", codes, 0.07 * codes);
      expect_within(r, "picture.snr", 20 * std::log10(219 / codes), 0.6);
      expect_within(r, "picture.jitter", 0, 0.08);
    }
  }
}

TEST(PictureLevelNoise, OfANarrowBandLeavesJitterRight) {
  Scene s;
  s.noise = 4;
  s.noise_width = 1.2;
  s.jitter = 0.4;
  const Readings r = frame_synth::measure(s, 25);
  expect_within(r, "picture.jitter", 0.4, 0.07);
  expect_within(r, "picture.noise", 4, 0.28);
}

TEST(PictureLevelNoise, ClaimCovers) {
  coverage::expect_coverage("picture.noise", 60, [](unsigned seed) {
    Scene s;
    s.noise = 0.8 + 5 * std::fmod(seed * 0.618, 1.0);
    s.noise_width = 2.2 * std::fmod(seed * 0.414, 1.0);
    const Readings r = frame_synth::measure(s, 6, seed);
    const Reading& x = get(r, "picture.noise");
    return coverage::Trial{x.number(), x.uncertainty.value_or(0), s.noise};
  });
}

// y(n) = a y(n-1) + (1-a) x(n), the filter of a decoder that smooths over frames: of x with variance v each
// frame holds v (1-a)/(1+a), and the difference of two in a row, halved, that times (1-a).
class OverFrames {
 public:
  OverFrames(double a, double rms, unsigned seed) : a_(a), random_(seed), normal_(0, rms), held_(720 * 576) {
    for (double& v : held_) v = left_of(1) * normal_(random_);
  }
  /// Of noise of this rms, what each frame holds.
  [[nodiscard]] double left_of(double rms) const { return rms * std::sqrt((1 - a_) / (1 + a_)); }
  void operator()(Frame& f, int) {
    for (std::size_t i = 0; i < f.y.size(); ++i) {
      held_[i] = a_ * held_[i] + (1 - a_) * normal_(random_);
      f.y[i] = code(f.y[i] + held_[i]);
    }
  }

 private:
  double a_;
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
  std::vector<double> held_;
};

TEST(PictureLevelNoise, BehindNoiseReductionOverFrames) {
  for (const double a : {0.0, 0.5, 0.8}) {
    OverFrames decoder(a, 3, 7);
    const double truth = decoder.left_of(3);
    Changed source(Scene{}, 40, std::ref(decoder));
    const Readings r = measure::measure_picture(source, {});
    SCOPED_TRACE(a);
    expect_within(r, "picture.noise", truth, 0.1 * truth);
    EXPECT_EQ(get(r, "picture.noise").reason.find("noise reduction") != std::string::npos, a > 0);
  }
}

// Of a live picture the frames do not tell it from slow motion: the claim holds both, or there is none.
TEST(PictureLevelNoise, BehindNoiseReductionOfALivePicture) {
  for (const double a : {0.3, 0.5, 0.7}) {
    OverFrames decoder(a, 4, 8);
    const double truth = decoder.left_of(4);
    Scene s;
    s.picture = frame_synth::landscape;
    Changed source(s, 24, std::ref(decoder));
    const Readings r = measure::measure_picture(source, {});
    const Reading& noise = get(r, "picture.noise");
    if (!noise.measured()) continue;
    EXPECT_NEAR(noise.number(), truth, noise.uncertainty.value()) << a << noise.reason;
    EXPECT_NE(noise.reason.find("noise reduction"), std::string::npos) << noise.reason;
  }
}

// 4.43361875 MHz [BT.1700, 625 lines], up to 4 codes on the bars that have colour, on the six in the middle.
TEST(PictureLevelNoise, DotCrawlIsNoneOfIt) {
  Scene s;
  s.coloured_bars = true;
  std::mt19937 random(9);
  std::normal_distribution<double> normal(0, 1);
  Changed source(s, 25, [&](Frame& f, int n) {
    for (int r = 0; r < 576; ++r) {
      const double line = n * 625 + r / 2 + (r % 2 == 0 ? 0 : 313);
      for (int x = 0; x < 720; ++x) {
        const double t = line * 64e-6 + x / 13.5e6;
        const double crawl = x >= 90 && x < 630 ? 4 * std::sin(2 * std::numbers::pi * 4433618.75 * t) : 0;
        std::uint8_t& y = f.y[static_cast<std::size_t>(r * 720 + x)];
        y = code(y + crawl + normal(random));
      }
    }
  });
  const Readings r = measure::measure_picture(source, {});
  expect_within(r, "picture.noise", 1, 0.07);
  EXPECT_NE(get(r, "picture.noise").reason.find("subcarrier"), std::string::npos);
  expect_within(r, "picture.jitter", 0, 0.06);
}

// Lines that stand far from their places bring edges into the level parts: right, or said.
TEST(PictureLevelNoise, JitterIsNoneOfIt) {
  for (const double jitter : {2.0, 3.0, 4.0, 5.0}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = jitter;
    frame_synth::Source source(s, 12, 1);
    const Readings r = measure::measure_picture(source, {});
    const Reading& noise = get(r, "picture.noise");
    if (noise.measured()) expect_within(r, "picture.noise", 1.5, 0.105);
    EXPECT_EQ(noise.measured(), jitter < 3.5) << noise.reason;
  }
}

// Each of three kinds is read as such beside the others: within rows, of whole rows, and what stands still.
TEST(PictureLevelNoise, KindsAreToldApart) {
  for (const bool bars : {false, true}) {
    for (const auto& [noise, rows, stands] : {std::array{0.7, 2.0, 0.0}, std::array{1.0, 0.0, 4.0},
                                              std::array{2.0, 0.6, 1.0}, std::array{0.6, 0.3, 0.0}}) {
      Scene s;
      s.lines = 525;
      s.coloured_bars = bars;
      if (!bars) s.line = frame_synth::flat(0.5);
      s.noise = noise;
      s.row_noise = rows;
      s.stands = stands;
      s.hum_percent = 2;
      SCOPED_TRACE(testing::Message() << noise << " within, " << rows << " of rows, " << stands << " stands");
      const Readings r = frame_synth::measure(s, 25, 2);
      // Of two dozen claims, k = 2, one is left: how often is in the coverage below.
      const auto expect_near = [&](const char* id, double truth) {
        const Reading& x = get(r, id);
        ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
        EXPECT_NEAR(x.number(), truth, 1.6 * x.uncertainty.value()) << id;
        EXPECT_LE(x.uncertainty.value(), 0.1 * truth + 0.02) << id;
      };
      expect_near("picture.noise", noise);
      for (const auto& [id, truth] :
           {std::pair{"picture.noise.rows", rows}, std::pair{"picture.noise.fixed", stands}}) {
        if (truth > 0) {
          expect_near(id, truth);
        } else {
          EXPECT_FALSE(get(r, id).measured()) << id << get(r, id).number();
          EXPECT_LT(get(r, id).at_most.value_or(9), 0.2) << id;
        }
      }
    }
  }
}

// Whole codes without noise: hum steps whole rows, and a level between codes is no pattern.
TEST(PictureLevelNoise, RoundingIsNoneOfIt) {
  for (const double hum : {0.0, 0.5, 3.0}) {
    Scene s;
    s.line = frame_synth::flat(0.437);
    s.hum_percent = hum;
    frame_synth::Source source(s, 25, 1);
    const Readings r = measure::measure_picture(source, {});
    for (const char* id : {"picture.noise.rows", "picture.noise.fixed"}) {
      EXPECT_FALSE(get(r, id).measured()) << id << get(r, id).number();
      EXPECT_LT(get(r, id).at_most.value_or(0), 0.5) << id;
    }
  }
}

TEST(PictureLevelNoise, ClaimsOfRowsAndOfWhatStandsCover) {
  for (const bool rows : {true, false}) {
    coverage::expect_coverage(rows ? "picture.noise.rows" : "picture.noise.fixed", 60, [rows](unsigned seed) {
      Scene s;
      s.line = frame_synth::flat(0.3 + 0.4 * std::fmod(seed * 0.271, 1.0));
      s.noise = 0.6 + 3 * std::fmod(seed * 0.618, 1.0);
      (rows ? s.row_noise : s.stands) = 0.8 + 3 * std::fmod(seed * 0.414, 1.0);
      const Readings r = frame_synth::measure(s, 6, seed);
      const Reading& x = get(r, rows ? "picture.noise.rows" : "picture.noise.fixed");
      return coverage::Trial{x.number(), x.uncertainty.value_or(0), rows ? s.row_noise : s.stands};
    });
  }
}

// Of a live picture as well: jitter makes noise of its detail, and what is left of that is the noise or a
// bound.
TEST(PictureLevelNoise, JitterOfALivePictureIsNoneOfIt) {
  for (const double jitter : {0.0, 0.1, 0.25, 0.5, 1.0}) {
    for (const double noise : {1.0, 2.5}) {
      Scene s;
      s.noise = noise;
      s.jitter = jitter;
      // Detail of all sizes, half of the picture with little of it.
      s.picture = [](double x, double row) {
        const double much = 0.5 + 0.5 * std::tanh((x - 300 + 80 * std::sin(row / 60)) / 20);
        return 0.45 + 0.1 * std::sin(x / 90 + row / 70) + 0.03 * std::sin(x / 7 - row / 9) +
               much * (0.1 * std::sin(x / 4 + row / 30) + 0.1 * std::sin(x / 11 - row / 25));
      };
      const Readings r = frame_synth::measure(s, 20, 7);
      const Reading& n = *find_reading(r, "picture.noise");
      SCOPED_TRACE(fmt::format("jitter {} px, noise {}: {}", jitter, noise, n.reason));
      if (jitter <= 0.1) {
        ASSERT_TRUE(n.measured());
      }
      if (n.measured()) {
        EXPECT_NEAR(n.number(), noise, n.uncertainty.value());
        EXPECT_NEAR(n.number(), noise, 0.07 * noise + n.uncertainty.value());
      } else {
        EXPECT_GT(n.at_most.value_or(0), noise);
      }
    }
  }
}

// A spike at each half of a mains period, dying away within a line, is no noise of the other lines.
TEST(PictureLevelNoise, ADimmersSpikesAreNoNoise) {
  for (const int frames : {4, 8, 16, 25}) {
    for (const double amplitude : {6.0, 12.0, 25.0}) {
      Scene s;
      s.line = frame_synth::flat(0.5);
      s.noise = 1;
      s.wave = [amplitude](double t) {
        const double since = std::fmod(t, 1 / 120.04);
        return amplitude * std::exp(-since / 60e-6);
      };
      s.lines = 525;
      const Readings r = frame_synth::measure(s, frames);
      const Reading& noise = *find_reading(r, "picture.noise");
      ASSERT_TRUE(noise.measured()) << noise.reason;
      EXPECT_NEAR(noise.number(), 1, 1.5 * noise.uncertainty.value()) << frames << ' ' << amplitude;
      EXPECT_NEAR(noise.number(), 1, 0.07) << frames << ' ' << amplitude;
    }
  }
}

}  // namespace
