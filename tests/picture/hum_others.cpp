// What is no mains hum, or more than one: flicker, other frequencies, pulses, two supplies, slow bars, lost
// time.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <linebench/capture/lent_frames.hpp>

#include "support/coverage.hpp"
#include "support/frame_synth.hpp"
#include "support/stopwatch.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

const Reading& level(const Readings& r) { return *find_reading(r, "picture.hum.level"); }
double turns(double t, double hz) { return std::sin(2 * std::numbers::pi * hz * t); }

Scene flat_field() {
  Scene s;
  s.line = frame_synth::flat(0.5);
  s.noise = 1.2;
  return s;
}

// A lamp or an exposure that flickers changes the whole field at once; hum takes its time over the rows.
TEST(PictureHumOthers, FlickerAndOtherFrequenciesAreNoMainsHum) {
  Scene s = flat_field();
  s.other = [](double, int frame, int row) { return turns(0.04 * frame + 0.02 * (row % 2), 3.7); };
  Readings r = measure(s, 100);
  EXPECT_FALSE(level(r).measured()) << level(r).number();
  EXPECT_FALSE(level(r).at_most.has_value());
  EXPECT_NE(level(r).reason.find("flickers"), std::string::npos);
  for (const double hz : {33.3, 83.4, 217.0, 400.0, 371.0}) {
    s.other = [hz](double t, int, int) { return 0.5 * turns(t, hz); };
    r = measure(s, 100);
    EXPECT_FALSE(level(r).measured()) << hz << " Hz read as " << level(r).number();
    if (hz < 380) {
      EXPECT_NE(level(r).reason.find(fmt::format("at {:.1f} Hz", hz)), std::string::npos) << level(r).reason;
    }
  }
}

// A picture that rolls with hum bars on it: the roll stays right, and the hum is either right or not told.
TEST(PictureHumOthers, RollingPictureWithHum) {
  unsigned combination = 0;
  for (const double lines : {0.6, -3.2, 9.0}) {
    for (const double percent : {0.5, 2.0, 6.0, 15.0}) {
      if (!coverage::taken(combination++, 3)) continue;
      Scene s;
      s.noise = 1.5;
      s.picture = frame_synth::landscape;
      s.roll = lines;
      s.hum_percent = percent;
      s.hum_hz = 50.7;
      const Readings r = measure(s, 25);
      const Reading& roll = *find_reading(r, "picture.roll");
      ASSERT_TRUE(roll.measured()) << lines << " lines, " << percent << " %: " << roll.reason;
      EXPECT_NEAR(roll.number(), lines, 0.1) << percent;
      EXPECT_NEAR(roll.number(), lines, 1.5 * roll.uncertainty.value()) << percent;
      if (level(r).measured()) {
        EXPECT_NEAR(level(r).number(), percent, 0.05 * percent + 0.2) << lines;
      }
    }
  }
}

// Bars drawn one cycle over a field's 288 rows, as if there were no lines in blanking: no mains does that at
// the rate it seems to have, and the level's uncertainty says so.
TEST(PictureHumOthers, DrawnWithoutBlanking) {
  int inside = 0;
  double claimed = 0;
  for (int i = 0; i < 12; ++i) {
    Scene s = flat_field();
    s.line = i % 2 == 0 ? frame_synth::flat(0.5) : frame_synth::bars(0.75, 0.75);
    const double percent = 1 + i % 4;
    s.other = [=](double, int, int row) {
      return percent / 2 * std::sin(2 * std::numbers::pi * (row / 2) / 288.0 + 0.55 * i);
    };
    const Readings r = measure(s, 25, static_cast<unsigned>(i + 1));
    if (!level(r).measured()) {
      ++inside;
      continue;
    }
    std::printf("  %.0f %%: %.3f +-%.3f\n", percent, level(r).number(), level(r).uncertainty.value());
    inside += std::abs(level(r).number() - percent) <= level(r).uncertainty.value() ? 1 : 0;
    claimed = std::max(claimed, level(r).uncertainty.value() / percent);
  }
  EXPECT_GE(inside, 11);
  EXPECT_LT(claimed, 0.3);
}

// A saw at twice the mains [Fourier: amplitudes 1/k]: what is counted, and what sharper edges leave open.
TEST(PictureHumOthers, PulsesOfARectifier) {
  Scene s = flat_field();
  const auto saw = [](double t) {
    double v = 0;
    for (int k = 1; k <= 8; ++k) v += std::sin(2 * std::numbers::pi * 100.3 * k * t + 0.3 * k) / k;
    return v;
  };
  s.other = [saw](double t, int, int) { return saw(t); };
  double high = 0, low = 0;
  for (int i = 0; i < 9999; ++i) {
    high = std::max(high, saw(i / 9999.0 / 100.3));
    low = std::min(low, saw(i / 9999.0 / 100.3));
  }
  const Readings r = measure(s, 100);
  EXPECT_NEAR(level(r).number(), high - low, level(r).uncertainty.value());
  EXPECT_LT(level(r).uncertainty.value(), 0.2 * (high - low));
  EXPECT_NE(level(r).reason.find("up to 401 Hz"), std::string::npos) << level(r).reason;
  EXPECT_NEAR(find_reading(r, "picture.hum.frequency")->number(), 100.3, 0.02);
}

