// What captures of sound lead to: faults by their physics, and sound paths that look odd and are not accused.
// The signals are closed forms of tests/support, not the simulator's.
#include <cmath>

#include "job.hpp"
#include "support/disturbance_synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace diagnose_test;
using synth::Samples;

// A sine at full scale stands at 0 dBFS and its peaks at the rail [AES17]: a tone 6 dB below with hum of its
// own height on it is cut by the sum, whatever the source's level.
TEST(DiagnoseSound, ClippingThatStrongHumMakesIsNotTheSources) {
  Samples x = tone(20, 1, -8);
  disturbance_synth::add_comb(x, rate, 50.02, {{1, -4}, {3, -14}, {5, -18}, {7, -22}});
  const Capture c = measured({x});
  ASSERT_GT(find_reading(c.readings, "audio.clip.samples")->number(), 100);
  const Diagnosis d = diagnosed({c});
  for (const char* fault : {"source-clipped", "input-overloaded", "source-too-loud"})
    EXPECT_LT(probability(d, fault), 0.5) << shown(d);
  const std::string f = first(d);
  EXPECT_TRUE(f.starts_with("earth") || f == "transformer-field" || f == "cable-beside-mains") << shown(d);
  EXPECT_LT(d.unlisted, 0.2) << shown(d);
}

// A supply's capacitor of 4.7 nF against the mains lets 0.34 mA through (115 V of the mains' half, 50 Hz),
// which makes 3.4 V on an input of 10 kohm where the return of an unbalanced line is open: hum as loud as the
// programme, and louder. It is a fault like any other, whatever the input's gain.
TEST(DiagnoseSound, GrossHumIsStillToldByItsKind) {
  for (const double level : {-25.0, -15.0, -6.0}) {
    Samples loop = tone(20, 17, -20);
    disturbance_synth::add_comb(
        loop, rate, 50.02,
        disturbance_synth::at_total({{1, 0}, {3, -10}, {5, -14}, {7, -18}, {9, -22}, {11, -25}}, level));
    const Diagnosis d = diagnosed({measured({loop})});
    EXPECT_TRUE(first(d).starts_with("earth")) << level << ": " << shown(d);
    Samples open = tone(20, 18, -20);
    disturbance_synth::add_comb(open, rate, 50.02,
                                disturbance_synth::at_total({{1, 0}, {3, -28}, {5, -25}, {7, -30}}, level));
    const Diagnosis e = diagnosed({measured({open})});
    EXPECT_LT(e.unlisted, 0.3) << level << ": " << shown(e);
    EXPECT_GT(probability(e, "shield-broken") + probability(e, "transformer-field") +
                  probability(e, "cable-beside-mains") + probability(e, "pair-open"),
              0.5)
        << level << ": " << shown(e);
  }
}

// Flat noise alone, at a level that nobody lined up, may be a laptop's input with its gain up (common
// practice): no supply and no source is accused of it.
TEST(DiagnoseSound, FlatHissOfAnUncalibratedInputAccusesNobody) {
  for (const double level : {-60.0, -50.0}) {
    const Diagnosis d = diagnosed({measured({quiet(20, 3, level)})});
    EXPECT_LT(d.ranking.front().second, 0.5) << level << ": " << shown(d);
  }
}

// 15 625 Hz is the line frequency of 625 lines [BT.1700]; the A curve still counts it (-7 dB,
// [IEC 61672-1]), and it must not stand for hiss beside being a whistle.
TEST(DiagnoseSound, AWhistleIsCountedOnce) {
  Samples x = quiet(20, 4);
  synth::add_sine(x, rate, 15625, -50);
  const Capture c = measured({x});
  const Diagnosis d = diagnosed({c});
  EXPECT_EQ(first(d), "video-into-audio") << shown(d);
  EXPECT_LT(probability(d, "supply-switching"), 0.2) << shown(d);
  const auto hiss = evidence({c}, "audio.noise.hiss");
  ASSERT_TRUE(hiss.has_value());
  EXPECT_TRUE(hiss->at_most || hiss->value < -70) << hiss->shown;
}

