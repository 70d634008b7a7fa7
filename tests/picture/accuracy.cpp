// Readings of the picture view against the closed forms of the frames they were taken from. Tolerances are
// the project's promises.
#include <gtest/gtest.h>

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

TEST(PictureHum, FromThreeTenthsOfAPercentOnAFlatField) {
  for (const double percent : {0.3, 1.0, 5.0}) {
    Scene s;
    s.line = frame_synth::flat(0.5);
    s.noise = 1;
    s.hum_percent = percent;
    s.hum_hz = 50.23;
    const Readings r = measure(s, 100);
    expect_value(r, "picture.hum.level", percent, 0.05 * percent + 0.2);
    EXPECT_NEAR(number(r, "picture.hum.level"), percent, 0.02 * percent + 0.01);  // in truth far better
    expect_value(r, "picture.hum.frequency", 50.23, 0.02);
    expect_value(r, "picture.hum.bar_rate", 0.23, 0.02);
    EXPECT_NE(get(r, "picture.hum.bar_rate").reason.find("upward"), std::string::npos);
  }
}

TEST(PictureHum, AliasesAndDirection) {
  // 50 Hz mains in a 525 picture: one bar, going down 9.94 times a second.
  Scene s;
  s.lines = 525;
  s.noise = 1;
  s.hum_percent = 3;
  s.hum_hz = 50;
  Readings r = measure(s, 30);
  expect_value(r, "picture.hum.frequency", 50, 0.1);
  expect_value(r, "picture.hum.bar_rate", 50 - 60000.0 / 1001, 0.1);
  EXPECT_NE(get(r, "picture.hum.bar_rate").reason.find("downward"), std::string::npos);
  // 60.00 against 59.94 Hz: 16.683 s a pass.
  s.hum_hz = 60;
  r = measure(s, 240);
  EXPECT_NEAR(1 / number(r, "picture.hum.bar_rate"), 16.683, 0.2);
}

TEST(PictureHum, TwiceTheMainsAndBothTogether) {
  Scene s;
  s.noise = 1;
  s.hum_hz = 49.9;
  s.hum2_percent = 2;
  Readings r = measure(s, 30);
  expect_value(r, "picture.hum.frequency", 99.8, 0.1);
  expect_value(r, "picture.hum.level", 2, 0.3);
  EXPECT_NE(get(r, "picture.hum.bar_rate").reason.find("2 bars"), std::string::npos);
  s.hum_percent = 2;
  r = measure(s, 30);
  expect_value(r, "picture.hum.frequency", 49.9, 0.1);
  // Peak to peak of a sum of two sines, by its definition.
  double high = 0, low = 0;
  for (int i = 0; i < 3600; ++i) {
    const double w = 2 * std::numbers::pi * i / 3600;
    const double v = std::sin(w + s.hum_phase) + std::sin(2 * w + 0.4);
    high = std::max(high, v);
    low = std::min(low, v);
  }
  expect_value(r, "picture.hum.level", high - low, 0.1);
}

TEST(PictureHum, UnderALivePictureThatStandsAndOneThatMoves) {
  Scene s;
  s.noise = 1.5;
  s.hum_percent = 2;
  s.hum_hz = 51.1;
  s.picture = frame_synth::landscape;
  Readings r = measure(s, 50);
  expect_value(r, "picture.hum.level", 2, 0.3);
  expect_value(r, "picture.hum.frequency", 51.1, 0.1);
  // Hum locked to the field rate cannot be told from a live picture: no number.
  s.hum_hz = 50;
  r = measure(s, 25);
  EXPECT_FALSE(get(r, "picture.hum.level").measured());
  EXPECT_FALSE(get(r, "picture.hum.level").at_most.has_value());
}

TEST(PictureHum, NoneOnCleanBars) {
  Scene s;
  s.noise = 1;
  const Readings r = measure(s, 25);
  EXPECT_FALSE(get(r, "picture.hum.level").measured());
  ASSERT_TRUE(get(r, "picture.hum.level").at_most.has_value());
  EXPECT_LT(*get(r, "picture.hum.level").at_most, 0.05);
}

