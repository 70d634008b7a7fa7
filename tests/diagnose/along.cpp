// What is lost along a line, and what comes and goes in a video signal.
#include <cmath>
#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/idle.hpp>
#include <random>

#include "job.hpp"
#include "support/disturbance_synth.hpp"

namespace {

using namespace diagnose_test;

SignalPath two_parts() {
  return parse_signal_path(
      "title = \"Lane\"\n[[part]]\nname = \"player\"\ncapture = \"player.wav\"\n"
      "[[part]]\nname = \"run\"\n[[part]]\nname = \"hub\"\ncapture = \"hub.wav\"\n",
      "path.toml");
}

std::vector<Capture> taken(synth::Samples at_player, synth::Samples at_hub) {
  std::vector<Capture> line = {measured({std::move(at_player)}, "player.wav"),
                               measured({std::move(at_hub)}, "hub.wav")};
  for (std::size_t i = 0; i < line.size(); ++i) line[i].along_path = 2 * static_cast<int>(i) + 1;
  return line;
}

// A tone that goes in and does not come out is lost between (a fact of any chain), whatever the level is in
// volts; so is one that comes out 12 or 40 dB weaker, where card and setting are the same.
TEST(DiagnoseAlong, WhatIsLostAlongALineIsNoSoundLine) {
  for (const double left_dbfs : {-200.0, -58.0, -30.0}) {
    const auto line = taken(tone(10, 1), left_dbfs < -100 ? quiet(10, 2) : tone(10, 2, left_dbfs));
    const Diagnosis d = diagnosed(line);
    EXPECT_LT(d.nothing_wrong, 0.2) << left_dbfs << shown(d);
    EXPECT_FALSE(shown_sound(d)) << left_dbfs;
    const Segment s = locate(book(), two_parts(), line);
    EXPECT_EQ(s.up_to_part, "hub") << left_dbfs << s.text;
    EXPECT_EQ(s.after_part, "player") << left_dbfs << s.text;
    const auto asked = questions(line, {});
    ASSERT_FALSE(asked.empty()) << left_dbfs;
    EXPECT_NE(asked.front().find("same card"), std::string::npos) << asked.front();
  }
}

// An amplifier that runs into its own rail cuts below the recorder's, and the noise behind it goes on over
// the cut: one recorder took the louder signal before it whole, so it is neither the source nor the recorder.
TEST(DiagnoseAlong, AStageThatCutsOnTheWayIsNamed) {
  synth::Samples cut = tone(10, 21, -6);
  for (float& v : cut) v = std::clamp(v, -0.35F, 0.35F);
  synth::add_noise(cut, -85, 22);
  const auto line = taken(tone(10, 23, -5.5), cut);
  const Segment s = locate(book(), two_parts(), line);
  EXPECT_EQ(s.up_to_part, "hub") << s.text;
  const Diagnosis alone = diagnosed({line[1]});
  EXPECT_EQ(first(alone), "source-clipped") << shown(alone);
  EXPECT_GT(probability(alone, "stage-overdriven"), 0.15) << shown(alone);
}

// The same level at both ends, and a silence that was asked for, are no loss.
TEST(DiagnoseAlong, WhatComesThroughIsSound) {
  const auto line = taken(tone(10, 3), tone(10, 4, -18.5));
  EXPECT_TRUE(shown_sound(diagnosed(line))) << shown(diagnosed(line));
  EXPECT_TRUE(locate(book(), two_parts(), line).up_to_part.empty());
  std::vector<Capture> asked = {measured({tone(10, 5)}, "player.wav", "tone-1khz"),
                                measured({quiet(10, 6)}, "hub.wav", "silence-20s")};
  asked[0].along_path = 1;
  asked[1].along_path = 3;
  EXPECT_GT(diagnosed(asked).nothing_wrong, 0.5) << shown(diagnosed(asked));
}

// Two faults: each place is named with its own.
TEST(DiagnoseAlong, APlaceNamesItsFault) {
  synth::Samples hum = tone(10, 7);
  disturbance_synth::add_comb(hum, rate, 50.02, {{1, -42}, {3, -54}, {5, -60}, {7, -66}});
  std::vector<Capture> line = taken(tone(10, 8), hum);
  line.push_back(of_readings({text_reading("video.signal", "none")}, "station.raw"));
  const SignalPath path = parse_signal_path(
      "title = \"Lane\"\n[[part]]\nname = \"player\"\ncapture = \"player.wav\"\n"
      "[[part]]\nname = \"hub\"\ncapture = \"hub.wav\"\n"
      "[[part]]\nname = \"station\"\ncapture = \"station.raw\"\n",
      "path.toml");
  const Segment s = locate(book(), path, line);
  EXPECT_EQ(s.up_to_part, "hub");
  EXPECT_NE(s.text.find("What is found there: " + book().fault("earth-loop-audio")->label), std::string::npos)
      << s.text;
  EXPECT_NE(s.text.find(book().fault("video-none")->label + ": it comes in behind hub"), std::string::npos)
      << s.text;
}

// A contact that makes and breaks steps the level (the fault's own description); a burst that is not there on
// a fifth of the lines is no sound source's. Both readings are as the waveform view gives them: what moves
// has an uncertainty as wide as it moves.
TEST(DiagnoseAlong, VideoThatComesAndGoesIsNotSound) {
  Readings steps = bars_625();
  steps.push_back(number("video.level.step", 3.1, 0.2));
  EXPECT_EQ(first(diagnosed({of_readings(steps)})), "connector-bad")
      << shown(diagnosed({of_readings(steps)}));
  Readings burst = bars_625();
  for (Reading& r : burst) {
    if (r.id == "video.burst.amplitude") r = number("video.burst.amplitude", 286, 286);
  }
  burst.push_back(number("video.burst.missing", 22.5, 0));
  const Diagnosis d = diagnosed({of_readings(burst)});
  EXPECT_EQ(first(d), "burst-weak") << shown(d);
  EXPECT_GT(probability(d, "burst-weak"), 0.5) << shown(d);
  EXPECT_FALSE(evidence({of_readings(burst)}, "video.burst.ratio").has_value());
}

// One earth or one supply hums at one frequency: where sound hums at 50 Hz and the picture at 60, what joins
// both is ruled out.
TEST(DiagnoseAlong, HumOfTwoMainsHasNoOneCause) {
  synth::Samples sound = quiet(15, 9);
  disturbance_synth::add_comb(sound, rate, 49.97, {{1, -42}, {3, -50}, {5, -58}});
  for (const double mains : {49.97, 60.02}) {
    Readings video = bars_625();
    video.push_back(number("video.hum.level", 60, 2));
    video.push_back(number("video.hum.frequency", mains, 0.01));
    for (const auto& [n, mv] : {std::pair{1, 20.0}, {3, 8.0}, {5, 3.2}})
      video.push_back(number(("video.hum.harmonic." + std::to_string(n)).c_str(), mv, 0.3));
    const Diagnosis d = diagnosed({measured({sound}), of_readings(video)});
    if (mains < 55) {
      EXPECT_GT(probability(d, "earth-two-points"), 0.5) << shown(d);
    } else {
      for (const char* one : {"earth-two-points", "earth-missing", "neutral-current"})
        EXPECT_LT(probability(d, one), 0.01) << one << shown(d);
    }
  }
}

// The field rate of 525 lines is 60/1.001 Hz [SMPTE 170M]: a pulse train of it, as vertical blanking makes,
// is video in the sound even where the path passes no line rate; a sound card's own supply keeps time with
// the mains.
TEST(DiagnoseAlong, FieldBuzzIsVideosAndNoRecorders) {
  synth::Samples x = quiet(20, 10);
  std::map<int, double> pulses;
  for (int n = 1; n <= 60; ++n) {
    const double part = std::abs(std::sin(3.14159265 * n * 0.08)) / n;
    if (part > 1e-3) pulses[n] = -34 + 20 * std::log10(part);
  }
  disturbance_synth::add_comb(x, rate, 60 / 1.001, pulses);
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_EQ(first(d), "video-into-audio") << shown(d);
  EXPECT_LT(probability(d, "recorder-fault"), 0.2) << shown(d);
}

// A phase-cut load's edges through a capacitance: odd multiples of about one height from the third on, hardly
// any of the mains itself [Fourier series of a step, and 6 dB an octave of a capacitance]. It is no hiss of a
// source's, and no pair of which nothing else is seen.
TEST(DiagnoseAlong, ADimmersEdgesAreNoHissAndNoBrokenPair) {
  for (const double mains : {49.98, 60.01}) {
    for (const double tone_db : {-200.0, -18.0}) {
      synth::Samples x = tone_db > -100 ? tone(10, 11, tone_db) : quiet(10, 11);
      for (int k = 3; k * mains < 8000; k += 2) synth::add_sine(x, rate, k * mains, -72, 0.4 * k * k);
      const Diagnosis d = diagnosed({measured({x})});
      EXPECT_EQ(first(d), "dimmer") << mains << " " << tone_db << shown(d);
      for (const char* not_it : {"gain-structure", "pair-open", "pair-split"})
        EXPECT_LT(probability(d, not_it), 0.2) << not_it << shown(d);
    }
  }
}

Diagnosis told(const std::vector<std::string>& observed, const std::vector<Capture>& captures) {
  Job job{captures, parse_observed(observed, book()), {}};
  return diagnose::diagnose(book(), job);
}

// With the path unplugged nothing of the path can hum: what is there is the recorder's.
TEST(DiagnoseAlong, WhatTheRecorderDoesAloneIsTheRecorders) {
  synth::Samples x = tone(15, 12);
  disturbance_synth::add_comb(x, rate, 50.02, {{1, -44}, {3, -52}, {5, -60}});
  const Diagnosis d = told({"loop-back=same"}, {measured({x})});
  EXPECT_EQ(first(d), "recorder-fault") << shown(d);
  EXPECT_GT(probability(d, "recorder-fault"), 0.7) << shown(d);
}

// Who finds two earths has found the fault of two earths, and no camera's that nobody looked at.
TEST(DiagnoseAlong, TwoEarthsFoundAreTwoEarths) {
  const Diagnosis d = told({"earth-points=two"}, {measured({tone(10, 13)})});
  EXPECT_EQ(first(d), "earth-two-points") << shown(d);
}

// 2.25 to 2.30 V a cell keep a lead-acid battery charged (common practice): 13.5 to 13.8 V for 12.
TEST(DiagnoseAlong, AFloatingSupplyIsSound) {
  for (const char* volts : {"13.0 V of 12", "13.5 V of 12", "13.8 V of 12", "27.3 V of 24"}) {
    const Diagnosis d = told({std::string("supply-loaded=") + volts}, {measured({tone(10, 14)})});
    EXPECT_TRUE(shown_sound(d)) << volts << shown(d);
  }
  EXPECT_FALSE(shown_sound(told({"supply-loaded=10.8 V of 12"}, {measured({tone(10, 14)})})));
}

// Right volts at the plug and a dark unit: the unit.
TEST(DiagnoseAlong, FedAndDarkIsTheUnit) {
  std::vector<std::string> seen = {"port-light=dark", "supply-loaded=12.1 V of 12"};
  const std::vector<Capture> idle = {measured({quiet(10, 15, -84)})};
  Job job{idle, parse_observed(seen, book()), {}};
  job.told.push_back(*nothing_sent(idle));
  const Diagnosis d = diagnose::diagnose(book(), job);
  EXPECT_EQ(first(d), "unit-off") << shown(d);
  EXPECT_LT(d.nothing_wrong, 0.5) << shown(d);
}

// Nothing is straighter than straight: 0 % of differential gain speaks for no fault.
TEST(DiagnoseAlong, NoNonLinearitySpeaksForNone) {
  Readings r = bars_625();
  r.push_back(number("video.differential_gain", 0.0, 0.5));
  const Explanation e = explain(book(), gather(book(), {of_readings(r)}), "input-overloaded");
  for (const Bearing& b : e.all) {
    if (b.sign != "video.nonlinearity") continue;
    EXPECT_LE(b.nats, 0) << b.text;
  }
}

// A camera without colour is a fault only where colour was promised: a look settles it.
TEST(DiagnoseAlong, ABlackAndWhiteCameraIsAskedFor) {
  Readings r = bars_625();
  std::erase_if(r, [](const Reading& x) { return x.id == "video.burst.amplitude"; });
  r.push_back(unmeasurable("video.burst.amplitude", "no colour burst was found"));
  const std::vector<Capture> one = {of_readings(r)};
  const Diagnosis d = diagnosed(one);
  EXPECT_LT(d.findings.front().probability, 0.5) << shown(d);
  EXPECT_FALSE(shown_sound(d));
  ASSERT_TRUE(d.next_test.has_value());
  EXPECT_EQ(d.next_test->id, "camera-colour");
  EXPECT_FALSE(remarks(evidence_of(book(), Job{one, {}, {}})).empty());
  EXPECT_GT(told({"camera-colour=black and white"}, one).nothing_wrong, 0.5);
  EXPECT_EQ(first(told({"camera-colour=colour"}, one)), "burst-weak");
}

// 20 lg 1.25 = 1.94 dB: all of the composite alike is a source or an amplifier set high, or an end of 125 ohm
// (2 R / (R + 75)); counting the ends tells them apart.
TEST(DiagnoseAlong, AllTooLargeAlikeIsTheSourceWhereTheEndIsRight) {
  const std::vector<Capture> one = {of_readings(bars_625(375, 875, 375))};
  const Diagnosis d = diagnosed(one);
  EXPECT_GT(probability(d, "source-video-high"), 0.3) << shown(d);
  EXPECT_LT(probability(d, "termination-missing"), 0.6) << shown(d);
  EXPECT_EQ(first(told({"terminations=one"}, one)), "source-video-high");
  EXPECT_EQ(first(diagnosed({of_readings(bars_625(600, 1400, 600))})), "termination-missing");
}

// Something like an echo that cannot be measured is not nothing.
TEST(DiagnoseAlong, SomethingLikeAnEchoIsLeftOpen) {
  Readings r = bars_625();
  r.push_back(
      unmeasurable("video.echo.level",
                   "something like an echo follows the edges, but several sets of delays would explain it"));
  EXPECT_FALSE(shown_sound(diagnosed({of_readings(r)}))) << shown(diagnosed({of_readings(r)}));
}

Capture frames(Readings r, double frames_in_all) {
  Capture c = of_readings(std::move(r), "take.yuv");
  c.facts.sample_rate_hz = 25;
  c.facts.frames = static_cast<std::uint64_t>(frames_in_all);
  c.readings.insert(c.readings.begin(), text_reading("picture.signal", "present"));
  return c;
}

// One frame without signal is one too many; a signal that goes and does not come back is off or unplugged; a
// tear in one noisy frame is noise.
TEST(DiagnoseAlong, FramesWithoutSignal) {
  const auto lost = [](double n, const char* why) {
    return frames({number_reading("picture.signal.lost", n, std::nullopt, why)}, 60);
  };
  EXPECT_LT(diagnosed({lost(1, "0.04 s in all, the first at 0.73 s")}).nothing_wrong, 0.2);
  const Diagnosis off = diagnosed({lost(20, "0.80 s in all, the first at 1.60 s")});
  EXPECT_EQ(first(off), "video-none") << shown(off);
  EXPECT_EQ(first(diagnosed({lost(20, "0.80 s in all, the first at 0.30 s")})), "connector-bad");
  const auto torn = [](double noise) {
    return frames(
        {number("picture.noise", noise, 0.05), number_reading("picture.tear", 6.9, 0.9, "in 1 of 60 frames")},
        60);
  };
  EXPECT_LT(probability(diagnosed({torn(6)}), "connector-bad"), 0.2);
  EXPECT_GT(probability(diagnosed({torn(0.6)}), "connector-bad"), 0.3);
}

// A call button pressed by hand, and Morse (dot 80 ms, dash 240 ms): the tone goes to nothing and comes back,
// by turns of no one length. A mean over more or less of it is no step of its level.
TEST(DiagnoseAlong, AToneKeyedByHandHasNoStep) {
  std::mt19937_64 gen(16);
  const auto between = [&gen](double low, double high) {
    return low + (high - low) * std::uniform_real_distribution<double>(0, 1)(gen);
  };
  for (const bool morse : {false, true}) {
    synth::Samples x = quiet(20, 16);
    double t = 0.3;
    while (t < 19) {
      const double on = morse ? (between(0, 1) < 0.5 ? 0.08 : 0.24) : between(0.1, 0.8);
      const double off = morse ? (between(0, 1) < 0.3 ? 0.24 : 0.08) : between(0.08, 0.5);
      const double edge = morse ? 0.005 : 0.002;
      for (auto i = synth::count(t, rate); i < synth::count(std::min(t + on, 19.8), rate); ++i) {
        const double at = static_cast<double>(i) / rate - t;
        const double gate = std::clamp(std::min(at, on - at) / edge, 0.0, 1.0);
        x[i] += static_cast<float>(0.178 * gate * std::sin(6.283185307 * 700 * (at + t)));
      }
      t += on + off;
    }
    const std::vector<Capture> one = {measured({x})};
    EXPECT_FALSE(find_reading(one[0].readings, "audio.tone.step") != nullptr &&
                 find_reading(one[0].readings, "audio.tone.step")->measured())
        << morse;
    EXPECT_LT(probability(diagnosed(one), "connector-bad"), 0.2) << morse << shown(diagnosed(one));
  }
}

// One line that stands 30 dB above all else beside the tone is no hiss: no level that is made up later makes
// it.
TEST(DiagnoseAlong, AWhineIsNoHiss) {
  for (const double hz : {2381.0, 7123.0, 9170.0}) {
    synth::Samples x = tone(15, 17);
    synth::add_sine(x, rate, hz, -50);
    const std::vector<Capture> one = {measured({x})};
    const auto whine = evidence(one, "audio.whine");
    ASSERT_TRUE(whine.has_value()) << hz;
    EXPECT_NEAR(whine->value, -50, 0.3) << hz;
    const Diagnosis d = diagnosed(one);
    EXPECT_LT(probability(d, "gain-structure"), 0.2) << hz << shown(d);
    EXPECT_LT(d.nothing_wrong, 0.5) << hz << shown(d);
  }
  synth::Samples hiss = tone(15, 18);
  synth::add_noise(hiss, -48, 19);
  EXPECT_EQ(first(diagnosed({measured({hiss})})), "gain-structure");
  const auto none = evidence({measured({hiss})}, "audio.whine");
  EXPECT_TRUE(!none || none->at_most) << none->shown;
}

// Noise of a live picture of which a small part came again, and was taken out, is noise.
TEST(DiagnoseAlong, NoiseOfADarkSceneIsACamerasShortOfLight) {
  for (const Reading& again : {number_reading("video.noise.repeated", 0.3, std::nullopt),
                               number_reading("video.noise.repeated", 22, std::nullopt),
                               number_reading("video.noise.repeated", 88, std::nullopt),
                               unmeasurable("video.noise.repeated", "two frames were not compared")}) {
    Readings r = bars_625();
    std::erase_if(r, [](const Reading& x) { return x.id == "video.pattern" || x.id == "video.bars.kind"; });
    r.push_back(number_reading("video.noise", 11.4, 0.6));
    r.push_back(again);
    const bool most = !again.measured() || again.number() > 80;
    EXPECT_EQ(evidence({of_readings(r)}, "video.noise")->at_most, most)
        << (again.measured() ? again.number() : -1);
    EXPECT_EQ(first(diagnosed({of_readings(r)})) == "video-noisy", !most)
        << shown(diagnosed({of_readings(r)}));
  }
}

}  // namespace
