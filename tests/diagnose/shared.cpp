// What several captures or lines have in common, and what they only seem to.
#include <map>

#include "../../src/diagnose/model.hpp"
#include "job.hpp"

namespace {

using namespace diagnose_test;
using synth::Samples;

const std::map<int, double> loop{{1, -42}, {3, -54}, {5, -60}, {7, -66}};

Samples with_hum(Samples x, double mains_hz, double db = 0, double turn = 0) {
  for (const auto& [k, level] : loop)
    synth::add_sine(x, rate, mains_hz * k, level + db, 0.3 * k * k + turn * k);
  return x;
}

std::string where(const std::vector<Capture>& captures, const Site& site = {}) {
  const auto e = evidence(captures, "audio.hum.where", site);
  return e ? e->word : "not said";
}

// The frequency of public mains is one throughout an installation [EN 50160: 50 Hz within 1 %].
TEST(DiagnoseShared, HumOfTwoMainsIsNotEverywhere) {
  const Capture a = measured({with_hum(quiet(15, 1), 49.98)}, "a.wav");
  const Capture b = measured({with_hum(quiet(15, 2), 60.01)}, "b.wav");
  const Capture c = measured({with_hum(quiet(15, 3), 50.04)}, "c.wav");
  EXPECT_EQ(where({a, c}), "everywhere");
  EXPECT_EQ(where({a, b}), "not said");
  EXPECT_TRUE(questions({a, c}, {}).empty());
  const auto asked = questions({a, b}, {});
  ASSERT_EQ(asked.size(), 1U);
  EXPECT_NE(asked[0].find("no one mains"), std::string::npos) << asked[0];
}

TEST(DiagnoseShared, OneLineInTwoChannelsIsOnePath) {
  const Samples line = with_hum(tone(15, 4), 50.02);
  Samples again = line;
  synth::add_noise(again, -88, 9);
  EXPECT_EQ(where({measured({line, again})}), "not said");
  EXPECT_EQ(where({measured({line, quiet(15, 5, -88)})}), "not said");  // an input with nothing in it
  // Two lines that were said to be two.
  EXPECT_EQ(where({measured({line, again})}, {.system = "", .sides = "two"}), "everywhere");
}

// All lines of one duct hum at one mains, in step: that is neither crosstalk nor reversed polarity.
TEST(DiagnoseShared, HumOfTwoIdleLinesIsNoCrosstalk) {
  for (const double db : {-25.0, -15.0, -6.0}) {
    for (const double turn : {0.0, 1.0, 3.14159265}) {
      const Capture c =
          measured({with_hum(quiet(15, 6, -88), 49.98), with_hum(quiet(15, 7, -88), 49.98, db, turn)});
      EXPECT_FALSE(evidence({c}, "audio.pair.crosstalk")) << db;
      EXPECT_FALSE(evidence({c}, "audio.pair.polarity")) << db;
      const Diagnosis d = diagnosed({c});
      EXPECT_LT(probability(d, "pair-split"), 0.2) << shown(d);
      EXPECT_LT(probability(d, "audio-crosstalk"), 0.2) << shown(d);
      EXPECT_LT(probability(d, "polarity-audio"), 0.2) << shown(d);
    }
  }
}

// One line carries speech (noise in syllables with pauses), both hum at one mains with opposite sense: the
// hum has not crossed, and is no sign of the lines' polarity.
TEST(DiagnoseShared, HumBesideSpeechOnOneLineIsNoCrosstalk) {
  Samples speech = quiet(15, 21, -22);
  for (std::size_t i = 0; i < speech.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    speech[i] *= static_cast<float>(std::fmod(t, 0.9) < 0.5 ? std::pow(std::sin(6.2832 * t), 2) : 0);
  }
  const Samples left = with_hum(speech, 49.98);
  const Samples right = with_hum(quiet(15, 7, -88), 49.98, -6, 3.14159265);
  const Capture c = measured({left, right});
  EXPECT_FALSE(evidence({c}, "audio.programme.polarity"));
  if (const auto x = evidence({c}, "audio.pair.crosstalk")) {
    EXPECT_TRUE(x->at_most) << x->shown;
  }
  const Diagnosis d = diagnosed({c});
  EXPECT_LT(probability(d, "pair-split"), 0.2) << shown(d);
  EXPECT_LT(probability(d, "audio-crosstalk"), 0.2) << shown(d);
  EXPECT_LT(probability(d, "polarity-audio"), 0.2) << shown(d);
  // What does cross is still read: a part of the speech itself, 40 dB down.
  Samples crossed = right;
  for (std::size_t i = 0; i < crossed.size(); ++i) crossed[i] += 0.01F * speech[i];
  const auto x = evidence({measured({left, crossed})}, "audio.pair.crosstalk");
  ASSERT_TRUE(x);
  EXPECT_FALSE(x->at_most) << x->shown;
  EXPECT_NEAR(x->value, -40, 1.0);
}

// A rectifier's sawtooth falls by 6 dB to its next multiple (1/n); a sine at line-up level with none at all
// is a tone that nobody told of.
TEST(DiagnoseShared, ALoneLineAtLineUpLevelMayBeATone) {
  for (const double hz : {50.0, 60.0, 100.0, 120.0}) {
    Samples x = quiet(15, 8);
    synth::add_sine(x, rate, hz, -18);
    const Diagnosis d = diagnosed({measured({x})});
    EXPECT_FALSE(shown_sound(d)) << hz << " " << shown(d);
    EXPECT_TRUE(d.findings.empty() || d.findings.front().probability < 0.5) << hz << " " << shown(d);
  }
  Samples ripple = quiet(15, 8);
  for (const int n : {1, 2, 3, 4}) synth::add_sine(ripple, rate, 99.96 * n, -30 - 20 * std::log10(n));
  EXPECT_EQ(first(diagnosed({measured({ripple})})), "supply-ripple");
}

// White noise 27 dB under a tone is out of every limit set for signal to noise, whatever the input's gain.
TEST(DiagnoseShared, HissBesideAToneNeedsNoCalibration) {
  Samples x = quiet(20, 10, -45);
  synth::add_sine(x, rate, 997, -18);
  EXPECT_FALSE(shown_sound(diagnosed({measured({x})})));
  for (const double gain_db : {-12.0, 0.0, 8.0}) {
    Samples clean = quiet(20, 11, -80 + gain_db);
    synth::add_sine(clean, rate, 997, -18 + gain_db);
    EXPECT_TRUE(shown_sound(diagnosed({measured({clean})}))) << gain_db;
  }
}

// Ripple is at twice the mains [full-wave rectifier]; 53 mV at the mains itself on the video come from
// elsewhere.
TEST(DiagnoseShared, RippleInTheSoundDoesNotExplainAFundamentalOnTheVideo) {
  const Evidence even{"audio.hum.even", -42, 0.3, false, 1, "", "-42 dBFS", "lines"};
  const Evidence first_one{"audio.hum.fundamental", -62, 0, true, 1, "", "below -62 dBFS", "lines"};
  const Evidence video{"video.hum.level", to_working(Scale::Amount, 53), 0.3, false, 1, "", "53 mV",
                       "camera"};
  const auto with = [&](const char* pattern) {
    return diagnose::diagnose(
        book(), {even, first_one, video, {"video.hum.pattern", 0, 0, false, 1, pattern, pattern, "camera"}});
  };
  EXPECT_GT(probability(with("fundamental"), "supply-ripple"), 0.8);
  EXPECT_GT(probability(with("fundamental"), "earth-loop-video"), 0.3) << shown(with("fundamental"));
  EXPECT_LT(probability(with("even"), "earth-loop-video"), 0.1) << shown(with("even"));
}

TEST(DiagnoseShared, FaultsThatExcludeEachOtherMakeNoPair) {
  // Both would leave a nominal level: the pair would explain anything.
  const Evidence nominal{"video.white.level", 0.2, 0.1, false, 1, "", "0.2 dB", "camera"};
  const Evidence echo{"video.echo.level", -14, 0.5, false, 1, "", "-14 dB", "camera"};
  const Diagnosis d = diagnose::diagnose(book(), {nominal, echo});
  EXPECT_LT(probability(d, "termination-missing") + probability(d, "termination-double"), 1.0) << shown(d);
  for (const Finding& f : d.findings) {
    if (f.fault == "termination-missing") {
      EXPECT_NE(f.usually_with, book().fault("termination-double")->label);
    }
  }
  for (const Fault& f : book().faults) {
    for (const std::string& other : f.excludes) EXPECT_NE(book().fault(other), nullptr) << other;
  }
}

// A supply of 900 mV ripple at its plug (ripple itself is at twice the mains) beside gross odd multiples.
TEST(DiagnoseShared, WhatLiesBeyondAFaultsRangeIsNotQuotedForIt) {
  Samples x = tone(15, 14);
  for (const auto& [k, level] : loop) synth::add_sine(x, rate, 49.98 * k, level + 12, 0.3 * k * k);
  const Diagnosis d = diagnose::diagnose(
      book(),
      Job{{measured({x})}, parse_observed(std::vector<std::string>{"supply-ripple=900 mV"}, book()), {}});
  bool seen = false;
  for (const Finding& f : d.findings) {
    if (f.fault != "supply-ripple") continue;
    seen = true;
    for (const Bearing& b : f.evidence_for) {
      EXPECT_FALSE(b.sign == "audio.hum.odd" || b.sign == "audio.hum.fundamental") << b.text;
      EXPECT_FALSE(b.beyond) << b.text;
    }
  }
  EXPECT_TRUE(seen) << shown(d);
}

// Ripple of 60 mV beside 6 mV from an earth loop makes a hundredth of the power less of one than of the
// other: what the pattern is, the ripple says. Where nobody knows what each makes, both have their say.
TEST(DiagnoseShared, OfTwoCausesTheOneThatMakesMoreHasTheWord) {
  const Sign& pattern = *book().sign("video.hum.pattern");
  const auto even = [&](double loop_mv, double ripple_mv) {
    Cause earth{true, 0, 0, {}, loop_mv * loop_mv};
    Cause ripple{true, 0, 0, {}, ripple_mv * ripple_mv};
    std::size_t place = 0;
    while (pattern.words[place].first != "even") ++place;
    std::size_t other = 0;
    while (pattern.words[other].first != "fundamental") ++other;
    earth.words.assign(pattern.words.size(), 0);
    ripple.words.assign(pattern.words.size(), 0);
    earth.words[other] = ripple.words[place] = 1;
    const Cause* both[] = {&earth, &ripple};
    return predict_words(pattern, both)[place];
  };
  EXPECT_NEAR(even(6, 60), 100.0 / 101, 1e-9);
  EXPECT_NEAR(even(60, 6), 1.0 / 101, 1e-9);
  EXPECT_NEAR(even(0, 60), 0.5, 1e-9);
  // In a whole job: even hum of 60 mV, and a transformer that takes a little of it away.
  Readings r = bars_625();
  r.push_back(number("video.hum.level", 60, 1));
  r.push_back(number("video.hum.frequency", 50.02, 0.01));
  r.push_back(number("video.field.frequency", 50, 0.001));
  r.push_back(number("video.hum.harmonic.1", 6, 0.5));
  r.push_back(number("video.hum.harmonic.2", 58, 0.5));
  r.push_back(number("video.hum.harmonic.4", 12, 0.5));
  const std::vector<std::string> typed = {"isolate-video=less", "supply-ripple=300 mV"};
  const std::vector<Evidence> told = parse_observed(typed, book());
  const Diagnosis d = diagnose::diagnose(book(), Job{{of_readings(r)}, told, {}});
  EXPECT_EQ(first(d), "supply-ripple") << shown(d);
  EXPECT_GT(probability(d, "supply-ripple"), 0.9) << shown(d);
}

}  // namespace
