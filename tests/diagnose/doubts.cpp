// What readings of the video views leave open, and what they do not: readings written out by hand.
#include <fmt/format.h>

#include "job.hpp"

namespace {

using namespace diagnose_test;

// A carrier of 1 MHz is a broadcast transmitter's or a supply's: nothing says which.
TEST(DiagnosePicture, ACarrierIsATransmitterOrASupply) {
  Readings r = bars_625();
  r.push_back(number("video.noise.periodic.from", 30e3, 1));
  r.push_back(number("video.noise.periodic.level", 20, 0.2));
  r.push_back(number("video.noise.periodic.frequency", 1e6, 10));
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_GT(probability(d, "shield-broken") + probability(d, "radio-pickup"), 0.6) << shown(d);
  EXPECT_LT(probability(d, "supply-switching"), 0.4) << shown(d);
  r.back() = number("video.noise.periodic.frequency", 150e3, 10);
  EXPECT_EQ(first(diagnosed({of_readings(r)})), "supply-switching");
}

// The same seen by a grabber: 3 % of white peak to peak is 21 mV [BT.601, BT.470-6].
TEST(DiagnosePicture, HerringboneInThePictureIsATransmitterOrASupply) {
  const auto with = [](double hz) {
    Readings r;
    r.push_back(text_reading("picture.signal", "present"));
    r.push_back(text_reading("picture.pattern", "bars-75"));
    r.push_back(number("picture.noise", 0.7, 0.01));
    r.push_back(number("picture.noise.periodic.from", 40e3, 0));
    r.push_back(number("picture.noise.periodic.level", 3, 0.1));
    r.push_back(number("picture.noise.periodic.frequency", hz, 50));
    return of_readings(r, "picture.yuv");
  };
  const Diagnosis d = diagnosed({with(1.2e6)});
  EXPECT_EQ(first(d), "radio-pickup") << shown(d);
  EXPECT_GT(probability(d, "radio-pickup"), 0.5) << shown(d);
  EXPECT_LT(d.nothing_wrong, 0.05) << shown(d);
  const auto& views = book().fault("radio-pickup")->views;
  EXPECT_NE(std::ranges::find(views, "picture"), views.end());
  EXPECT_EQ(first(diagnosed({with(90e3)})), "supply-switching");
}

// A spike twice in each mains period is a dimmer's, one at any time a contact's.
TEST(DiagnosePicture, ImpulsesInTimeWithTheMainsAreADimmers) {
  const auto with = [](const char* rhythm) {
    Readings r = bars_625();
    r.push_back(unmeasurable("video.hum.level", "none found", 0.5));
    r.push_back(number_reading("video.impulses", 110, 50, "17 seen, of 20 mV and more"));
    r.push_back(text_reading("video.impulses.rhythm", rhythm));
    return of_readings(r);
  };
  const Diagnosis locked = diagnosed({with("mains")});
  EXPECT_EQ(first(locked), "dimmer") << shown(locked);
  EXPECT_GT(probability(locked, "dimmer"), 0.8) << shown(locked);
  const Diagnosis any = diagnosed({with("nothing")});
  EXPECT_EQ(first(any), "connector-bad") << shown(any);
  EXPECT_LT(probability(any, "dimmer"), 0.1) << shown(any);
}

// Yellow and cyan of 100/0/75/0 bars cut at 560 mV (by the samples: 356 and 595 mV of chrominance left), the
// darker colours whole [BT.470-6 levels]. A recorder of 13.5 MS/s shows no peaks to find the cut by.
TEST(DiagnosePicture, ColoursCutByTheirLuminanceAreOverload) {
  const auto with = [](double yellow, double cyan) {
    Readings r = bars_625();
    for (const auto& [colour, mv] : {std::pair{"yellow", yellow},
                                     {"cyan", cyan},
                                     {"green", 619.9},
                                     {"magenta", 619.9},
                                     {"red", 663.9},
                                     {"blue", 469.6}})
      r.push_back(number_reading(fmt::format("video.bars.{}.chroma", colour), mv, 0.4));
    return of_readings(r);
  };
  const Diagnosis cut = diagnosed({with(355.9, 595)});
  EXPECT_EQ(first(cut), "input-overloaded") << shown(cut);
  EXPECT_GT(probability(cut, "input-overloaded"), 0.5) << shown(cut);
  EXPECT_GT(diagnosed({with(469.6, 663.9)}).nothing_wrong, 0.6);
}

// A search from half a microsecond on finds no stub of less than 50 m.
TEST(DiagnosePicture, NoEchoFarAwayClearsNoStub) {
  Readings r = bars_625();
  r.push_back(unmeasurable("video.echo.level", "none found from 0.52 to 30 us (51 to 2968 m)", -40));
  EXPECT_FALSE(evidence({of_readings(r)}, "video.echo.level").has_value());
}

// What follows the picture at the field rate is a capacitor's sag or hum of a locked camera: nobody is
// accused by it. Ripple at twice the rate is no sag.
TEST(DiagnosePicture, HumThatMayBeTheFieldsTiltAccusesNobody) {
  const auto with = [](double hz, double one, double two) {
    const std::string doubt = "it cannot be told from a field-rate tilt (50.000 Hz) in 0.25 s";
    Readings r = bars_625();
    r.push_back(number("video.field.frequency", 50, 0.001));
    r.push_back(number_reading("video.hum.level", std::hypot(one, two), 10.5, doubt));
    r.push_back(number_reading("video.hum.frequency", hz, 0.006, doubt));
    if (one > 0) r.push_back(number("video.hum.harmonic.1", one, 10.5));
    if (two > 0) r.push_back(number("video.hum.harmonic.2", two, 10.5));
    return of_readings(r);
  };
  const Diagnosis tilt = diagnosed({with(50.0003, 97, 0)});
  for (const auto& [fault, p] : tilt.ranking) EXPECT_LT(p, 0.3) << shown(tilt);
  EXPECT_FALSE(shown_sound(tilt));
  EXPECT_EQ(first(diagnosed({with(49.985, 97, 0)})), "earth-loop-video");
  EXPECT_EQ(first(diagnosed({with(50.0003, 0, 60)})), "supply-ripple");
}

// Multiples of which the first lies at the field rate, where lowband sees nothing.
TEST(DiagnosePicture, EvenMultiplesTellRippleWithoutTheFirst) {
  const auto with = [](double second, double third) {
    Readings r = bars_625();
    r.push_back(number("video.hum.level", 70, 1));
    r.push_back(unmeasurable("video.hum.harmonic.1", "cannot be told from the picture"));
    r.push_back(number("video.hum.harmonic.2", second, 0.5));
    r.push_back(number("video.hum.harmonic.3", third, 0.05));
    return of_readings(r);
  };
  const Diagnosis ripple = diagnosed({with(60, 0.056)});
  EXPECT_EQ(first(ripple), "supply-ripple") << shown(ripple);
  EXPECT_FALSE(evidence({with(60, 40)}, "video.hum.pattern").has_value());
}

// A grabber that shows blue for some frames of a picture has lost its signal for moments.
TEST(DiagnosePicture, LostFramesAreAContact) {
  const auto with = [](const char* pattern, double lost, const char* colour) {
    Readings r;
    r.push_back(text_reading("picture.signal", "present"));
    r.push_back(number_reading("picture.signal.lost", lost, std::nullopt));
    r.push_back(text_reading("picture.pattern", pattern));
    r.push_back(text_reading("picture.colour", colour));
    r.push_back(unmeasurable("picture.hum.level", "none found", 0.2));
    Capture c = of_readings(r, "picture.yuv");
    c.facts.frames = 60;
    return c;
  };
  const Diagnosis lost = diagnosed({with("bars-100", 6, "present")});
  EXPECT_EQ(first(lost), "connector-bad") << shown(lost);
  EXPECT_GT(probability(lost, "connector-bad"), 0.5) << shown(lost);
  // A grey field has no colour to lose; bars have.
  EXPECT_LT(probability(diagnosed({with("flat", 0, "none")}), "burst-weak"), 0.05);
  EXPECT_EQ(first(diagnosed({with("bars-100", 0, "none")})), "burst-weak");
}

// Noise without a pattern says nothing of a supply: in the dark any camera makes it.
TEST(DiagnosePicture, PlainNoiseIsAMatterOfLightFirst) {
  for (const double codes : {4.0, 7.0, 9.0}) {
    Readings r;
    r.push_back(text_reading("picture.signal", "present"));
    r.push_back(text_reading("picture.colour", "present"));
    r.push_back(number("picture.noise", codes, 0.05));
    r.push_back(unmeasurable("picture.hum.level", "none found", 0.2));
    const Diagnosis d = diagnosed({of_readings(r, "picture.yuv")});
    EXPECT_LT(probability(d, "supply-switching"), 0.5) << shown(d);
    EXPECT_GT(probability(d, "video-noisy"), 0.3) << shown(d);
  }
}

}  // namespace
