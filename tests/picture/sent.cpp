// Test pictures that were sent are known where a path or a grabber changed what stands beside them.
#include <gtest/gtest.h>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

// The bar of [J.63] begins 12 us after sync, 30 px into the line: found with an echo of any size beside it.
TEST(PictureSent, PulseAndBarNearTheLeftEdgeWithAnEcho) {
  const frame_synth::Line sent = [](double x) {
    const double d = (x - 213) / 5.4;
    const double pulse = std::abs(d) < 1 ? std::pow(std::cos(std::numbers::pi / 2 * d), 2) : 0;
    return pulse + frame_synth::step(x, 30.5) - frame_synth::step(x, 165);
  };
  // Turned over, more than 0.065 of white (219 codes) would reach below the codes from black, 16.
  for (const auto& [px, gain] : {std::pair{9.5, 0.05}, {20.25, -0.06}, {67.5, 0.1}}) {
    Scene s;
    s.line = sent;
    s.noise = 1;
    s.echo_px = px;
    s.echo_gain = gain;
    const Readings r = measure(s, 12);
    ASSERT_EQ(find_reading(r, "picture.pattern")->text(), "pulse-bar") << px;
    EXPECT_NEAR(find_reading(r, "picture.echo.delay")->number(), px / 13.5e-3, 20);
    EXPECT_NEAR(find_reading(r, "picture.echo.level")->number(), 20 * std::log10(std::abs(gain)), 1);
  }
}

// Nobody says from how many samples 640 were scaled: the packets are looked for at either scale.
TEST(PictureSent, MultiburstInALineOf640) {
  for (const double whole : {704.0, 720.0}) {
    constexpr double hz[] = {0.5e6, 1e6, 2e6, 4e6, 4.8e6};
    Scene s;
    s.width = 640;
    s.noise = 1;
    s.line = [&](double x) {
      const double us = x * whole / 640 / 13.5;
      double v = 0.5 + (us > 2 && us < 6 ? 0.3 : us > 6 && us < 10 ? -0.3 : 0.0);
      for (int i = 0; i < 5; ++i) {
        const double from = 12.5 + 6.6 * i;
        if (us > from && us < from + 5.3)
          v += 0.3 * std::sin(2 * std::numbers::pi * hz[i] * 1e-6 * (us - from));
      }
      return v;
    };
    const Readings r = measure(s, 6);
    ASSERT_EQ(find_reading(r, "picture.pattern")->text(), "multiburst") << whole;
    const Curve& c = find_reading(r, "picture.multiburst")->curve();
    ASSERT_GE(c.y.size(), 5U);
    for (std::size_t i = 0; i < 5; ++i) EXPECT_NEAR(c.y[i], 0, 0.2) << hz[i];
  }
}

}  // namespace