// Volts are known of a calibrated input only: -10 dBV is 11.8 dB under +4 dBu (0.316 V and 1.228 V,
// definitions), which is a fault where volts are known and may be the card's gain where they are not.
TEST(DiagnoseSound, LevelsCountByWhetherTheInputIsCalibrated) {
  const Samples speech = [] {
    Samples x = quiet(25, 5);
    synth::add_voice(x, rate, 120, -38, 5);
    return x;
  }();
  const Diagnosis open = diagnosed({measured({speech})});
  EXPECT_LT(open.ranking.front().second, 0.5) << shown(open);
  // Line-up 11.8 dB low on a card whose 0 dBu stands at -18 dBFS: full scale (peak) is 0.775 V rms x
  // 10^(18/20) x sqrt(2).
  const double full_scale = 0.7746 * std::pow(10, 18 / 20.0) * std::sqrt(2.0);
  const Diagnosis known = diagnosed({measured({tone(20, 6, -29.8)}, "take.wav", "tone-1k", full_scale)});
  EXPECT_EQ(first(known), "level-consumer-into-professional") << shown(known);
  EXPECT_GT(probability(known, "level-consumer-into-professional"), 0.5) << shown(known);
  const Diagnosis unknown = diagnosed({measured({tone(20, 6, -29.8)}, "take.wav", "tone-1k")});
  EXPECT_LT(probability(unknown, "level-consumer-into-professional"),
            0.5 * probability(known, "level-consumer-into-professional"))
      << shown(unknown);
}

// One line of an intercom recorded with the default two channels, and a programme that is mono: right or
// wrong by what was meant (common practice), which only the technician knows.
TEST(DiagnoseSound, SidesAreWrongOnlyWhereTwoWereMeant) {
  Samples voice = quiet(25, 7);
  synth::add_voice(voice, rate, 130, -23, 7);
  const Capture left_only = measured({voice, quiet(25, 8)});
  Samples same = voice;
  const Capture mono = measured({voice, same});
  EXPECT_GT(diagnosed({left_only}).nothing_wrong, 0.5) << shown(diagnosed({left_only}));
  EXPECT_GT(diagnosed({mono}).nothing_wrong, 0.5) << shown(diagnosed({mono}));
  EXPECT_FALSE(questions({left_only}, {}).empty());
  const Diagnosis meant = diagnosed({left_only}, {"", "two"});
  EXPECT_EQ(first(meant), "source-one-side") << shown(meant);
  EXPECT_TRUE(questions({left_only}, {"", "two"}).empty());
  EXPECT_EQ(first(diagnosed({mono}, {"", "two"})), "source-mono");
  EXPECT_GT(diagnosed({left_only}, {"", "one"}).nothing_wrong, 0.5);
}

// Contacts fall open for milliseconds (common practice of connector tests looks for a microsecond and more):
// gaps on one path of two are that path's, and no recorder makes them.
TEST(DiagnoseSound, GapsOfOnePathAreAContacts) {
  Samples whole = tone(20, 9);
  Samples broken = tone(20, 10);
  std::mt19937_64 gen(11);
  for (int k = 0; k < 15; ++k) {
    const std::size_t from = gen() % (broken.size() - 9600);
    std::fill_n(broken.begin() + static_cast<std::ptrdiff_t>(from), 300 + gen() % 3700, 0.0F);
  }
  const Diagnosis one = diagnosed({measured({broken, whole})});
  EXPECT_EQ(first(one), "connector-bad") << shown(one);
  EXPECT_GT(probability(one, "connector-bad"), 0.5) << shown(one);
  EXPECT_LT(probability(one, "recorder-fault"), 0.1) << shown(one);
  const Diagnosis alone = diagnosed({measured({broken})});
  EXPECT_EQ(first(alone), "connector-bad") << shown(alone);
}

// A film in a contact changes its resistance in steps (common practice), and the tone behind it steps.
TEST(DiagnoseSound, LevelStepsOfAToneAreAContacts) {
  Samples x = tone(20, 12);
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (std::fmod(static_cast<double>(i) / rate, 5.0) > 2.5) x[i] *= 0.4F;
  }
  const Capture c = measured({x});
  ASSERT_TRUE(evidence({c}, "audio.level.step").has_value());
  const Diagnosis d = diagnosed({c});
  EXPECT_LT(d.nothing_wrong, 0.1) << shown(d);
  EXPECT_EQ(first(d), "connector-bad") << shown(d);
}

// A phase-cut dimmer switches 100 times a second at 50 Hz; each edge couples as a pulse, so all multiples to
// the kilohertz are there with the odd ones (both edges alternate in sign) far above the fundamental's hum.
TEST(DiagnoseSound, PulsesTwiceAMainsPeriodThatAlternateAreADimmers) {
  Samples x = quiet(20, 13);
  const double period = rate / 50.02;
  for (double at = 0.3 * period; at + 20 < static_cast<double>(x.size()); at += period) {
    for (int half = 0; half < 2; ++half) {
      const auto n = static_cast<std::size_t>(at + half * period / 2);
      double pulse = half == 0 ? 0.1 : -0.1;
      for (std::size_t k = 0; k < 12 && n + k < x.size(); ++k) {
        x[n + k] += static_cast<float>(pulse);
        pulse *= 0.7;
      }
    }
  }
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_EQ(first(d), "dimmer") << shown(d);
  EXPECT_LT(probability(d, "supply-ripple"), 0.2) << shown(d);
}