TEST(PictureLines, JitterTearingFlagging) {
  for (const double px : {0.1, 0.5, 2.0}) {
    Scene s;
    s.noise = 1.5;
    s.jitter = px;
    expect_value(measure(s, 12), "picture.jitter", px, 0.1 * px + 0.03);
    s.picture = [](double x, double row) { return 0.9 * frame_synth::landscape(1.3 * x, row); };
    const Readings live = measure(s, 16);
    if (px < 1) {
      EXPECT_NEAR(number(live, "picture.jitter"), px, 0.1 * px + 0.03) << "live";
    }
  }
  Scene s;
  s.noise = 1;
  s.tear_px = 6;
  Readings r = measure(s, 8);
  expect_value(r, "picture.tear", 6, 0.7);
  EXPECT_NEAR(number(r, "picture.jitter"), 0, 0.1);
  EXPECT_EQ(number(r, "picture.flagging"), 0);
  s.tear_px = 0;
  s.flag_px = -7;
  r = measure(s, 8);
  expect_value(r, "picture.flagging", -7, 0.7);
  EXPECT_EQ(number(r, "picture.tear"), 0);
  // A bend must not be taken for hum, nor for an echo.
  EXPECT_FALSE(get(r, "picture.hum.level").measured());
  EXPECT_FALSE(get(r, "picture.echo.level").measured());
  EXPECT_NE(get(r, "picture.echo.level").reason.find("smears"), std::string::npos);
}

// A body of lines beside the others: few lines or most of them, near or far, once or always.
TEST(PictureLines, TearsOfAnyWidthAndLength) {
  struct Tear {
    double px;
    int from, to;
  };
  for (const Tear t : {Tear{1, 150, 230}, Tear{-3, 300, 312}, Tear{9, 300, 576}, Tear{12, 200, 400},
                       Tear{-20, 400, 500}, Tear{30, 130, 400}}) {
    Scene s;
    s.noise = 1.5;
    s.shift = [t](int, int row) { return row >= t.from && row < t.to ? t.px : 0.0; };
    const Readings r = measure(s, 10);
    EXPECT_NEAR(number(r, "picture.tear"), std::abs(t.px), 0.1 + 0.01 * std::abs(t.px)) << t.px;
    EXPECT_NEAR(number(r, "picture.flagging"), 0, 0.01) << t.px;
    EXPECT_NEAR(number(r, "picture.jitter"), 0, 0.03) << t.px;
  }
  Scene s;
  s.noise = 1.5;
  s.shift = [](int frame, int row) { return frame == 7 && row >= 200 && row < 240 ? 7.0 : 0.0; };
  EXPECT_NEAR(number(measure(s, 15), "picture.tear"), 7, 0.15);
}

TEST(PictureLines, FlaggingThatFallsFastOrSlowly) {
  struct Bend {
    double px, rows;
  };
  for (const Bend b : {Bend{1, 30}, Bend{4, 12}, Bend{-8, 40}, Bend{15, 20}, Bend{2, 100}}) {
    Scene s;
    s.noise = 1.5;
    s.shift = [b](int, int row) { return b.px * std::exp(-row / b.rows); };
    const Readings r = measure(s, 10);
    EXPECT_NEAR(number(r, "picture.flagging"), b.px, 0.15 + 0.02 * std::abs(b.px)) << b.px;
    EXPECT_LE(std::abs(number(r, "picture.flagging") - b.px),
              find_reading(r, "picture.flagging")->uncertainty.value());
    EXPECT_EQ(number(r, "picture.tear"), 0) << b.px;
  }
}

// Edges as sharp as a grabber's filter leaves them (flat to 5.6 MHz, an ideal low-pass), and lines far off.
TEST(PictureLines, JitterOfSharpEdges) {
  for (const double px : {0.05, 0.1, 0.2, 1.0, 6.0}) {
    Scene s;
    s.noise = 2;
    s.jitter = px;
    s.line = [](double x) {
      // Integral of sin(w t) / (pi t), w = 2 pi 5.6/13.5: an ideal low-pass's edge.
      const auto edge = [](double t) {
        const double w = 2 * std::numbers::pi * 5.6 / 13.5 * t;
        double si = 0;
        for (int i = 0; i < 200; ++i) {
          const double u = w * (i + 0.5) / 200;
          si += (std::abs(u) < 1e-9 ? 1.0 : std::sin(u) / u) * w / 200;
        }
        return std::abs(t) > 30 ? (t > 0 ? 1.0 : 0.0) : 0.5 + si / std::numbers::pi;
      };
      double v = frame_synth::bar_luma(0, 1, 0.75);
      for (int b = 1; b < 8; ++b)
        v += (frame_synth::bar_luma(b, 1, 0.75) - frame_synth::bar_luma(b - 1, 1, 0.75)) * edge(x - 90 * b);
      return v;
    };
    EXPECT_NEAR(number(measure(s, 20), "picture.jitter"), px, 0.005 + 0.02 * px);
  }
}

