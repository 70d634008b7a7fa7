// Live pictures of which nothing stands still: a camera on a pole that sways up and down, and lamps that
// flicker; what they do to noise and jitter. Places and light are closed forms of each field's time.
#include <gtest/gtest.h>

#include <random>

#include "support/changed_frames.hpp"

namespace {
using namespace linebench;
using capture::Frame;
using frame_synth::Changed;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

// Detail of many sizes and directions, none of it upright: twelve waves, their parts along the row in tables.
class Detail {
 public:
  Detail() {
    for (int k = 0; k < waves; ++k) {
      const double size = 4.0 * std::pow(1.45, k + 1), turn = 2.4 * (k + 1);
      along_[k] = 2 * std::numbers::pi / size * std::cos(turn);
      down_[k] = 2 * std::numbers::pi / size * std::sin(turn);
      for (int x = 0; x < 720; ++x) {
        sine_[k].push_back(0.012 * std::sqrt(k + 1) * std::sin(along_[k] * x));
        cosine_[k].push_back(0.012 * std::sqrt(k + 1) * std::cos(along_[k] * x));
      }
    }
  }
  /// A row moved right by `aside` px; share of white.
  [[nodiscard]] std::vector<double> row(double at, double aside) const {
    std::vector<double> v(720, 0.45);
    for (int k = 0; k < waves; ++k) {
      const double phase = down_[k] * at - along_[k] * aside + k * k;
      const double s = std::sin(phase), c = std::cos(phase);
      for (std::size_t x = 0; x < v.size(); ++x) v[x] += sine_[k][x] * c + cosine_[k][x] * s;
    }
    return v;
  }

 private:
  static constexpr int waves = 12;
  double along_[waves], down_[waves];
  std::vector<double> sine_[waves], cosine_[waves];
};

struct Live {
  double rows = 0, sway_hz = 2;      // up and down
  double flicker = 0, light_hz = 0;  // of all light
  double jitter = 0;
};
Readings live(const Live& l, int frames) {
  Scene s;
  s.noise = 0;
  std::mt19937 random(11);
  std::normal_distribution<double> normal;
  const Detail detail;
  Changed source(s, frames, [&](Frame& f, int n) {
    for (int r = 0; r < 576; ++r) {
      const double t = n * 0.04 + (r % 2) * 0.02;
      const double row = r + l.rows * std::sin(2 * std::numbers::pi * l.sway_hz * t);
      const double light = 1 + l.flicker * std::sin(2 * std::numbers::pi * l.light_hz * t);
      const std::vector<double> line = detail.row(row, l.jitter * normal(random));
      for (std::size_t x = 0; x < 720; ++x)
        f.y[static_cast<std::size_t>(r) * 720 + x] = static_cast<std::uint8_t>(
            std::clamp(std::lround(16 + 219 * light * line[x] + 1.5 * normal(random)), 0L, 255L));
    }
  });
  return measure::measure_picture(source, {});
}
void expect_noise(const Readings& r, double most) {
  const Reading& noise = get(r, "picture.noise");
  if (!noise.measured() && noise.reason.find("sways") != std::string::npos) {
    EXPECT_GE(noise.at_most.value_or(0), 1.5);
    return;
  }
  ASSERT_TRUE(noise.measured()) << noise.reason;
  EXPECT_NEAR(noise.number(), 1.5, noise.uncertainty.value()) << noise.reason;
  EXPECT_LE(noise.uncertainty.value(), most) << noise.reason;
}

TEST(PictureSway, UpAndDownIsNeitherNoiseNorJitter) {
  for (const auto& [rows, hz] : {std::pair{0.5, 8.0}, {1.0, 2.0}, {3.0, 2.0}}) {
    SCOPED_TRACE(testing::Message() << rows << " rows at " << hz << " Hz");
    const Readings r = live({.rows = rows, .sway_hz = hz}, 40);
    expect_noise(r, 0.5);
    const Reading& jitter = get(r, "picture.jitter");
    if (jitter.measured()) {
      EXPECT_LE(jitter.number(), jitter.uncertainty.value());
    } else {
      EXPECT_NE(jitter.reason.find("sways"), std::string::npos) << jitter.reason;
    }
  }
}

TEST(PictureSway, LightThatFlickersIsNoNoise) {
  for (const auto& [share, hz] : {std::pair{0.15, 120.0}, {0.05, 119.9}}) {
    SCOPED_TRACE(hz);
    expect_noise(live({.flicker = share, .light_hz = hz}, 40), 0.4);
  }
}

// A picture that stands still keeps its small claim, and its lines' jitter.
TEST(PictureSway, NoneOfAPictureThatStandsStill) {
  for (const double jitter : {0.0, 0.3}) {
    const Readings r = live({.jitter = jitter}, 30);
    ASSERT_TRUE(get(r, "picture.noise").measured()) << get(r, "picture.noise").reason;
    expect_noise(r, 0.07);
    EXPECT_EQ(get(r, "picture.noise").reason.find("sways"), std::string::npos);
    ASSERT_TRUE(get(r, "picture.jitter").measured()) << get(r, "picture.jitter").reason;
    EXPECT_NEAR(get(r, "picture.jitter").number(), jitter, 0.1 * jitter + 0.03);
  }
}

}  // namespace
