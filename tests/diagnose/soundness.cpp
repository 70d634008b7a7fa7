// A job is called sound only by what would have shown the fault: a bound above what a fault makes, a capture
// too short to read, or no capture at all clear nothing.
#include <linebench/diagnose/idle.hpp>
#include <map>

#include "job.hpp"

namespace {

using namespace diagnose_test;
using synth::Samples;

// Gross hum (-31.6 dBFS and more is possible) that measuring could not tell from what was sent.
Capture hum_bounded_at(double dbfs) {
  Capture c = measured({tone(20, 3)});
  for (Reading& r : c.readings) {
    if (r.id == "audio.hum.level") r = unmeasurable(r.id, "no mains hum found", dbfs);
  }
  std::erase_if(c.readings, [](const Reading& r) { return r.id.starts_with("audio.hum.harmonic"); });
  return c;
}

TEST(DiagnoseSoundness, ABoundClearsOnlyWhatWouldStandAboveIt) {
  const Diagnosis hidden = diagnosed({hum_bounded_at(-31.6)});
  EXPECT_FALSE(shown_sound(hidden)) << shown(hidden);
  ASSERT_EQ(hidden.gaps.size(), 1U);
  EXPECT_EQ(hidden.gaps[0].view, "audio.");
  EXPECT_NE(hidden.gaps[0].text.find("-31.6"), std::string::npos) << hidden.gaps[0].text;
  ASSERT_TRUE(hidden.next_test);
  EXPECT_EQ(hidden.next_test->id, "capture-audio");
  // The least the book's hum faults make above their limits is about -67 dBFS.
  const Diagnosis clear = diagnosed({hum_bounded_at(-95)});
  EXPECT_TRUE(shown_sound(clear)) << shown(clear);
  EXPECT_TRUE(clear.gaps.empty()) << clear.gaps[0].text;
}

// What one capture hides another of the same path may show.
TEST(DiagnoseSoundness, AnotherCaptureClosesTheGap) {
  EXPECT_TRUE(shown_sound(diagnosed({hum_bounded_at(-31.6), measured({quiet(20, 5)}, "idle.wav")})));
}

// 50 Hz at -33 dBFS in what is too short for it to be read.
TEST(DiagnoseSoundness, TooShortACaptureClearsNothing) {
  for (const double seconds : {0.2, 0.3}) {
    Samples x = quiet(seconds, 6);
    synth::add_sine(x, rate, 50.02, -33);
    const Diagnosis d = diagnosed({measured({x})});
    EXPECT_FALSE(shown_sound(d)) << seconds << " s: " << shown(d);
    ASSERT_EQ(d.gaps.size(), 1U);
    EXPECT_NE(d.gaps[0].text.find("could not be read"), std::string::npos) << d.gaps[0].text;
    ASSERT_TRUE(d.next_test);
    EXPECT_EQ(d.next_test->id, "capture-audio");
  }
  EXPECT_TRUE(shown_sound(diagnosed({measured({quiet(20, 7)})})));
}

TEST(DiagnoseSoundness, ALookAloneClearsNothing) {
  const Diagnosis d = diagnose::diagnose(book(), {parse_observed("port-light=on", book())});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  ASSERT_EQ(d.gaps.size(), 1U);
  EXPECT_TRUE(d.gaps[0].view.empty());
}

// What a person found by eye or meter, or what a trial made go, is there whatever a capture of another moment
// shows: the job is not sound.
TEST(DiagnoseSoundness, WhatAPersonFoundIsClearedByNoCapture) {
  const std::vector<Capture> clean = {measured({tone(10, 31)})};
  const auto told = [&](const std::vector<std::string>& typed) {
    return diagnose::diagnose(book(), Job{clean, parse_observed(typed, book()), {}});
  };
  for (const char* typed : {"port-light=dark",        "cable-print=other",
                            "shield-continuity=high", "earth-ohms=1.5",
                            "earth-ohms=3",           "module-pull=supply recovers",
                            "module-pull=hum gone",   "neighbour-tone=heard",
                            "pair-insulation=leaks",  "connector=crushed",
                            "loop-back=same",         "move-cable=less",
                            "dimmer-off=gone",        "video-off=gone",
                            "phones-away=gone",       "isolate-audio=gone",
                            "building-load=changes",  "source-setting=too loud",
                            "earth-points=two",       "earth-current=60 mA",
                            "supply-ripple=60 mV",    "supply-loaded=10.9 V of 12"}) {
    const Diagnosis d = told({typed});
    EXPECT_FALSE(shown_sound(d)) << typed << ": " << shown(d);
    ASSERT_EQ(d.unsettled.size(), 1U) << typed;
  }
  for (const char* typed :
       {"port-light=on", "cable-print=75 ohm", "shield-continuity=good", "earth-ohms=0.9",
        "module-pull=nothing", "pair-insulation=open", "connector=sound", "earth-points=one",
        "earth-current=5 mA", "supply-ripple=12 mV", "supply-loaded=11.7 V of 12", "supply-open=15.6 V of 12",
        "pair-loop=44 ohm of 40"}) {
    const Diagnosis d = told({typed});
    EXPECT_TRUE(shown_sound(d)) << typed << ": " << shown(d);
  }
}

// Right at the plug with the unit running, and dark: the unit is next, not the supply.
TEST(DiagnoseSoundness, ADarkUnitWhoseSupplyIsRightIsNotSound) {
  const std::vector<std::string> typed = {"supply-open=12.2 V of 12", "supply-loaded=12.0 V of 12",
                                          "port-light=dark"};
  const Diagnosis d =
      diagnose::diagnose(book(), Job{{measured({tone(10, 31)})}, parse_observed(typed, book()), {}});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  ASSERT_EQ(d.unsettled.size(), 1U);
  EXPECT_NE(d.unsettled[0].find("into the unit"), std::string::npos) << d.unsettled[0];
}

// The input's own noise, 10 s at -95 dBFS, is what a sound card gives with the cable out.
TEST(DiagnoseSoundness, ALineByWhichNothingCameIsNotCleared) {
  const auto as_given = [](const std::vector<Capture>& captures) {
    Job job{captures, {}, {}};
    if (auto idle = nothing_sent(captures)) job.told.push_back(*idle);
    return diagnose::diagnose(book(), job);
  };
  const Capture idle = measured({quiet(10, 8, -95)}, "idle");
  const Diagnosis d = as_given({idle});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  ASSERT_EQ(d.gaps.size(), 1U);
  EXPECT_EQ(d.gaps[0].sign, "audio.level.tone");
  // Hiss of an idle line says as little of what a signal would show.
  EXPECT_FALSE(shown_sound(as_given({measured({quiet(10, 8, -47)}, "hiss")})));
  EXPECT_TRUE(shown_sound(as_given({idle, measured({tone(20, 3)}, "tone.wav")})));
  // Silence that was sent is meant.
  EXPECT_TRUE(shown_sound(as_given({measured({quiet(10, 8, -95)}, "idle.wav", "silence")})));
}

// A fault that stands is no less so for what was not shown beside it.
TEST(DiagnoseSoundness, GapsOfAViewDoNotSpeakOfAnother) {
  const Evidence bars{"picture.hum.level", to_working(Scale::Amount, 0.05), 0.5, false, 1, "", "0.05 %", "p"};
  for (const Gap& g : gaps(book(), {bars})) EXPECT_NE(g.view, "audio.") << g.text;
}

// What speaks against a fault though it lies where the fault may put it is said to be at the end of that.
TEST(DiagnoseSoundness, AgainstAFaultAndYetInItsRangeIsExplained) {
  const Evidence hum{"video.hum.level", to_working(Scale::Amount, 2.6), 0.3, false, 1, "", "2.6 mV",
                     "camera"};
  const Evidence where{"audio.hum.where", 0, 0, false, 1, "everywhere", "everywhere", "lines"};
  const Evidence low{"audio.hum.fundamental", -45, 0.3, false, 1, "", "-45 dBFS", "lines"};
  const Explanation e = explain(book(), {hum, where, low}, "earth-missing");
  for (const Bearing& b : e.all) {
    if (b.sign == "video.hum.level" && b.nats < 0) {
      EXPECT_NE(b.text.find("mostly more"), std::string::npos) << b.text;
    }
  }
}

// One test is worth one figure, wherever it stands.
TEST(DiagnoseSoundness, TheNextTestSettlesTheSameWhereverItIsNamed) {
  Samples x = tone(10, 51);
  for (const auto& [k, db] : std::map<int, double>{{1, -40}, {3, -48}, {5, -52}})
    synth::add_sine(x, rate, 50.02 * k, db);
  const Diagnosis d = diagnosed({measured({x})});
  ASSERT_TRUE(d.next_test);
  for (const Finding& f : d.findings) {
    if (f.next_test && f.next_test->id == d.next_test->id) {
      EXPECT_EQ(f.next_test->settles, d.next_test->settles);
    }
  }
}

// What was seen and could not be told is neither sound nor a fault: the capture that tells it comes next.
TEST(DiagnoseSoundness, WhatWasSeenAndNotToldLeavesTheJobOpen) {
  Readings bars = bars_625();
  bars.push_back(unmeasurable("video.hum.level", "none found", 0.5));
  EXPECT_TRUE(shown_sound(diagnosed({of_readings(bars)}))) << shown(diagnosed({of_readings(bars)}));
  Readings ghost = bars;
  ghost.push_back(unmeasurable("video.echo.level", "something like an echo follows the edges"));
  const Diagnosis d = diagnosed({of_readings(ghost)});
  EXPECT_FALSE(shown_sound(d)) << shown(d);
  ASSERT_FALSE(d.gaps.empty());
  EXPECT_EQ(d.gaps[0].sign, "video.echo.trace");
  EXPECT_NE(d.gaps[0].how.find("2T pulse"), std::string::npos) << d.gaps[0].how;
  // Clean bars are looked through from 35 kHz on: below where the search begins something lies.
  Readings late = bars;
  late.push_back(number("video.noise.periodic.from", 150e3, 1));
  late.push_back(unmeasurable("video.noise.periodic.level", "none found", 0.1));
  const Diagnosis e = diagnosed({of_readings(late)});
  EXPECT_FALSE(shown_sound(e)) << shown(e);
  ASSERT_FALSE(e.gaps.empty());
  EXPECT_EQ(e.gaps[0].sign, "video.noise.search");
  EXPECT_NE(e.gaps[0].text.find("150 kHz"), std::string::npos) << e.gaps[0].text;
}

// A picture that measure fails is not sound here either: dirt that stands is no sign of any fault, and a K
// rating of 9 % is out of the 4 % of the limit set, with nothing of the book to say for it.
TEST(DiagnoseSoundness, AReadingOutOfItsLimitsThatNoSignIsAboutLeavesTheJobOpen) {
  const auto picture = [](double fixed) {
    Readings r;
    r.push_back(text_reading("picture.signal", "present"));
    r.push_back(text_reading("picture.pattern", "bars-75"));
    r.push_back(number("picture.noise", 0.7, 0.01));
    r.push_back(number("picture.noise.fixed", fixed, 0.02));
    r.push_back(unmeasurable("picture.hum.level", "none found", 0.05));
    return of_readings(r, "picture.yuv");
  };
  EXPECT_TRUE(shown_sound(diagnosed({picture(0.5)}))) << shown(diagnosed({picture(0.5)}));
  const Diagnosis d = diagnosed({picture(5)});
  EXPECT_FALSE(shown_sound(d));
  ASSERT_EQ(d.out_of_limits.size(), 1U);
  EXPECT_NE(d.out_of_limits[0].find("Noise that stands is out of its limit: 5.00 codes"), std::string::npos)
      << d.out_of_limits[0];
  const auto pulse = [](double k) {
    Readings r = bars_625();
    r.push_back(unmeasurable("video.hum.level", "none found", 0.5));
    r.push_back(number("video.k2t", k, 0.1));
    Capture c = of_readings(r);
    c.facts.sample_rate_hz = 13.5e6;
    return c;
  };
  EXPECT_TRUE(shown_sound(diagnosed({pulse(1)})));
  EXPECT_FALSE(shown_sound(diagnosed({pulse(9)})));
  EXPECT_NE(diagnosed({pulse(9)}).out_of_limits.at(0).find("K rating"), std::string::npos);
  // What a sign is about is weighed by it.
  Capture high = pulse(1);
  high.readings.push_back(number("video.snr.weighted", 53, 0.5));
  EXPECT_TRUE(diagnosed({high}).out_of_limits.empty());
  // As it was judged, where it was.
  Capture strict = pulse(1);
  Reading& k = strict.readings.back();
  k.limit = Limit{std::nullopt, 0.5, {}, {}, "house"};
  k.verdict = Verdict::Fail;
  EXPECT_EQ(diagnosed({strict}).out_of_limits.size(), 1U);
}

}  // namespace
