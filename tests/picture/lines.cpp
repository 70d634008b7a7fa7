// Lines beside each other: where a tear stands, what is none, and how it shows on a crosshatch.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <linebench/measure/picture.hpp>
#include <numbers>

#include "support/changed_frames.hpp"
#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

void expect_within(const Readings& r, const char* id, double truth, double most_u) {
  const Reading& x = get(r, id);
  ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
  EXPECT_NEAR(x.number(), truth, x.uncertainty.value()) << id;
  EXPECT_LT(x.uncertainty.value(), most_u) << id;
}

// Where a recorder's heads change over, 6.5 lines before the field's sync, is within the last lines shown
// [common practice]; hum on sync pulls there as well.
TEST(PictureLines, TearOfTheLastLines) {
  for (const int rows : {8, 10, 14, 24, 40}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = 0.03;
    s.shift = [rows](int, int row) { return row >= 576 - rows ? 6.0 : 0.0; };
    const Readings r = measure(s, 8);
    expect_within(r, "picture.tear", 6, 0.3);
    expect_within(r, "picture.jitter", 0.03, 0.02);
  }
}

// White specks, as many as lines, each 3 px wide: they move the places of single lines.
TEST(PictureLines, SpecksAreNoTear) {
  for (const int specks : {100, 400, 1000}) {
    Scene s;
    s.coloured_bars = true;
    s.noise = 1;
    std::mt19937 random(7);
    frame_synth::Changed source(s, 30, [&](capture::Frame& f, int) {
      for (int k = 0; k < specks; ++k) {
        const auto at = static_cast<std::ptrdiff_t>(random() % (f.y.size() - 3));
        std::fill_n(f.y.begin() + at, 3, std::uint8_t{235});
      }
    });
    const Readings r = measure::measure_picture(source, {});
    const Reading& tear = get(r, "picture.tear");
    if (tear.measured()) {
      EXPECT_EQ(tear.number(), 0) << specks << ": " << tear.reason;
    }
  }
}

// Heads that are not quite steady: the claim holds the wobble.
TEST(PictureLines, TearThatWobbles) {
  std::mt19937 random(11);
  std::normal_distribution<double> normal(6, 0.3);
  Scene s;
  s.noise = 1.5;
  double px = 6;
  s.shift = [&](int, int row) {
    if (row == 0) px = normal(random);
    return row >= 576 - 14 ? px : 0.0;
  };
  const Readings r = measure(s, 25);
  expect_within(r, "picture.tear", 6, 1);
  EXPECT_NE(get(r, "picture.tear").reason.find("6.0 px on average"), std::string::npos);
}

// Weak edges in strong noise are found elsewhere now and then: of a scene in the dark no step is told.
TEST(PictureLines, NightIsNoTear) {
  for (const double noise : {4.0, 6.0, 8.0}) {
    Scene s;
    s.lines = 525;
    s.noise = noise;
    // Walls and doors: what is upright runs through half of the picture or more.
    s.picture = [](double x, double row) {
      const double wall = 0.12 + 0.06 * frame_synth::step(x, 180) - 0.05 * frame_synth::step(x, 420);
      return row > 90 ? wall + 0.04 * frame_synth::step(x, 560) : 0.1;
    };
    const Readings r = measure(s, 60);
    for (const char* id : {"picture.tear", "picture.flagging"}) {
      const Reading& x = get(r, id);
      EXPECT_TRUE(!x.measured() || std::abs(x.number()) <= x.uncertainty.value_or(0))
          << id << " " << x.number() << " " << x.reason;
    }
  }
}