TEST(PictureNoise, OverTheRange) {
  for (const double codes : {0.5, 1.0, 3.0, 8.0}) {
    Scene s;
    s.noise = codes;
    const Readings bars = measure(s, 6);
    EXPECT_NEAR(number(bars, "picture.noise"), codes, 0.07 * codes);
    EXPECT_NEAR(number(bars, "picture.snr"), 20 * std::log10(219 / codes), 0.6);
    s.picture = frame_synth::landscape;
    EXPECT_NEAR(number(measure(s, 6), "picture.noise"), codes, 0.07 * codes) << "live";
  }
  Scene none;
  EXPECT_FALSE(get(measure(none, 4), "picture.noise").measured());
}

TEST(PictureEcho, DelayLevelDistance) {
  struct Case {
    frame_synth::Line line;
    double px, gain;
  };
  for (const Case& c : {Case{frame_synth::bars(0.75, 0.75), 20.4, 0.1},
                        {frame_synth::bars(1.0, 0.75), 11.7, 0.04},
                        {frame_synth::pulse_bar(), 33.3, -0.06},
                        {frame_synth::window(), 61.0, 0.03}}) {
    Scene s;
    s.line = c.line;
    s.noise = 1.5;
    s.gain = 0.9;
    s.offset = 4;
    s.echo_px = c.px;
    s.echo_gain = c.gain;
    const Readings r = measure(s, 10);
    const double ns = c.px / 13.5 * 1000;
    expect_value(r, "picture.echo.delay", ns, 20);
    expect_value(r, "picture.echo.level", 20 * std::log10(std::abs(c.gain)), 1);
    // There and back at 0.66 of the speed of light: 98.9 m a microsecond.
    EXPECT_NEAR(number(r, "picture.echo.distance"), ns * 98.93e-3, 2.1);
  }
  Scene s;
  s.noise = 1;
  EXPECT_FALSE(get(measure(s, 6), "picture.echo.level").measured());
}

// Bars stand at even distances and blanking lies left of them: late echoes must not be taken for near ones.
TEST(PictureEcho, LateOnesOfBarsBesideBlanking) {
  Scene s;
  s.noise = 1.5;
  const auto bars = frame_synth::bars(0.75, 0.75);
  s.line = [bars](double x) { return bars(x) * frame_synth::step(x, 0); };
  for (const double px : {60.0, 121.5, 150.0}) {
    s.echo_px = px;
    s.echo_gain = 0.08;
    const Readings r = measure(s, 12);
    EXPECT_NEAR(number(r, "picture.echo.delay"), px / 13.5 * 1000, 20) << px;
    EXPECT_NEAR(number(r, "picture.echo.level"), 20 * std::log10(0.08), 0.3) << px;
  }
  s.echo_px = 20.25;
  s.echo_gain = 0.3;
  EXPECT_NEAR(number(measure(s, 12), "picture.echo.level"), 20 * std::log10(0.3), 0.3);
  // A bar's width later it falls on the next edges; then the place is named where it would not be seen.
  s.echo_px = 90;
  s.echo_gain = 0.08;
  const Readings r = measure(s, 12);
  EXPECT_FALSE(get(r, "picture.echo.level").measured());
  EXPECT_NE(get(r, "picture.echo.level").reason.find("one near 6.7 us"), std::string::npos)
      << get(r, "picture.echo.level").reason;
}

// A grabber that gives 640 samples may take 720 or 704 [BT.601] together for them: the delay allows for both.
TEST(PictureEcho, OfScaledFrames) {
  for (const double whole : {720.0, 704.0}) {
    Scene s;
    s.width = 640;
    s.noise = 1.5;
    s.line = [](double x) { return frame_synth::step(x, 160) - frame_synth::step(x, 480); };
    s.echo_px = 1.3 * 13.5 * 640 / whole;
    s.echo_gain = 0.06;
    const Readings r = measure(s, 12);
    const Reading& delay = get(r, "picture.echo.delay");
    EXPECT_NEAR(delay.number(), 1300, delay.uncertainty.value()) << whole;
    EXPECT_LT(delay.uncertainty.value(), 20);
  }
}

// A coupling that is too small tilts the line: each edge e steps back by k (1 - exp(-(x - e) / T)).
TEST(PictureEcho, LineTiltIsNone) {
  Scene s;
  s.noise = 1.5;
  for (const double px : {60.0, 200.0, 500.0}) {
    s.line = [px](double x) {
      const auto edge = [&](double at) {
        return frame_synth::step(x, at) - (x > at ? 0.15 * (1 - std::exp(-(x - at) / px)) : 0.0);
      };
      return 0.1 + edge(180) - edge(540);
    };
    s.echo_gain = 0;
    EXPECT_FALSE(get(measure(s, 12), "picture.echo.level").measured()) << px;
    // With an echo as well.
    s.echo_px = 60;
    s.echo_gain = 0.07;
    const Readings r = measure(s, 12);
    EXPECT_NEAR(number(r, "picture.echo.delay"), 60 / 13.5 * 1000, 30) << px;
    EXPECT_NEAR(number(r, "picture.echo.level"), 20 * std::log10(0.07), 1.5) << px;
  }
}

