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
  // Video alone was looked at: what a cable took away from it was no fault of sound: at
  // most as likely as anywhere (the book's prior).
  for (const char* of_sound : {"earth-loop-audio", "shield-broken", "radio-pickup"})
    EXPECT_LT(probability(cured, of_sound), book().fault(of_sound)->prior)
        << of_sound << ": " << shown(cured);
}

// Lines that a source blanks in every frame alike are off standard and no loss; what is missing besides
// counts.
TEST(DiagnoseChroma, ABurstBlankedAlikeInEveryFrameDoesNotComeAndGo) {
  const auto missing = [](double percent, double blanked) {
    Readings r = bars_with(300, 1.0);
    r.push_back(number_reading("video.burst.missing", percent, std::nullopt));
    r.push_back(number_reading("video.burst.blanked", blanked, std::nullopt));
    return r;
  };
  constexpr double always = 0.54;  // per cent
  const Diagnosis fixed = diagnosed({of_readings(missing(0.54, always))});
  EXPECT_LT(probability(fixed, "burst-weak"), 0.05) << shown(fixed);
  EXPECT_GT(fixed.nothing_wrong, 0.5) << shown(fixed);
  const Diagnosis comes = diagnosed({of_readings(missing(12.54, always))});
  EXPECT_EQ(first(comes), "burst-weak") << shown(comes);
  EXPECT_NEAR(from_working(Scale::Amount,
                           evidence({of_readings(missing(12.54, always))}, "video.burst.missing")->value),
              12, 0.01);
}

// 40 IRE +- 2 [SMPTE 170M, tolerance from memory]: 258 mV of 285.7 is out, and little for the book's faults.
TEST(DiagnoseChroma, ABurstOutOfItsLimitIsNotSound) {
  Readings r = bars_with(258, 1.0);
  for (Reading& x : r) {
    if (x.id == "video.system") x = text_reading("video.system", "525");
    if (x.id == "video.sync.amplitude") x = number("video.sync.amplitude", 285.7, 1);
    if (x.id == "video.white") x = number("video.white", 714.3, 2);
  }
  r.push_back(unmeasurable("video.hum.level", "none found", 0.5));
  Capture c = of_readings(r);
  c.facts.sample_rate_hz = 13.5e6;
  const Diagnosis d = diagnosed({c}, {"525", ""});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  const bool said = std::ranges::any_of(d.out_of_limits, [](const std::string& s) {
    return s.find("urst amplitude is out of its limit") != std::string::npos;
  });
  EXPECT_TRUE(said) << shown(d);
}

// 50 ohm cable of some metres and a stub of some metres both follow edges closely.
TEST(DiagnoseChroma, EchoesTooNearToTellMayBeOfEither) {
  Readings r = bars_with(285, 1.0);
  for (Reading& x : r) {
    if (x.id == "video.echo.level")
      x = unmeasurable(x.id, "something like an echo follows the edges, but several sets of delays would do");
  }
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_GT(probability(d, "ghost-tee"), 0.1) << shown(d);
  EXPECT_GT(probability(d, "cable-impedance"), 0.1) << shown(d);
}

// What has no colour sends none.
TEST(DiagnoseChroma, ColoursWithoutABurstAreNoMonochromeCamera) {
  const auto without = [](bool colours) {
    Readings r = bars_with(300, 1.0);
    if (colours) r.push_back(text_reading("video.burst.lost", "yes"));
    std::erase_if(r, [](const Reading& x) { return x.id == "video.saturation"; });
    for (Reading& x : r) {
      if (x.id == "video.burst.amplitude") x = unmeasurable(x.id, "no colour burst was found");
    }
    return diagnosed({of_readings(r)});
  };
  const Diagnosis lost = without(true);
  EXPECT_EQ(first(lost), "burst-weak") << shown(lost);
  EXPECT_GT(probability(lost, "burst-weak"), 0.7) << shown(lost);
  EXPECT_LT(probability(lost, "source-monochrome"), 0.02) << shown(lost);
  const Diagnosis grey = without(false);
  EXPECT_GT(probability(grey, "source-monochrome"), 0.1) << shown(grey);
}

// A capture of a third of a second does not tell 50.0 Hz of mains from fields of 50 Hz: what stands there is
// said, and neither is named alone.
TEST(DiagnoseChroma, WhatStandsAtTheFieldRateIsSaid) {
  Readings r = bars_with(300, 1.0);
  const std::string why = "it cannot be told from a field-rate tilt (50.000 Hz) in 0.32 s";
  r.push_back(number_reading("video.hum.level", 32, 12, why));
  r.push_back(number("video.hum.frequency", 50.01, 0.12));
  r.push_back(number("video.hum.harmonic.1", 28, 12));
  r.push_back(number("video.field.frequency", 50, 0.0001));
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  EXPECT_GT(probability(d, "video-tilt"), 0.1) << shown(d);
  EXPECT_TRUE(std::ranges::any_of(d.gaps, [](const Gap& g) {
    return g.text.find("hum or a field tilt (32 mV") != std::string::npos;
  })) << shown(d);
}

}  // namespace