TEST(PictureHumOthers, TwoSuppliesThatAreNotInStep) {
  Scene s = flat_field();
  s.hum_percent = 2;
  s.hum_hz = 50.1;
  s.other = [](double t, int, int) { return 0.5 * turns(t, 60.0); };
  const Readings r = measure(s, 100);
  EXPECT_NEAR(level(r).number(), 2, 0.1);
  EXPECT_NE(level(r).reason.find("another 1 % at 60.00 Hz"), std::string::npos) << level(r).reason;
  s.other = nullptr;
  EXPECT_EQ(level(measure(s, 100)).reason.find("another"), std::string::npos);
}

// An earth loop at the mains beside the ripple of a supply that a generator feeds: both are named, whichever
// is more, though half the ripple's frequency is as good as the mains'.
TEST(PictureHumOthers, RippleOfAnotherMainsIsNamedBesideTheLoop) {
  const struct {
    double loop, hz, ripple, ripple_hz;
  } cases[] = {{1, 50.03, 1, 99.70}, {1.2, 50.03, 1, 99.70}, {1, 50.0, 1, 100.30}, {1, 49.9, 1.5, 100.2}};
  for (const auto& c : cases) {
    Scene s = flat_field();
    s.hum_percent = c.loop;
    s.hum_hz = c.hz;
    s.other = [&](double t, int, int) { return 0.5 * c.ripple * turns(t, c.ripple_hz); };
    const Readings r = measure(s, 250);
    ASSERT_TRUE(level(r).measured());
    const double hz = find_reading(r, "picture.hum.frequency")->number();
    const bool loop = std::abs(hz - c.hz) < 0.02;
    EXPECT_NEAR(hz, loop ? c.hz : c.ripple_hz, 0.02);
    EXPECT_NEAR(level(r).number(), loop ? c.loop : c.ripple, level(r).uncertainty.value_or(0));
    const std::string other = fmt::format("beside it another {:.2g} % at {:.2f} Hz", loop ? c.ripple : c.loop,
                                          loop ? c.ripple_hz : c.hz);
    EXPECT_NE(level(r).reason.find(other), std::string::npos) << level(r).reason;
  }
}

// Bars that take longer through a live picture than the capture lasts are not said to be absent.
TEST(PictureHumOthers, SlowBarsOnALivePicture) {
  Scene s;
  s.picture = frame_synth::landscape;
  s.noise = 1.5;
  s.hum_percent = 1.5;
  s.hum_hz = 50.13;  // 7.7 s a pass
  const Readings r = measure(s, 75);
  ASSERT_FALSE(level(r).measured());
  EXPECT_NE(level(r).reason.find("in less than 3 s"), std::string::npos) << level(r).reason;
}

// A vehicle lane at night: lamps come nearer, their light on the road broad, bright and as wide as the
// picture.
TEST(PictureHumOthers, LampsOfACarAreNoHum) {
  for (const double percent : {0.0, 2.0}) {
    std::vector<capture::Frame> frames;
    for (int n = 0; n < 100; ++n) {
      Scene s;
      s.noise = 2.5;
      s.picture = [n](double x, double row) {
        const double far = 1 - (n + 0.5 * std::fmod(row, 2)) / 75;  // three seconds of the four
        const double size = 60 + 150 * (1 - far);
        const double dx = (x - 360) / size, dy = (row - 80 - 600 * (1 - far) * (1 - far)) / (0.5 * size);
        const double light = far > 0 ? 0.6 * std::exp(-0.5 * (dx * dx + dy * dy)) : 0;
        return std::min(1.0, 0.3 * frame_synth::landscape(x, row) + light);
      };
      s.other = [n, percent](double, int, int row) {
        const double t = n / 25.0 + (row % 2) / 50.0 + (row / 2) * 64e-6;
        return 0.5 * percent * turns(t, 50.7);
      };
      frame_synth::Source source(s, 1, static_cast<unsigned>(n) + 1);
      frames.emplace_back();
      (void)source.read(frames.back());
      frames.back().number = static_cast<std::uint64_t>(n);
    }
    capture::LentFrames lane(frames, Scene{}.format());
    const Readings r = measure::measure_picture(lane, {});
    if (percent == 0) {
      EXPECT_FALSE(level(r).measured()) << level(r).number() << " +-" << level(r).uncertainty.value_or(0);
    } else if (level(r).measured()) {
      EXPECT_NEAR(level(r).number(), percent, level(r).uncertainty.value_or(0));
    }
  }
}