// A flywheel lets go of what is faster than it: jitter of white noise through a mean of five lines, or
// through a low-pass of first order over eight. There is no step in it.
TEST(PictureLines, JitterThatGoesOnFromLineToLineIsNoTear) {
  for (const bool first_order : {false, true}) {
    for (const double rms : {0.3, 0.6}) {
      std::mt19937 random(7);
      std::normal_distribution<double> normal;
      double history[2][5] = {};
      Scene s;
      s.noise = 1.5;
      double square = 0, n = 0;
      s.shift = [&](int, int row) {
        double* h = history[row % 2];
        const double fresh = normal(random);
        double d = 0;
        if (first_order) {
          const double a = std::exp(-1.0 / 8);
          d = h[0] = a * h[0] + std::sqrt(1 - a * a) * fresh;
        } else {
          std::copy_backward(h, h + 4, h + 5);
          h[0] = fresh;
          d = (h[0] + h[1] + h[2] + h[3] + h[4]) / std::sqrt(5.0);
        }
        square += rms * rms * d * d;
        n += 1;
        return rms * d;
      };
      const Readings r = measure(s, 40);
      // There may be one that is lost in it: what is said is how large.
      EXPECT_FALSE(get(r, "picture.tear").measured()) << get(r, "picture.tear").number();
      EXPECT_GT(get(r, "picture.tear").at_most.value_or(0), 3 * rms);
      EXPECT_LT(get(r, "picture.tear").at_most.value_or(99), 9 * rms);
      EXPECT_NEAR(get(r, "picture.jitter").number(), std::sqrt(square / n), 0.1 * rms + 0.03);
      // And a tear far beyond it is still one.
      const auto jitter = s.shift;
      s.shift = [&](int frame, int row) { return jitter(frame, row) + (row >= 300 ? 12 : 0); };
      expect_within(measure(s, 10), "picture.tear", 12, 4);
    }
  }
}

// A decoder with a notch leaves some of the subcarrier at the edges of bars, where colour changes: 3.579545
// MHz or 4.43361875 MHz [BT.470], a raised cosine of 12 px on either side, in the phase its line and frame
// have. Lines do not move by it, and those that do move as far as they did.
class WithSubcarrierAtEdges final : public capture::FrameSource {
 public:
  WithSubcarrierAtEdges(const Scene& s, int frames, double codes)
      : lines_(s.lines), codes_(codes), source_(s, frames, 5) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return source_.facts(); }
  [[nodiscard]] const capture::FrameFormat& format() const override { return source_.format(); }
  bool read(capture::Frame& f) override {
    if (!source_.read(f)) return false;
    const double subcarrier_hz = lines_ == 625 ? 4433618.75 : 315e6 / 88;
    const double line_s = lines_ == 625 ? 64e-6 : 1001.0 / 15750000;
    const std::size_t w = 720, rows = f.y.size() / w;
    for (std::size_t row = 0; row < rows; ++row) {
      const double line = static_cast<double>(f.number) * lines_ + static_cast<double>(row / 2) +
                          (row % 2 == 0 ? 0.0 : (lines_ + 1) / 2);
      for (std::size_t x = 78; x < 642; ++x) {
        const double at = static_cast<double>((x + 45) % 90) - 45;
        if (std::abs(at) > 12) continue;
        const double size = codes_ * 0.5 * (1 + std::cos(std::numbers::pi * at / 12));
        const double t = line * line_s + static_cast<double>(x) / 13.5e6;
        std::uint8_t& y = f.y[row * w + x];
        y = static_cast<std::uint8_t>(
            std::lround(y + size * synth::sine(2 * std::numbers::pi * subcarrier_hz * t)));
      }
    }
    return true;
  }

 private:
  int lines_;
  double codes_;
  frame_synth::Source source_;
};

TEST(PictureLines, SubcarrierLeftAtEdgesIsNoJitter) {
  for (const int lines : {525, 625}) {
    for (const double codes : {4.0, 10.0}) {
      for (const double jitter : {0.0, 0.2}) {
        Scene s;
        s.lines = lines;
        s.noise = 1;
        s.coloured_bars = true;
        s.jitter = jitter;
        WithSubcarrierAtEdges source(s, 40, codes);
        SCOPED_TRACE(fmt::format("{} lines, {} codes, {} px", lines, codes, jitter));
        expect_within(linebench::measure::measure_picture(source, {}), "picture.jitter", jitter, 0.2);
      }
    }
  }
}

