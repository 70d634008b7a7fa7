// What a grabber's frames of bars lead to where colour, black or the top of the picture is not right, written
// out by hand from the standard's levels [BT.601].
#include "job.hpp"

namespace {

using namespace diagnose_test;

struct Frames {
  double white = 235, black = 16, hue = 0, saturation = 1, bend = 0;
  std::string colour_fault = {};
};

Capture frames(const Frames& f) {
  Readings r;
  r.push_back(text_reading("picture.signal", "present"));
  r.push_back(text_reading("picture.colour", "present"));
  r.push_back(text_reading("picture.pattern", "bars-75"));
  r.push_back(number("picture.luma.black", f.black, 0.1));
  r.push_back(number("picture.luma.gain", 100 * (f.white - f.black) / 219, 0.1));
  r.push_back(number("picture.clipped", 0, 0));
  if (f.colour_fault.empty()) {
    r.push_back(number("picture.hue", f.hue, 0.3));
    r.push_back(number("picture.saturation", f.saturation, 0.005));
  } else {
    r.push_back(unmeasurable("picture.hue", f.colour_fault));
    r.push_back(unmeasurable("picture.saturation", f.colour_fault));
  }
  r.push_back(number("picture.jitter", 0, 0.01));
  r.push_back(number("picture.tear", 0, 0.2));
  r.push_back(number("picture.flagging", f.bend, 0.3));
  r.push_back(unmeasurable("picture.hum.level", "none found", 0.01));
  r.push_back(number("picture.noise", 0.7, 0.01));
  r.push_back(unmeasurable("picture.echo.level", "none found", -44));
  return of_readings(r, "picture.yuv");
}

TEST(DiagnoseColour, BarsAsTheyShouldBeAreSound) {
  for (const double hue : {-2.0, 0.0, 2.0}) {
    const Diagnosis d = diagnosed({frames({.hue = hue, .saturation = 1.03})});
    EXPECT_GT(d.nothing_wrong, 0.7) << shown(d);
    EXPECT_TRUE(shown_sound(d)) << shown(d);
  }
}

// A turn of both colour differences is what a hue control makes; leads the wrong way round make half a turn,
// whichever sign it is read with (by the definition of a complement in the U, V plane).
TEST(DiagnoseColour, TurnedColoursAreAControlsAndOppositeOnesTheLeads) {
  for (const double hue : {-35.0, -14.0, 14.0, 60.0}) {
    const Diagnosis d = diagnosed({frames({.hue = hue})});
    EXPECT_EQ(first(d), "picture-controls") << hue << ": " << shown(d);
    EXPECT_GT(probability(d, "picture-controls"), 0.8) << hue << ": " << shown(d);
    ASSERT_TRUE(d.next_test);
    EXPECT_EQ(d.next_test->id, "receiver-setting");
  }
  for (const double hue : {-179.0, 170.0, 179.5}) {
    const Diagnosis d = diagnosed({frames({.hue = hue})});
    EXPECT_EQ(first(d), "colour-parts") << hue << ": " << shown(d);
    EXPECT_LT(d.nothing_wrong, 0.02) << hue << ": " << shown(d);
  }
}

// A receiver's chroma gain follows the burst, which a cable takes alike (common practice): weak colours alone
// are no cable's for sure, and very weak ones a control's first.
TEST(DiagnoseColour, WeakColoursAloneAreNoLongCableForSure) {
  const Diagnosis half = diagnosed({frames({.saturation = 0.5})});
  EXPECT_LT(probability(half, "cable-long"), 0.7) << shown(half);
  EXPECT_GT(probability(half, "picture-controls"), 0.15) << shown(half);
  const Diagnosis third = diagnosed({frames({.saturation = 0.35})});
  EXPECT_EQ(first(third), "picture-controls") << shown(third);
  EXPECT_LT(probability(third, "cable-long"), 0.4) << shown(third);
}

TEST(DiagnoseColour, ColoursThatNoTurnMakesRightAreTheLeads) {
  const std::string no_turn = "the bars' colours do not agree with one turn: ";
  for (const char* how : {"Cb and Cr stand in each other's place", "Cr (the V axis) is upside down",
                          "Cb (the U axis) is upside down", "Cb is lost", "Cr is lost"}) {
    const Diagnosis d = diagnosed({frames({.colour_fault = no_turn + how})});
    EXPECT_EQ(first(d), "colour-parts") << how << ": " << shown(d);
    EXPECT_GT(probability(d, "colour-parts"), 0.8) << how << ": " << shown(d);
  }
  // What is none of these is still not sound.
  const Diagnosis other =
      diagnosed({frames({.colour_fault = no_turn + "another colour system, or a fault in the decoder"})});
  EXPECT_FALSE(shown_sound(other)) << shown(other);
  EXPECT_LT(other.nothing_wrong, 0.2) << shown(other);
}

// 1.4 times is 2.9 dB. A weak burst makes it too, by the receiver's chroma gain control (common practice), so
// that neither is said alone; both are looked at.
TEST(DiagnoseColour, StrongColoursAreNotSound) {
  for (const double saturation : {1.4, 1.9}) {
    const Diagnosis d = diagnosed({frames({.saturation = saturation})});
    EXPECT_LT(d.nothing_wrong, 0.2) << shown(d);
    EXPECT_GT(probability(d, "picture-controls") + probability(d, "burst-weak"), 0.7) << shown(d);
  }
  // So strong that none is whole any more: codes end at 254, 126 off the middle.
  const Diagnosis cut = diagnosed(
      {frames({.colour_fault = "Cb and Cr are cut off where codes end; turn the grabber's colour down"})});
  EXPECT_LT(cut.nothing_wrong, 0.1) << shown(cut);
  EXPECT_GT(probability(cut, "picture-controls") + probability(cut, "burst-weak"), 0.7) << shown(cut);
}

// Setup is 7.5 units of 100 [SMPTE 170M]: black comes at 16 + 0.075 x 219 = 32.4, white where it was.
TEST(DiagnoseColour, BlackOnSetupIsNamed) {
  const Diagnosis setup = diagnosed({frames({.black = 32.4})}, {"625", ""});
  EXPECT_EQ(first(setup), "setup-wrong") << shown(setup);
  EXPECT_LT(setup.nothing_wrong, 0.02) << shown(setup);
  // Lifted as a whole, white with it, it is the receiver's brightness.
  const Diagnosis bright = diagnosed({frames({.white = 235 + 40, .black = 16 + 40})}, {"625", ""});
  EXPECT_EQ(first(bright), "picture-controls") << shown(bright);
}

TEST(DiagnoseColour, ATopThatBendsIsTheSourcesTiming) {
  for (const double px : {-9.0, 3.0, 5.0}) {
    const Diagnosis d = diagnosed({frames({.bend = px})});
    EXPECT_EQ(first(d), "sync-timing") << px << ": " << shown(d);
    EXPECT_LT(d.nothing_wrong, 0.2) << px << ": " << shown(d);
    EXPECT_FALSE(shown_sound(d)) << px << ": " << shown(d);
  }
}

// Gain that moves from 82 to 112 % while bars are taken in is 2.7 dB of step: a contact's or the grabber's,
// and never sound.
TEST(DiagnoseColour, GainThatJumpsIsNotSound) {
  Frames moving{.white = 235};
  Capture c = frames(moving);
  for (Reading& r : c.readings) {
    if (r.id == "picture.luma.gain") r = number_reading(r.id, 82, 30);
  }
  c.readings.push_back(number("picture.level.step", 20 * std::log10(112.0 / 82), 0.05));
  const auto step = evidence({c}, "picture.level.step");
  ASSERT_TRUE(step);
  EXPECT_NEAR(from_working(Scale::Amount, step->value), 20 * std::log10(112.0 / 82), 0.02);
  const Diagnosis d = diagnosed({c});
  EXPECT_LT(d.nothing_wrong, 0.2) << shown(d);
  EXPECT_GT(probability(d, "recorder-fault") + probability(d, "connector-bad"), 0.5) << shown(d);
}

}  // namespace