// A wall that is lit from above, a card before it: a natural picture that stands still is no hum, and its own
// shading is not told as one. What moves over it still is.
TEST(PictureHumOthers, ShadingOfAPictureThatStandsStill) {
  const auto lit = [](double, double row) { return 0.7 - 0.4 * row / 576 + 0.05 * std::sin(row / 70); };
  const auto card = [](double x, double row) {
    return 0.35 + 0.05 * std::sin(row / 13 + x / 60) + 0.4 / (1 + std::exp(-(row - 290 - x / 20) / 2));
  };
  const std::function<double(double, double)> pictures[] = {lit, card};
  for (const auto& picture : pictures) {
    for (const int lines : {625, 525}) {
      for (const int frames : {12, 75}) {
        Scene s;
        s.lines = lines;
        s.picture = picture;
        s.noise = 0.7;
        const Readings r = measure(s, frames);
        const Reading* pattern = find_reading(r, "picture.pattern");
        if (pattern->text() != "none") continue;  // a wall that is lit evenly passes for a flat field
        EXPECT_FALSE(level(r).measured()) << lines << ", " << frames << " frames: " << level(r).number();
      }
    }
  }
  Scene moving;
  moving.picture = card;
  moving.noise = 0.7;
  moving.hum_percent = 2;
  moving.hum_hz = 50.9;
  const Readings r = measure(moving, 100);
  ASSERT_TRUE(level(r).measured()) << level(r).reason;
  EXPECT_NEAR(level(r).number(), 2, 0.1);
}

// A grey field that goes straight from dark to bright, as a tired coupling capacitor or a lamp above makes
// it: no bar of hum, standing or moving. A bar that stands still bends, and is still read with its doubt.
TEST(PictureHumOthers, AStraightShadingIsNoStandingBar) {
  for (const int lines : {625, 525}) {
    for (const double codes : {4.0, -12.0}) {
      Scene s;
      s.lines = lines;
      s.noise = 1.2;
      s.picture = [&](double, double row) { return 0.5 + codes / 219 * (row / s.height() - 0.5); };
      const Readings r = measure(s, 100);
      ASSERT_FALSE(level(r).measured()) << lines << " lines, " << codes << ": " << level(r).number();
      EXPECT_NE(level(r).reason.find("straight line"), std::string::npos) << level(r).reason;
    }
    Scene s = flat_field();
    s.lines = lines;
    s.hum_percent = 3;
    s.hum_hz = lines == 625 ? 50 : 60000.0 / 1001;
    for (const double phase : {0.0, 1.6}) {
      s.hum_phase = phase;
      const Readings r = measure(s, 100);
      ASSERT_TRUE(level(r).measured()) << level(r).reason;
      EXPECT_NEAR(level(r).number(), 3, 0.2);
      EXPECT_NE(level(r).reason.find("shading"), std::string::npos);
    }
  }
}

// Codes without noise hide what is less than a code: no hum is seen in them, and no smaller bound is claimed.
TEST(PictureHumOthers, WholeCodesWithoutNoise) {
  Scene s;
  const Readings r = measure(s, 50);
  ASSERT_FALSE(level(r).measured());
  ASSERT_TRUE(level(r).at_most.has_value());
  EXPECT_GT(*level(r).at_most, 0.2);
  EXPECT_LT(*level(r).at_most, 0.5);
}

// Bars a code or two deep that no noise dithers: whole codes bend them by up to half a code at either turn.
TEST(PictureHumOthers, FewCodesWithoutNoiseAreInTheClaim) {
  int inside = 0, all = 0;
  unsigned combination = 0;
  for (const double centre : {125.0, 125.25, 125.5, 125.75}) {
    for (const double percent : {0.6, 1.0, 1.7, 4.0}) {
      if (!coverage::taken(combination++, 3)) continue;
      Scene s;
      s.line = frame_synth::flat((centre - 16) / 219);
      s.hum_percent = percent;
      s.hum_hz = 50.1;
      const Readings r = measure(s, 100);
      if (!level(r).measured()) continue;
      ++all;
      inside += std::abs(level(r).number() - percent) <= level(r).uncertainty.value_or(0) ? 1 : 0;
      EXPECT_NEAR(level(r).number(), percent, 1.5 * level(r).uncertainty.value_or(0)) << centre;
    }
  }
  EXPECT_GT(all, coverage::whole() ? 8 : 3);
  EXPECT_GE(inside, coverage::least_share(0.9, all) * all);
}

// A count of frames that jumps is no work without end.
TEST(PictureHumOthers, TimeThatJumps) {
  class Jumping final : public capture::FrameSource {
   public:
    explicit Jumping(const Scene& s) : source_(s, 60, 1) {}
    [[nodiscard]] const CaptureFacts& facts() const override { return source_.facts(); }
    [[nodiscard]] const capture::FrameFormat& format() const override { return source_.format(); }
    bool read(capture::Frame& f) override {
      if (!source_.read(f)) return false;
      if (f.number >= 30) f.number += 1'000'000'000;
      return true;
    }

   private:
    frame_synth::Source source_;
  };
  Scene s = flat_field();
  s.hum_percent = 2;
  Jumping source(s);
  const stopwatch::Stopwatch watch;
  const Readings r = measure::measure_picture(source, {});
  EXPECT_LT(watch.seconds(), 20);
  EXPECT_NEAR(level(r).number(), 2, 0.1);
  EXPECT_NEAR(find_reading(r, "picture.hum.frequency")->number(), 50.2, 0.05);
}

}  // namespace