// The same samples twice are one path, not two that hum alike.
TEST(DiagnoseSound, TheSameCaptureTwiceCountsOnce) {
  Samples x = tone(10, 31);
  disturbance_synth::add_comb(x, rate, 49.93, {{1, -40}, {3, -48}, {5, -52}});
  const Capture one = measured({x}, "one.wav"), copy = measured({x}, "copy.wav");
  const Diagnosis once = diagnosed({one});
  const Diagnosis twice = diagnosed({one, copy});
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_EQ(once.ranking[i].first, twice.ranking[i].first);
    EXPECT_NEAR(once.ranking[i].second, twice.ranking[i].second, 1e-12);
  }
  EXPECT_EQ(twice.signs_used, once.signs_used);
  const auto said = questions({one, copy}, {});
  ASSERT_FALSE(said.empty());
  EXPECT_NE(said[0].find("one and the same"), std::string::npos) << said[0];
}

// A phone's bursts with hard edges, an eighth of every 4.615 ms but each 26th (the frame of a mobile network
// [from memory]), for half of the time: between them nothing is missing.
TEST(DiagnoseSound, BurstsOfAPhoneAreNoGaps) {
  Samples x = quiet(20, 32);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double frame = t / 0.004615;
    const bool on = frame - std::floor(frame) < 0.125 && static_cast<int>(frame) % 26 != 25;
    if (on && std::fmod(t, 4.0) < 2) x[n] += 0.05F;
  }
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_EQ(first(d), "phone-pickup") << shown(d);
  EXPECT_LT(probability(d, "connector-bad"), 0.2) << shown(d);
}

// One cause gives one finding: hum of an earth loop on a path leaves no second fault above even odds.
TEST(DiagnoseSound, OneCauseMakesNoSecondFault) {
  const std::pair<const char*, std::map<int, double>> cases[] = {
      {"loop", {{1, -42}, {3, -52}, {5, -55}, {7, -58}, {9, -62}, {11, -66}, {13, -68}}},
      {"ripple", {{2, -45}, {4, -55}, {6, -62}, {8, -67}, {10, -72}}}};
  for (const auto& [name, comb] : cases) {
    Samples x = tone(20, 14);
    disturbance_synth::add_comb(x, rate, 49.97, comb);
    const Diagnosis d = diagnosed({measured({x})});
    EXPECT_GT(d.ranking[0].second, 0.3) << name << ": " << shown(d);
    EXPECT_LT(d.ranking[1].second, 0.5) << name << ": " << shown(d);
  }
  Samples ripple = tone(20, 15);
  disturbance_synth::add_comb(ripple, rate, 49.97, cases[1].second);
  EXPECT_EQ(first(diagnosed({measured({ripple})})), "supply-ripple");
}

// Twenty sound paths, each with its own small oddities: the oddest of many is no fault.
TEST(DiagnoseSound, ManySoundPathsStaySound) {
  std::mt19937_64 gen(16);
  std::normal_distribution<double> normal;
  std::vector<Capture> all;
  for (int k = 0; k < 20; ++k) {
    Samples x = quiet(6, 100 + static_cast<std::uint64_t>(k), -80 + 3 * normal(gen));
    synth::add_sine(x, rate, 997, -18 + normal(gen));
    disturbance_synth::add_comb(x, rate, 50.01,
                                disturbance_synth::at_total(disturbance_synth::plain, -92 + 6 * normal(gen)));
    all.push_back(measured({x}, "path-" + std::to_string(k) + ".wav"));
  }
  for (const std::size_t n : {1U, 5U, 20U}) {
    const Diagnosis d = diagnosed({all.begin(), all.begin() + static_cast<std::ptrdiff_t>(n)});
    EXPECT_GT(d.nothing_wrong, 0.5) << n << ": " << shown(d);
    EXPECT_LT(d.ranking.front().second, 0.2) << n << ": " << shown(d);
  }
}

