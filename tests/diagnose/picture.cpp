// What readings of composite video lead to, written out by hand from the standards' levels.
#include <set>

#include "job.hpp"

namespace {

using namespace diagnose_test;

// Switch-mode supplies work from some tens of kilohertz on (common practice): that none was found above
// 360 kHz says nothing of them, that none was found from 30 kHz on does.
TEST(DiagnosePicture, ABandThatWasNotSearchedIsNoEvidence) {
  const auto with = [](double from_hz) {
    Readings r = bars_625();
    r.push_back(number("video.noise.periodic.from", from_hz, 1));
    r.push_back(unmeasurable("video.noise.periodic.level", "none found", 0.1));
    return of_readings(r);
  };
  EXPECT_FALSE(evidence({with(360e3)}, "video.noise.periodic").has_value());
  ASSERT_TRUE(evidence({with(30e3)}, "video.noise.periodic").has_value());
  EXPECT_TRUE(evidence({with(30e3)}, "video.noise.periodic")->at_most);
  EXPECT_LT(probability(diagnosed({with(30e3)}), "supply-switching"),
            0.5 * probability(diagnosed({with(360e3)}), "supply-switching"));
}

// White is positive on a line, sync below blanking [BT.470-6]: the other way round is a fault by itself.
TEST(DiagnosePicture, AnInvertedSignalIsNeverSound) {
  Readings r = bars_625();
  for (Reading& x : r) {
    if (x.id == "video.polarity") x = text_reading("video.polarity", "inverted");
  }
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_LT(d.nothing_wrong, 0.02) << shown(d);
  EXPECT_EQ(first(d), "polarity-video") << shown(d);
  EXPECT_GT(probability(d, "polarity-video"), 0.8) << shown(d);
}

// Two loads of 75 ohm on a source of 75 ohm leave 2/3, none leaves twice the level (voltage divider).
TEST(DiagnosePicture, TerminationsMakeNoSecondFault) {
  for (const auto& [gain, fault] :
       {std::pair{2.0 / 3, "termination-double"}, std::pair{1.96, "termination-missing"}}) {
    const Diagnosis d = diagnosed({of_readings(bars_625(300 * gain, 700 * gain, 300 * gain))});
    EXPECT_EQ(first(d), fault) << shown(d);
    EXPECT_GT(d.ranking[0].second, 0.5) << shown(d);
    EXPECT_LT(d.ranking[1].second, 0.5) << shown(d);
  }
}

// A rectifier fills its capacitor twice a cycle: its ripple begins at twice the mains, what a loop through
// earth carries at the mains itself.
TEST(DiagnosePicture, BarsAtTwiceTheMainsAreRipple) {
  const auto bars_of = [](double hz) {
    Readings r;
    r.push_back(text_reading("picture.signal", "present"));
    r.push_back(text_reading("picture.colour", "present"));
    r.push_back(number("picture.hum.level", 6.5, 0.03));
    r.push_back(number("picture.hum.frequency", hz, 0.002));
    return of_readings(r, "picture.yuv");
  };
  for (const double mains : {49.7, 60.02}) {
    const Diagnosis ripple = diagnosed({bars_of(2 * mains)});
    EXPECT_EQ(first(ripple), "supply-ripple") << shown(ripple);
    EXPECT_GT(probability(ripple, "supply-ripple"), 0.8) << shown(ripple);
    const Diagnosis loop = diagnosed({bars_of(mains)});
    EXPECT_LT(probability(loop, "supply-ripple"), 0.1) << shown(loop);
    Readings sound;
    sound.push_back(number("audio.hum.level", -40, 0.1));
    sound.push_back(number("audio.hum.frequency", mains, 0.001));
    const auto job = evidence({bars_of(2 * mains), of_readings(sound, "lines.wav")}, "job.hum");
    ASSERT_TRUE(job.has_value());
    EXPECT_EQ(job->word, "one mains frequency");
  }
}

// A wall that is darker below, before a camera on a tripod: nobody's earth is accused, and nobody is cleared.
TEST(DiagnosePicture, AShadingThatStandsStillAccusesNobody) {
  for (const char* pattern : {"flat", "bars-75"}) {
    Reading level = number("picture.hum.level", 5.2, 0.1);
    level.reason =
        "of nominal white, 219 codes; it stands still: shading of the picture itself would look alike";
    const Diagnosis d = diagnosed({of_readings(
        {text_reading("picture.signal", "present"), text_reading("picture.colour", "present"),
         text_reading("picture.pattern", pattern), level, number("picture.hum.frequency", 50.0, 0.002),
         number("picture.hum.bar_rate", 0.0, 0.002)},
        "picture.yuv")});
    if (std::string_view(pattern) == "flat") {
      EXPECT_LT(d.ranking[0].second, 0.2) << shown(d);
      EXPECT_FALSE(d.gaps.empty());
    } else {
      EXPECT_LT(d.nothing_wrong, 0.1) << shown(d);
    }
  }
}

// A hum whose level its own uncertainty swallows (0.8 +- 10.6 mV, a tilt at the field rate as well) has no
// frequency to set against the mains'.
TEST(DiagnosePicture, HumThatMayNotBeThereKeepsNoTime) {
  for (const double u_mv : {10.6, 0.05}) {
    Readings r = bars_625();
    r.push_back(number("video.field.frequency", 50.0001, 1e-6));
    r.push_back(number("video.hum.level", 0.8, u_mv));
    r.push_back(number("video.hum.frequency", 50.0012, 0.0087));
    Readings sound;
    sound.push_back(number("audio.hum.level", -70, 0.1));
    sound.push_back(number("audio.hum.frequency", 50.06, 0.0001));
    const std::vector<Capture> job = {of_readings(r), of_readings(sound, "lines.wav")};
    EXPECT_EQ(evidence(job, "job.hum").has_value(), u_mv < 1) << u_mv;
    EXPECT_EQ(evidence(job, "video.lock").has_value(), u_mv < 1) << u_mv;
  }
}

// An end of R leaves 2 R / (R + 75): four thirds at 150 ohm, 1.16 dB more than nominal at 100 ohm (voltage
// divider). A supply that sags lifts no level.
TEST(DiagnosePicture, AnEndOfMoreThan75OhmIsNoSupply) {
  for (const double ohm : {120.0, 150.0, 300.0}) {
    const double gain = 2 * ohm / (ohm + 75);
    const Diagnosis d = diagnosed({of_readings(bars_625(300 * gain, 700 * gain, 300 * gain))}, {"625", ""});
    // A source set high looks the same until the ends are counted.
    EXPECT_GT(probability(d, "termination-missing"), 0.2) << ohm << ": " << shown(d);
    EXPECT_GT(probability(d, "termination-missing") + probability(d, "source-video-high"), 0.9)
        << ohm << ": " << shown(d);
    EXPECT_LT(probability(d, "supply-sagging"), 0.2) << ohm << ": " << shown(d);
  }
}

// Where no video comes, what proves it is looked at next, and not some level or current.
TEST(DiagnosePicture, NoVideoIsFollowedWhereItIsLost) {
  const Diagnosis d = diagnosed({of_readings({text_reading("video.signal", "none")})});
  EXPECT_EQ(first(d), "video-none") << shown(d);
  ASSERT_TRUE(d.next_test);
  const std::set<std::string> proves = {"port-light", "supply-loaded", "known-source", "known-cable"};
  EXPECT_TRUE(proves.contains(d.next_test->id)) << d.next_test->id;
}

// 75/7.5/75/7.5 bars have 549 mV of white (0.75 x (714.3 - 53.6) + 53.6, SMPTE 170M's levels); beside a sync
// at 60 % they look like full bars a quarter low, and burst and setup at their levels say that nothing but
// sync is.
TEST(DiagnosePicture, LowSyncIsNoSaggingSupply) {
  Readings r;
  r.push_back(text_reading("video.signal", "present"));
  r.push_back(text_reading("video.system", "525"));
  r.push_back(text_reading("video.pattern", "colour bars 100 %"));
  r.push_back(text_reading("video.bars.kind", "100"));
  r.push_back(number("video.sync.amplitude", 0.6 * 285.7, 1));
  r.push_back(number("video.white", 549.1, 1));
  r.push_back(number("video.burst.amplitude", 285.7, 1));
  r.push_back(number("video.setup", 53.6, 1));
  const Diagnosis d = diagnosed({of_readings(r)}, {"525", ""});
  EXPECT_EQ(first(d), "sync-low") << shown(d);
  EXPECT_LT(probability(d, "supply-sagging"), 0.1) << shown(d);
  EXPECT_LT(probability(d, "input-overloaded"), 0.1) << shown(d);
  // A supply that sags takes sync, white and burst down together.
  Readings low = bars_625(300 * 0.7, 700 * 0.68, 300 * 0.7);
  low.push_back(number("video.nonlinearity", 9, 0.5));
  EXPECT_EQ(first(diagnosed({of_readings(low)})), "supply-sagging") << shown(diagnosed({of_readings(low)}));
}

// 525 lines where 625 are expected are wrong whatever else is right; receivers that find the standard by
// themselves (common practice of grabbers) show them steady and in colour all the same.
TEST(DiagnosePicture, AnotherScanningThanExpectedIsNotSound) {
  const Capture wave = of_readings(bars_625());
  Readings frames;
  frames.push_back(text_reading("picture.signal", "present"));
  frames.push_back(text_reading("picture.colour", "present"));
  const Diagnosis d = diagnosed({wave, of_readings(frames, "picture.yuv")}, {"525", ""});
  EXPECT_EQ(first(d), "wrong-standard") << shown(d);
  EXPECT_LT(d.nothing_wrong, 0.2) << shown(d);
}

// A picture that slides through the frame has its colours elsewhere than they are looked for: hold is at
// fault (common practice: weak or missing sync), and no cable for the colours.
TEST(DiagnosePicture, ARollingPictureSaysNothingOfItsColours) {
  Readings r;
  r.push_back(text_reading("picture.signal", "present"));
  r.push_back(text_reading("picture.colour", "present"));
  r.push_back(number("picture.roll", -5.3, 0.1));
  r.push_back(number("picture.saturation", 0.62, 0.02));
  const std::vector<Capture> one = {of_readings(r, "picture.yuv")};
  EXPECT_FALSE(evidence(one, "picture.saturation").has_value());
  EXPECT_LT(probability(diagnosed(one), "cable-long"), 0.2) << shown(diagnosed(one));
  EXPECT_LT(diagnosed(one).nothing_wrong, 0.2) << shown(diagnosed(one));
}

// Mains and generators run between 45 and 65 Hz; a field-rate remnant read at 44.98 Hz sets no second mains
// against that of the sound.
TEST(DiagnosePicture, WhatIsNoMainsFrequencyIsNoSecondMains) {
  Readings sound;
  sound.push_back(number("audio.hum.frequency", 59.984, 0.003));
  sound.push_back(number("audio.hum.level", -60, 0.3));
  Readings low;
  low.push_back(text_reading("video.signal", "present"));
  low.push_back(number("video.hum.frequency", 44.981, 0.004));
  const Capture audio = of_readings(sound, "lines.wav");
  EXPECT_FALSE(evidence({audio, of_readings(low)}, "job.hum").has_value());
  low.back() = number("video.hum.frequency", 50.02, 0.004);
  ASSERT_TRUE(evidence({audio, of_readings(low)}, "job.hum").has_value());
  EXPECT_EQ(evidence({audio, of_readings(low)}, "job.hum")->word, "two mains");
}

TEST(DiagnosePicture, BarsAtTheirLevelsAreSound) {
  const Diagnosis d = diagnosed({of_readings(bars_625())});
  EXPECT_GT(d.nothing_wrong, 0.5) << shown(d);
}

// Colours cut off flat at 600 mV beside right sync and burst: a stage without headroom, and no supply that
// takes all down.
TEST(DiagnosePicture, ColoursCutOffAreADrivenStage) {
  Readings r = bars_625(300, 600, 300);
  r.push_back(number("video.clipped", 46, 2));
  EXPECT_EQ(first(diagnosed({of_readings(r)})), "input-overloaded") << shown(diagnosed({of_readings(r)}));
  Readings whole = bars_625();
  whole.push_back(number("video.clipped", 0, 0.3));
  EXPECT_GT(diagnosed({of_readings(whole)}).nothing_wrong, 0.5) << shown(diagnosed({of_readings(whole)}));
}

// Two cuts in each mains period make 100 or 120 spikes a second (phase control, common practice); a contact's
// come at any rate; a switcher's edges come by the thousand.
TEST(DiagnosePicture, SparkleIsNamedByHowOftenItComes) {
  const auto with = [](double a_second) {
    Readings r = bars_625();
    r.push_back(number("video.impulses", a_second, 0.2 * a_second));
    return diagnosed({of_readings(r)});
  };
  for (const double cuts : {100.0, 120.0}) {
    const Diagnosis d = with(cuts);
    EXPECT_LT(d.nothing_wrong, 0.05) << shown(d);
    EXPECT_GT(probability(d, "dimmer"), 0.3) << shown(d);
  }
  EXPECT_EQ(first(with(18)), "connector-bad") << shown(with(18));
  EXPECT_EQ(first(with(19000)), "supply-switching") << shown(with(19000));
  Readings none = bars_625();
  none.push_back(unmeasurable("video.impulses", "none", 5));
  EXPECT_GT(diagnosed({of_readings(none)}).nothing_wrong, 0.7) << shown(diagnosed({of_readings(none)}));
}

// A stub of 12 m returns a fifth of the signal after 119 ns, half a period of 4.43 MHz and a little: levels
// rise by 20 lg 1.2 = 1.6 dB and the burst falls by 3.5 dB against them, |1 + 0.2 exp(-j 2 pi f t)| / 1.2.
TEST(DiagnosePicture, AStubOfSomeMetresIsSeenByLevelsAndBurst) {
  const double gain = 1.2;
  Readings r = bars_625(300 * gain, 700 * gain, 241);
  r.push_back(number("video.sync.rise", 225, 6));
  r.push_back(unmeasurable("video.echo.level",
                           "none found from 0.52 us on; nearer ones look like the edge itself", -40));
  r.push_back(number("video.cable.loss", 0.0, 0.13));
  const Diagnosis d = diagnosed({of_readings(r)});
  EXPECT_EQ(first(d), "ghost-tee") << shown(d);
}

// The scanning system of a picture against the site's, as of a waveform [BT.1700].
TEST(DiagnosePicture, AnotherStandardThanTheSitesIsFound) {
  Readings r;
  r.push_back(text_reading("picture.signal", "present"));
  r.push_back(text_reading("picture.system", "525"));
  r.push_back(text_reading("picture.pattern", "bars-75"));
  r.push_back(text_reading("picture.colour", "present"));
  const std::vector<Capture> captures = {of_readings(r, "picture.yuv")};
  EXPECT_EQ(first(diagnosed(captures, {"625"})), "wrong-standard");
  EXPECT_LT(probability(diagnosed(captures, {"525"}), "wrong-standard"), 0.02);
}

// All of the signal 6 dB down and nothing bent: a source or an amplifier that is turned down, not one whose
// supply fails (1 V into 75 ohm [BT.1700]). No look at sound is proposed where there is none.
TEST(DiagnosePicture, AllLowAlikeIsASourceTurnedDown) {
  const Diagnosis d = diagnosed({of_readings(bars_625(150, 350, 150))}, {"625"});
  EXPECT_EQ(first(d), "source-video-low") << shown(d);
  ASSERT_TRUE(d.next_test);
  const Sign* next = book().sign(d.next_test->id);
  EXPECT_TRUE(next == nullptr || next->trial->medium != "sound") << d.next_test->id;
}

// Something keeps bars from being looked through from 40 kHz on, where switching supplies work (common
// practice): a tone of no matter far above it does not make that sound.
TEST(DiagnosePicture, ALowToneMayHideBesideAWeakHighOne) {
  const auto with = [](double from_hz) {
    Readings r = bars_625();
    r.push_back(number("video.noise.periodic.from", from_hz, 1));
    r.push_back(number("video.noise.periodic.level", 0.19, 0.05));
    r.push_back(number("video.noise.periodic.frequency", 6.47e6, 2500));
    return of_readings(r);
  };
  EXPECT_TRUE(evidence({with(150e3)}, "video.noise.search"));
  EXPECT_FALSE(evidence({with(35e3)}, "video.noise.search"));
  const Diagnosis d = diagnosed({with(150e3)});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
}

}  // namespace
