// What becomes of burst and colours on the way, and at the source, written out by hand: the levels are the
// standards', the stub a closed form.
#include <cmath>
#include <numbers>

#include "job.hpp"

namespace {

using namespace diagnose_test;

// Bars whose burst stands at this, and whose colours at this beside it.
Readings bars_with(double burst_mv, double saturation) {
  Readings r = bars_625(300, 700, burst_mv);
  r.push_back(number("video.saturation", saturation, 0.005));
  r.push_back(number("video.sync.rise", 240, 6));
  r.push_back(number("video.cable.loss", 0, 0.13));
  r.push_back(unmeasurable("video.echo.level", "none found from 0.55 to 30 us", -40));
  return r;
}

// What an open stub across 75 ohm at both ends leaves: 1 / (1 + 37.5 / Z), Z = -j 75 cot(2 pi f l / v)
// without loss [closed form]; v as in solid polyethylene, 0.66 c.
double left_by_stub(double metres, double hz) {
  const double angle = 2 * std::numbers::pi * hz * metres / (0.66 * 299792458);
  return 1 / std::hypot(1, 0.5 * std::tan(angle));
}

// Burst and colours lost together were lost on the way: no weak burst at the source leaves the colours in
// proportion to it.
TEST(DiagnoseChroma, AStubOfAQuarterWaveIsNoWeakBurst) {
  for (const double metres : {9.5, 10.0, 12.5, 13.0}) {
    const double left = left_by_stub(metres, 4433618.75);
    ASSERT_LT(left, 0.75);
    const Diagnosis d = diagnosed({of_readings(bars_with(300 * left, 1.0))});
    EXPECT_EQ(first(d), "ghost-tee") << metres << " m: " << shown(d);
    EXPECT_GT(probability(d, "ghost-tee"), 0.6) << metres << " m: " << shown(d);
    EXPECT_LT(probability(d, "burst-weak"), 0.2) << metres << " m: " << shown(d);
  }
}

// Colours stand where they were: 300 / 150 = 2 times too strong for the burst.
TEST(DiagnoseChroma, AWeakBurstLeavesTheColours) {
  for (const double burst : {60.0, 100.0, 150.0, 200.0}) {
    const Diagnosis d = diagnosed({of_readings(bars_with(burst, 300 / burst))});
    EXPECT_EQ(first(d), "burst-weak") << burst << " mV: " << shown(d);
    EXPECT_GT(probability(d, "burst-weak"), 0.9) << burst << " mV: " << shown(d);
    EXPECT_LT(probability(d, "ghost-tee"), 0.05) << burst << " mV: " << shown(d);
  }
}

// A live picture does not say what its colours should be: both stay possible.
TEST(DiagnoseChroma, WithoutBarsAStubStaysPossible) {
  Readings r = bars_with(88, 1.0);
  std::erase_if(r, [](const Reading& x) {
    return x.id == "video.saturation" || x.id == "video.bars.kind" || x.id == "video.white";
  });
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_GT(probability(d, "ghost-tee"), 0.1) << shown(d);
  EXPECT_GT(probability(d, "burst-weak"), 0.3) << shown(d);
  // The cure by a short cable is the stub's, not two faults at once.
  Job job{{of_readings(r)}, {parse_observed("known-cable=gone", book())}, {}};
  const Diagnosis cured = diagnose::diagnose(book(), job);
  EXPECT_EQ(first(cured), "ghost-tee") << shown(cured);
  EXPECT_GT(probability(cured, "ghost-tee"), 0.5) << shown(cured);
}

}  // namespace