// 1 kHz for 2 s on the left and 2 s on the right in turn, switched hard: the way to tell the sides apart by
// hand.
TEST(DiagnoseSound, ALeftRightTestByHandAccusesNoContact) {
  Samples left = quiet(12, 61);
  Samples right = quiet(12, 62);
  for (std::size_t i = 0; i < left.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    Samples& x = std::fmod(t, 4.0) < 2 ? left : right;
    x[i] += static_cast<float>(0.126 * std::sin(6283.1853 * t));
  }
  const Diagnosis d = diagnosed({measured({left, right})});
  EXPECT_LT(probability(d, "connector-bad"), 0.1) << shown(d);
}

// A picture half bright and half dark on a shared return: a square wave at the field rate of 525 lines, 1/n
// of each odd multiple (Fourier series). Mains of 60 Hz with the same multiples is not the video's.
TEST(DiagnoseSound, AnEvenBuzzAtTheFieldRateIsTheVideos) {
  const auto with = [](double hz) {
    synth::Samples x = quiet(20, 77);
    for (int n = 1; n < 60; n += 2) synth::add_sine(x, rate, hz * n, -44 - 20 * std::log10(n));
    return diagnosed({measured({x})});
  };
  const Diagnosis field = with(60000.0 / 1001);
  EXPECT_EQ(first(field), "video-into-audio") << shown(field);
  EXPECT_LT(field.nothing_wrong, 0.01) << shown(field);
  const Diagnosis mains = with(60.01);
  EXPECT_LT(probability(mains, "video-into-audio"), 0.2) << shown(mains);
}

// A dimmer's edge, differentiated by the capacitance it comes over: odd multiples that do not fall (Fourier
// series of an impulse of turning sign) up to the end of the band. Their sum is no hiss.
TEST(DiagnoseSound, ADimmersMultiplesAreNoHiss) {
  synth::Samples x = quiet(10, 7);
  for (int n = 1; 49.98 * n < 20000; n += 2) synth::add_sine(x, rate, 49.98 * n, -66, 0.0);
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_EQ(first(d), "dimmer") << shown(d);
  EXPECT_LT(probability(d, "gain-structure"), 0.1) << shown(d);
  EXPECT_LT(probability(d, "video-into-audio"), 0.1) << shown(d);
  // A loop's multiples fall, and noise beside them is noise.
  synth::Samples y = quiet(10, 8, -50);
  for (int n = 1; n < 12; n += 2) synth::add_sine(y, rate, 49.98 * n, -40 - 8 * n, 0.0);
  const auto hiss = evidence({measured({y})}, "audio.noise.hiss");
  ASSERT_TRUE(hiss);
  EXPECT_FALSE(hiss->at_most) << hiss->shown;
}

// A supply's whine in an idle line: steady, far weaker than any tone that is sent (switching supplies sing
// between 1 and 20 kHz, common practice).
TEST(DiagnoseSound, ASteadyToneInAnIdleLineIsAWhine) {
  synth::Samples x = quiet(10, 11);
  synth::add_sine(x, rate, 7340, -48);
  synth::add_sine(x, rate, 14680, -60);
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_LT(d.nothing_wrong, 0.2) << shown(d);
  EXPECT_GT(probability(d, "supply-switching") + probability(d, "audio-crosstalk"), 0.7) << shown(d);
}

// The same whine under speech: bursts of noise a third of a second long, in quiet.
TEST(DiagnoseSound, AWhineUnderSpeechIsNotCalledSound) {
  synth::Samples x(synth::count(10, rate), 0.0F);
  synth::add_noise(x, -26, 12);
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (i / 14400 % 3 == 2) x[i] = 0;
  }
  synth::add_noise(x, -80, 13);
  const double clean = diagnosed({measured({x})}).nothing_wrong;
  EXPECT_GT(clean, 0.5);
  synth::add_sine(x, rate, 3170, -46);
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_LT(d.nothing_wrong, 0.2) << shown(d);
  EXPECT_GT(probability(d, "supply-switching") + probability(d, "audio-crosstalk"), 0.7) << shown(d);
}

// A full-wave rectifier's ripple has multiples of twice the mains alone: 2/(pi (4 k^2 - 1)) of each (Fourier
// series of |sin|), and a balanced line adds none of the mains itself.
TEST(DiagnoseSound, RippleWithNoTraceOfTheMainsIsRipple) {
  for (const double top_dbfs : {-62.0, -45.0, -25.0}) {
    synth::Samples x = quiet(12, 16, -90);
    for (int k = 1; k <= 12; ++k)
      synth::add_sine(x, rate, 100.02 * k, top_dbfs + 20 * std::log10(3.0 / (4 * k * k - 1)), 0.3 * k);
    const Diagnosis d = diagnosed({measured({x})});
    EXPECT_EQ(first(d), "supply-ripple") << top_dbfs << ": " << shown(d);
    EXPECT_GT(probability(d, "supply-ripple"), 0.6) << top_dbfs << ": " << shown(d);
  }
}