TEST(PictureLevels, GainWhiteBlackOfBars) {
  for (const double gain : {0.8, 1.0, 1.08}) {
    Scene s;
    s.noise = 1;
    s.gain = gain;
    s.offset = 3;
    const Readings r = measure(s, 6);
    EXPECT_EQ(get(r, "picture.pattern").text(), "bars-75");
    expect_value(r, "picture.luma.gain", 100 * gain, 1);
    expect_value(r, "picture.luma.black", 19, 0.5);
    expect_value(r, "picture.luma.white", 19 + 219 * gain, 1);
    // 625: 700 mV over 219 codes.
    EXPECT_NEAR(number(r, "picture.luma.white_mv"), 700 * (219 * gain + 3) / 219, 3);
  }
}

TEST(PictureLevels, HueAndSaturation) {
  for (const auto& [hue, saturation] : {std::pair{0.0, 1.0}, {8.0, 0.7}, {-15.0, 1.2}}) {
    Scene s;
    s.line = frame_synth::bars(1.0, 0.75);
    s.coloured_bars = true;
    s.noise = 1;
    s.hue_deg = hue;
    s.saturation = saturation;
    const Readings r = measure(s, 4);
    EXPECT_EQ(get(r, "picture.pattern").text(), "bars-100-0-75-0");
    EXPECT_EQ(get(r, "picture.colour").text(), "present");
    expect_value(r, "picture.hue", hue, 1);
    expect_value(r, "picture.saturation", saturation, 0.02 * saturation);
  }
  // Bars of 75 % reach 84 codes from 128 [BT.601]: 1.5 times as much colour is cut off where codes end.
  for (const double saturation : {1.0, 1.3, 1.52, 1.6}) {
    Scene s;
    s.line = frame_synth::bars(1.0, 0.75);
    s.coloured_bars = true;
    s.noise = 1;
    s.saturation = saturation;
    const Readings r = measure(s, 4);
    const Reading& x = get(r, "picture.saturation");
    ASSERT_TRUE(x.measured()) << saturation;
    EXPECT_NEAR(x.number(), saturation, *x.uncertainty);
    EXPECT_LT(*x.uncertainty, 0.02 * saturation);
    EXPECT_EQ(x.reason.find("cut off") != std::string::npos, saturation > 1.4) << x.reason;
    expect_value(r, "picture.hue", 0, 1);
  }
  Scene grey;
  grey.noise = 1;
  const Readings r = measure(grey, 4);
  EXPECT_EQ(get(r, "picture.colour").text(), "none");
  EXPECT_FALSE(get(r, "picture.hue").measured());
}

TEST(PictureLevels, MultiburstResponse) {
  // Packets of CCIR 473 line 18 (secondary source), 420 mV peak to peak, with a known loss.
  const double hz[] = {0.5e6, 1e6, 2e6, 4e6, 4.8e6, 5.8e6};
  const double loss_db[] = {0, -0.3, -0.8, -2.1, -3.5, -6.2};
  Scene s;
  s.noise = 1;
  s.line = [&](double x) {
    double v = 0.5 + 0.3 * (frame_synth::step(x, 20) - frame_synth::step(x, 60)) -
               0.3 * (frame_synth::step(x, 60) - frame_synth::step(x, 100));
    for (int i = 0; i < 6; ++i) {
      const double from = 110 + i * 100;
      const double gate = frame_synth::step(x, from) - frame_synth::step(x, from + 80);
      v += 0.3 * std::pow(10, loss_db[i] / 20) * gate *
           std::sin(2 * std::numbers::pi * hz[i] * (x - from) / 13.5e6);
    }
    return v;
  };
  const Readings r = measure(s, 6);
  EXPECT_EQ(get(r, "picture.pattern").text(), "multiburst");
  const Curve& c = get(r, "picture.multiburst").curve();
  ASSERT_EQ(c.x.size(), 6U);
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_NEAR(c.x[i], hz[i], 1);
    EXPECT_NEAR(c.y[i], loss_db[i], 0.2) << hz[i];
  }
}

}  // namespace
