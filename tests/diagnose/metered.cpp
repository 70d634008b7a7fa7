// What a meter shows beyond what a fault makes of it, and what has to be made safe before any other step.
#include "job.hpp"

namespace {

using namespace diagnose_test;

Diagnosis told(const std::vector<std::string>& typed, const std::vector<Capture>& captures) {
  return diagnose::diagnose(book(), Job{captures, parse_observed(typed, book()), {}});
}

const std::vector<Capture>& clean() {
  static const std::vector<Capture> captures = {measured({tone(10, 61)})};
  return captures;
}

// 50 Hz and its odd multiples at -42 dBFS and less, as an earth loop makes it.
const std::vector<Capture>& humming() {
  static const std::vector<Capture> captures = [] {
    synth::Samples x = tone(10, 62);
    for (const auto& [k, db] : {std::pair{1, -42.0}, {3, -54.0}, {5, -59.0}, {7, -64.0}})
      synth::add_sine(x, rate, 49.98 * k, db);
    return std::vector<Capture>{measured({x}, "hum.wav")};
  }();
  return captures;
}

struct Row {
  const char* fault;
  std::vector<const char*> worse;  // ever further out
  double least;
};

// The worse a meter reads, the less doubt there is. An earth above a few ohms is none, and open is its
// plainest case; a short reads nought; ripple knows no upper end (common practice).
TEST(DiagnoseMetered, FurtherOutIsNeverLessOfTheFault) {
  const Row rows[] = {
      {"earth-missing",
       {"earth-ohms=12", "earth-ohms=1k", "earth-ohms=100k", "earth-ohms=1M", "earth-ohms=20M",
        "earth-ohms=100M", "earth-ohms=OL"},
       0.96},
      {"pair-short",
       {"pair-loop=4 ohm of 40", "pair-loop=1 ohm of 40", "pair-loop=0.1 ohm of 40",
        "pair-loop=0.01 ohm of 40"},
       0.95},
      {"pair-open", {"pair-loop=20000 ohm of 40", "pair-loop=2000000 ohm of 40", "pair-loop=OL"}, 0.93},
      {"supply-ripple", {"supply-ripple=3 V", "supply-ripple=8 V", "supply-ripple=20 V"}, 0.75}};
  for (const Row& row : rows) {
    double before = 0;
    for (const char* typed : row.worse) {
      const Diagnosis d = told({typed}, clean());
      EXPECT_EQ(first(d), row.fault) << typed << ": " << shown(d);
      EXPECT_GT(probability(d, row.fault), row.least) << typed << ": " << shown(d);
      EXPECT_GT(probability(d, row.fault), before - 0.02) << typed << ": " << shown(d);
      before = probability(d, row.fault);
    }
  }
  for (const char* typed : rows[0].worse) {
    const Diagnosis d = told({typed}, humming());
    EXPECT_EQ(first(d), "earth-missing") << typed << ": " << shown(d);
    EXPECT_GT(probability(d, "earth-missing"), 0.99) << typed << ": " << shown(d);
  }
}

// Nobody is sent to shields and plugs of an installation without earth, or whose earth wire carries current:
// that is put right first, by a licensed person (common practice).
TEST(DiagnoseMetered, WhatIsDangerousIsMadeSafeBeforeAnyTest) {
  for (const char* typed : {"earth-ohms=OL", "earth-ohms=5", "earth-current=2 A"}) {
    for (const auto& captures : {clean(), humming()}) {
      const Diagnosis d = told({typed, "supply-ripple=800"}, captures);
      EXPECT_NE(d.first_step.find("licensed"), std::string::npos) << typed << ": " << d.first_step;
      EXPECT_FALSE(d.next_test) << typed << ": " << d.next_test->id;
      for (const Finding& f : d.findings) EXPECT_FALSE(f.next_test) << typed << ": " << f.fault;
    }
  }
  const Diagnosis sound = told({"earth-ohms=0.3", "earth-current=3"}, humming());
  EXPECT_TRUE(sound.first_step.empty()) << sound.first_step;
  EXPECT_TRUE(sound.next_test);
}

// A missing end that is proved is no hurry; current on the earth wire, which triplen hum may be, is met
// first.
TEST(DiagnoseMetered, WhatMayBeDangerousIsTriedBeforeAProvedCure) {
  synth::Samples x = tone(10, 63);
  for (const auto& [k, db] : {std::pair{3, -42.0}, {9, -48.0}, {15, -54.0}, {1, -58.0}})
    synth::add_sine(x, rate, 49.98 * k, db);
  const std::vector<Capture> both = {measured({x}, "hum.wav"), of_readings(bars_625(591, 1379, 591))};
  const Diagnosis d = told({"terminations=none"}, both);
  EXPECT_EQ(first(d), "termination-missing") << shown(d);
  EXPECT_GT(d.findings.front().probability, 0.97) << shown(d);
  EXPECT_GT(probability(d, "neutral-current"), 0.1) << shown(d);
  ASSERT_TRUE(d.next_test) << shown(d);
  // And where nothing of the kind may be, the cure is next.
  EXPECT_FALSE(told({"terminations=none"}, {both[1]}).next_test);
}

// Right with the plug open and low with the unit running is the supply, or what loads it down, however low.
TEST(DiagnoseMetered, ASupplyThatFallsUnderLoadIsTheSupply) {
  for (const char* volts : {"0.5", "1", "2", "3", "4", "5", "6", "7", "8", "10"}) {
    const std::string loaded = std::string("supply-loaded=") + volts + " V of 12";
    for (const Diagnosis& d :
         {told({loaded}, clean()), told({"supply-open=12.1 V of 12", loaded}, clean())}) {
      EXPECT_EQ(first(d), "supply-sagging") << loaded << ": " << shown(d);
      EXPECT_GT(probability(d, "supply-sagging"), 0.75) << loaded << ": " << shown(d);
      EXPECT_LT(probability(d, "video-none"), 0.1) << loaded << ": " << shown(d);
    }
  }
}

// What gives too little with nothing on it is a bad supply; a transformer without a regulator stands 20 to 40
// % above its rated volts then (common practice), and nothing is wrong with that.
TEST(DiagnoseMetered, VoltsOfASupplyWithNothingOnIt) {
  for (const char* volts : {"0.5", "2", "4", "6", "8", "9.5"}) {
    const Diagnosis d = told({std::string("supply-open=") + volts + " V of 12"}, clean());
    EXPECT_EQ(first(d), "supply-sagging") << volts << ": " << shown(d);
    EXPECT_GT(probability(d, "supply-sagging"), 0.7) << volts << ": " << shown(d);
  }
  const Diagnosis unregulated = told({"supply-open=16.5 V of 12", "supply-loaded=12.1 V of 12"}, clean());
  EXPECT_TRUE(shown_sound(unregulated)) << shown(unregulated);
}

// Half as many volts again destroy a unit (common practice): that is no sagging supply, and it is unplugged
// first.
TEST(DiagnoseMetered, FarTooManyVoltsAreNoSaggingSupply) {
  for (const char* typed : {"supply-loaded=18 V of 12", "supply-open=20 V of 12"}) {
    const Diagnosis d = told({typed}, clean());
    EXPECT_LT(probability(d, "supply-sagging"), 0.1) << typed << ": " << shown(d);
    EXPECT_FALSE(shown_sound(d)) << typed << ": " << shown(d);
    EXPECT_FALSE(d.first_step.empty()) << typed;
    EXPECT_FALSE(d.cautions.empty()) << typed;
  }
}

}  // namespace