// Keys and knocks beside an open microphone are weaker than what is said (bursts of noise). As strong as it,
// clicks are a contact's.
TEST(DiagnoseSound, KeysBesideAMicrophoneAccuseNoConnector) {
  const auto clicked = [](double dbfs) {
    synth::Samples x(synth::count(12, rate), 0.0F);
    synth::add_noise(x, -26, 14);
    for (std::size_t i = 0; i < x.size(); ++i) {
      if (i / 14400 % 3 == 2) x[i] = 0;
    }
    synth::add_noise(x, -80, 15);
    const double peak = std::pow(10, dbfs / 20);
    for (std::size_t at = 31000; at + 2000 < x.size(); at += 14400) {  // in the pauses
      x[at] += static_cast<float>(peak);
      x[at + 1] -= static_cast<float>(0.6 * peak);
    }
    return diagnosed({measured({x})});
  };
  const Diagnosis keys = clicked(-34);
  EXPECT_LT(probability(keys, "connector-bad"), 0.3) << shown(keys);
  EXPECT_FALSE(shown_sound(keys)) << shown(keys);
  EXPECT_GT(probability(clicked(-8), "connector-bad"), 0.4) << shown(clicked(-8));
}

// The corners of cut tops are no clicks of a contact.
TEST(DiagnoseSound, CutTopsAreNoClicks) {
  Readings r;
  r.push_back(text_reading("audio.signal", "present"));
  r.push_back(number_reading("audio.clip.samples", 20000, 0));
  r.push_back(number_reading("audio.clip.level", 0, 0.01));
  r.push_back(number_reading("audio.click.count", 40, 0));
  Capture c = of_readings(r, "loud.wav");
  c.facts.sample_rate_hz = rate;
  c.facts.frames = 480000;
  const auto clicks = evidence({c}, "audio.click");
  EXPECT_TRUE(!clicks || clicks->at_most);
}

// A lone line of the mains' first multiple: off 50 Hz by more than crystals are (0.4 parts in a thousand
// here, the grid's daily course; crystals keep 100 parts in a million, common practice) nobody sent it; at
// 50.000 Hz it may be a tone, unless silence was sent, and then that is asked.
TEST(DiagnoseSound, ALoneLineOfTheMainsIsHumUnlessItMayHaveBeenSent) {
  const auto line = [](double hz, const std::string& signal) {
    synth::Samples x = quiet(6, 31, -90);
    synth::add_sine(x, rate, hz, -16);
    return measured({std::move(x)}, "line.wav", signal);
  };
  for (const auto& [hz, signal] : {std::pair{50.02, ""}, std::pair{50.0, "silence"}}) {
    const std::vector<Capture> job = {line(hz, signal)};
    const Diagnosis d = diagnosed(job);
    EXPECT_LT(d.nothing_wrong, 0.1) << hz << " " << shown(d);
    EXPECT_TRUE(questions(job, {}).empty()) << questions(job, {}).front();
  }
  const std::vector<Capture> may_be = {line(50.0, "")};
  EXPECT_GT(diagnosed(may_be).nothing_wrong, 0.1);
  ASSERT_EQ(questions(may_be, {}).size(), 1u);
  EXPECT_NE(questions(may_be, {}).front().find("a line of 50.00 Hz, -16.0 dBFS"), std::string::npos);
}

// A steady line 41 dB under what is said is heard in every pause (an A-weighted -62 dBFS against -80 dBFS and
// less of an idle path, common practice), whatever the input's gain: the programme tells the level it stands
// at.
TEST(DiagnoseSound, AWhineUnderProgrammeIsNotCalledSound) {
  Readings r;
  r.push_back(text_reading("audio.signal", "present"));
  r.push_back(number("audio.level.rms", -20.4, 0.9));
  r.push_back(number("audio.programme.level", -21.2, 0.1));
  r.push_back(number("audio.whine.level", -62, 0.2));
  r.push_back(number("audio.whine.frequency", 8302, 39));
  Capture c = of_readings(r, "speech.wav");
  c.facts.sample_rate_hz = rate;
  c.facts.channels = 1;
  c.facts.frames = 480000;
  const Diagnosis d = diagnosed({c});
  EXPECT_LT(d.nothing_wrong, 0.1) << shown(d);
  EXPECT_FALSE(shown_sound(d)) << shown(d);
}

}  // namespace
