// What several captures or lines have in common, and what they only seem to.
#include <map>

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

}  // namespace
