// Lines beside each other: where a tear stands, what is none, and how it shows on a crosshatch.
#include <gtest/gtest.h>

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
      EXPECT_EQ(get(r, "picture.tear").number(), 0) << get(r, "picture.tear").reason;
      EXPECT_NEAR(get(r, "picture.jitter").number(), std::sqrt(square / n), 0.1 * rms + 0.03);
      // And a tear far beyond it is still one.
      const auto jitter = s.shift;
      s.shift = [&](int frame, int row) { return jitter(frame, row) + (row >= 300 ? 12 : 0); };
      expect_within(measure(s, 10), "picture.tear", 12, 4);
    }
  }
}

}  // namespace