// 17 uprights of 3 px, 43.9 px apart, and 13 level lines of 2 rows.
double crosshatch(double x, double row) {
  if (row >= 20 && std::fmod(row - 20, 44) < 2) return 1;
  constexpr double apart = 43.875;
  const double at = x - 9 - apart * std::clamp(std::round((x - 9) / apart), 0.0, 16.0);
  return frame_synth::step(at, -1.5) - frame_synth::step(at, 1.5);
}

TEST(PictureLines, TearsOfACrosshatch) {
  struct Tear {
    double px;
    int from, to;
  };
  for (const Tear t : {Tear{4, 300, 576}, Tear{5, 200, 260}, Tear{-6, 536, 576}, Tear{6, 562, 576},
                       Tear{1.5, 300, 576}, Tear{-9.3, 100, 500}}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = 0.03;
    s.picture = crosshatch;
    s.shift = [t](int, int row) { return row >= t.from && row < t.to ? t.px : 0.0; };
    const Readings r = measure(s, 13);
    EXPECT_EQ(get(r, "picture.pattern").text(), "crosshatch");
    expect_within(r, "picture.tear", std::abs(t.px), 0.2);
    expect_within(r, "picture.jitter", 0.03, 0.02);
    EXPECT_EQ(get(r, "picture.flagging").number(), 0);
    // A grid looks alike when it is moved by one of its squares.
    EXPECT_NE(get(r, "picture.tear").reason.find("would look alike"), std::string::npos);
  }
}

TEST(PictureLines, FlaggingOfACrosshatch) {
  for (const double px : {8.0, -3.0}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = 0.03;
    s.picture = crosshatch;
    s.shift = [px](int, int row) { return px * std::exp(-row / 30.0); };
    const Readings r = measure(s, 13);
    expect_within(r, "picture.flagging", px, 0.5);
    expect_within(r, "picture.jitter", 0.03, 0.02);
    EXPECT_EQ(get(r, "picture.tear").number(), 0);
  }
}

// Lines so far off that the mean over frames has no edges left; each frame has.
TEST(PictureLines, StrongJitterOfFaintBars) {
  for (const double px : {5.0, 8.0}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = px;
    const Readings r = measure(s, 15);
    EXPECT_EQ(get(r, "picture.pattern").text(), "bars-75");
    expect_within(r, "picture.jitter", px, 0.1 * px);
    EXPECT_FALSE(get(r, "picture.tear").measured());
  }
}

// Hum on sync moves lines by A sin(2 pi f t): A / sqrt 2 rms over whole passes, however long one looks,
// whether it stands or creeps. It is no bend of the top and no tear.
TEST(PictureLines, BendOfAllLinesByHumOnSync) {
  struct Hum {
    double hz, px;
    int frames;
    int lines;
  };
  for (const Hum h : {Hum{50.3, 1.414, 12, 625}, Hum{50.3, 1.414, 50, 625}, Hum{50.0, 4, 15, 625},
                      Hum{47.0, 2, 20, 625}, Hum{60.0, 2, 15, 525}, Hum{100.4, 1, 15, 625}}) {
    Scene s;
    s.lines = h.lines;
    s.noise = 1.5;
    s.jitter = 0.05;
    double sum = 0, squares = 0, n = 0;
    s.shift = [&](int frame, int row) {
      const double field_s = h.lines == 625 ? 0.02 : 1001.0 / 60000;
      const bool second = (row % 2 == 0) != (h.lines == 625);
      const double t = 2 * field_s * frame + (second ? field_s : 0) +
                       row / 2 * (h.lines == 625 ? 64e-6 : 1001.0 / 30000 / 525);
      const double d = h.px * std::sin(2 * std::numbers::pi * h.hz * t + 0.5);
      sum += d, squares += d * d, n += 1;
      return d;
    };
    const Readings r = measure(s, h.frames);
    const double rms = std::hypot(0.05, std::sqrt(squares / n - sum / n * (sum / n)));
    expect_within(r, "picture.jitter", rms, 0.03 * rms + 0.01);
    EXPECT_NE(get(r, "picture.jitter").reason.find("hum on sync"), std::string::npos) << h.hz;
    EXPECT_EQ(get(r, "picture.flagging").number(), 0) << h.hz;
    EXPECT_EQ(get(r, "picture.tear").number(), 0) << h.hz;
  }
  // What bends or tears otherwise is none.
  for (const int kind : {0, 1, 2}) {
    Scene s;
    s.noise = 1.5;
    s.shift = [kind](int, int row) {
      return kind == 0 ? 5 * std::exp(-row / 60.0) : kind == 1 ? (row > 300 ? 5 : 0) : 0.004 * row;
    };
    EXPECT_EQ(get(measure(s, 8), "picture.jitter").reason, "") << kind;
  }
}

