// Black and white beside an echo. Closed form: the echo adds its share of the bar, so late as it is; the
// bar's level is that of its middle [BT.1439, from memory], the ground's that before the bar.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::Scene;

TEST(PictureEchoLevels, BlackIsNotTheTroughOfAnEchoTurnedOver) {
  for (const auto& [name, line] :
       {std::pair{"pulse-bar", frame_synth::pulse_bar()}, {"window", frame_synth::window()}})
    for (const double us : {0.3, 0.7, 1.5, 3.0, 4.0})
      for (const double gain : {-0.2, -0.1, -0.008, 0.008, 0.08}) {
        Scene s;
        s.line = line;
        s.noise = 1.5;
        s.echo_px = 13.5 * us;
        s.echo_gain = gain;
        const Readings r = frame_synth::measure(s, 4, 3);
        const std::string what = fmt::format("{}, {} at {} us", name, gain, us);
        EXPECT_EQ(find_reading(r, "picture.pattern")->text(), name) << what;
        const Reading& black = *find_reading(r, "picture.luma.black");
        const Reading& white = *find_reading(r, "picture.luma.white");
        ASSERT_TRUE(black.measured() && white.measured()) << what;
        EXPECT_NEAR(black.number(), 16, 1.2 * black.uncertainty.value()) << what;
        EXPECT_NEAR(white.number(), 16 + 219 * (1 + gain), 1.2 * white.uncertainty.value()) << what;
        EXPECT_LT(std::max(black.uncertainty.value(), white.uncertainty.value()), 0.5) << what;
      }
}

}  // namespace