// A tear that wanders down the picture is no roll: the level lines stand. Where they go with it, it is one.
TEST(PictureLines, TearThatWandersDownACrosshatch) {
  Scene s;
  s.noise = 1.5;
  s.jitter = 0.03;
  s.picture = crosshatch;
  s.shift = [](int frame, int row) { return row >= 20 * frame % 440 + 100 ? 6.0 : 0.0; };
  Readings r = measure(s, 25);
  EXPECT_NEAR(get(r, "picture.roll").number(), 0, get(r, "picture.roll").uncertainty.value());
  expect_within(r, "picture.tear", 6, 0.3);
  expect_within(r, "picture.jitter", 0.03, 0.03);
  EXPECT_EQ(get(r, "picture.flagging").number(), 0);
  // Now and then it begins so far up that all but the top is beside: the top does not bend for that.
  s.shift = [](int frame, int row) { return row >= 20 * frame % 500 + 30 ? 6.0 : 0.0; };
  r = measure(s, 25);
  EXPECT_EQ(get(r, "picture.flagging").number(), 0);
  expect_within(r, "picture.jitter", 0.03, 0.03);
  s.shift = {};
  s.roll = 20;
  r = measure(s, 25);
  EXPECT_NEAR(get(r, "picture.roll").number(), 20, get(r, "picture.roll").uncertainty.value());
}

// Two frames tell a variance as three do, with one degree of freedom a line.
TEST(PictureLines, JitterByTwoFrames) {
  for (const int frames : {2, 3, 4}) {
    Scene s;
    s.noise = 1;
    s.jitter = 0.6;
    const Readings r = measure(s, frames);
    const Reading& j = *find_reading(r, "picture.jitter");
    ASSERT_TRUE(j.measured()) << j.reason;
    EXPECT_NEAR(j.number(), 0.6, 0.06 + 0.03) << frames;
    EXPECT_NEAR(j.number(), 0.6, 1.5 * j.uncertainty.value()) << frames;
  }
}

// Bars or a grid torn in the midst of jitter: a number that holds, or none.
TEST(PictureLines, JitterBesideATear) {
  for (const bool grid : {true, false}) {
    for (const double jitter : {0.2, 0.5, 1.0}) {
      for (const double tear : {3.0, 8.0}) {
        Scene s;
        s.noise = 1;
        s.jitter = jitter;
        s.shift = [tear](int, int row) { return row >= 300 && row < 380 ? tear : 0.0; };
        if (grid) {
          s.picture = [](double x, double row) {
            const double at = std::fmod(x + 24, 48.0);
            const double upright = frame_synth::step(at, 22) - frame_synth::step(at, 25);
            return static_cast<int>(std::lround(row)) % 48 < 2 ? 0.8 : 0.8 * upright;
          };
        }
        const Readings r = frame_synth::measure(s, 10);
        const Reading& x = *find_reading(r, "picture.jitter");
        SCOPED_TRACE(testing::Message() << grid << ' ' << jitter << ' ' << tear);
        if (x.measured()) {
          EXPECT_NEAR(x.number(), jitter, 1.3 * x.uncertainty.value());
        } else {
          EXPECT_GE(x.at_most.value(), jitter);
        }
      }
    }
  }
}

}  // namespace
