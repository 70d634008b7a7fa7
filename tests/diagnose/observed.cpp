// What a person types after a look or a meter reading: what is understood, and what is refused with its
// reason.
#include <cmath>
#include <linebench/base/error.hpp>

#include "job.hpp"

namespace {

using namespace diagnose_test;

using Typed = std::vector<std::string>;

std::string refusal(const std::string& typed) {
  try {
    (void)parse_observed(typed, book());
  } catch (const Error& e) {
    return e.what();
  }
  return {};
}

// 20 lg of ohms is what the sign is kept in.
TEST(Observed, OhmsAsPeopleWriteThem) {
  const std::pair<const char*, double> cases[] = {
      {"1200 ohm", 1200},  {"1200", 1200},   {"1.2 kohm", 1200}, {"1,2 kohm", 1200},
      {"0.4 Ohm", 0.4},    {"3 KOHM", 3000}, {"2 MOhm", 2e6},    {"400 mOhm", 0.4},
      {"1,000,000", 1e6},  {"0,4 ohm", 0.4}, {"0,400 ohm", 0.4}, {"400 mohm", 0.4},
      {"3 k\u03a9", 3000}, {"3 \u03a9", 3},  {"2 Mohm", 2e6},    {"+5 ohms", 5},
      {"1.2k", 1200},      {"2 M", 2e6},     {"4.7R", 4.7},      {"0.4 ohm +- 0.1", 0.4}};
  for (const auto& [typed, ohm] : cases) {
    const Evidence e = parse_observed("earth-ohms=" + std::string(typed), book());
    const Sign& s = *book().sign("earth-ohms");
    EXPECT_NEAR(e.value, std::min(20 * std::log10(ohm), s.high), 1e-9) << typed << " -> " << e.shown;
  }
}

// A meter with a decimal comma shows 1.234 ohm, a sound earth nearly, as others show 1234 ohm, which is none.
TEST(Observed, ACommaThatMayBeEitherIsRefused) {
  EXPECT_NE(refusal("earth-ohms=1,234 ohm").find("1234 or 1.234"), std::string::npos)
      << refusal("earth-ohms=1,234 ohm");
  EXPECT_FALSE(refusal("pair-loop=38,500 ohm of 40").empty());
}

TEST(Observed, UnitsInAnyCaseAndFurtherWords) {
  EXPECT_NEAR(parse_observed("earth-current=500 uA", book()).value, 20 * std::log10(0.5), 1e-9);
  EXPECT_NEAR(parse_observed("earth-current=50 ma", book()).value, 20 * std::log10(50.0), 1e-9);
  EXPECT_NEAR(parse_observed("supply-ripple=0.05 volts", book()).value, 20 * std::log10(50.0), 1e-9);
  EXPECT_EQ(parse_observed("port-light=off", book()).word, "dark");
  EXPECT_EQ(parse_observed("pair-loop=OL of 40", book()).shown, "open");
  EXPECT_EQ(parse_observed("earth-ohms=2 Mohm", book()).shown, "2 Mohm");
  EXPECT_NE(refusal("earth-ohms=12 ohm of 1").find("leave out"), std::string::npos);
}

// Meters show OL (overload) or 1. where they find no end (common practice of meters' displays).
TEST(Observed, WhatAMeterShowsOfAnOpenEnd) {
  for (const char* typed : {"OL", "ol", "O.L", "0L", "open", "inf"}) {
    const Evidence e = parse_observed("earth-ohms=" + std::string(typed), book());
    EXPECT_EQ(e.shown, "open") << typed;
    const Diagnosis d = diagnose::diagnose(book(), {e});
    EXPECT_EQ(first(d), "earth-missing") << shown(d);
    EXPECT_GT(probability(d, "earth-missing"), 0.8) << shown(d);
  }
}

TEST(Observed, WordsInAnyCase) {
  EXPECT_EQ(parse_observed("earth-points=Two", book()).word, "two");
  EXPECT_EQ(parse_observed(" port-light = DARK ", book()).word, "dark");
  EXPECT_NE(refusal("port-light=green").find("dark|on"), std::string::npos) << refusal("port-light=green");
}

TEST(Observed, SlipsAreRefusedWithWhatToWrite) {
  EXPECT_NE(refusal("earth-ohms=3 V").find("unit"), std::string::npos);
  EXPECT_NE(refusal("supply-loaded=11 V").find("of EXPECTED"), std::string::npos);
  EXPECT_NE(refusal("earth-ohms=-3 ohm").find("below 0"), std::string::npos);
  EXPECT_NE(refusal("earth-ohms=").find("number"), std::string::npos);
  EXPECT_NE(refusal("gulls=many").find("earth-ohms"), std::string::npos);
  EXPECT_FALSE(refusal("earth-ohms=1e999").empty());
  EXPECT_FALSE(refusal("earth-ohms=nan").empty());
}

// Mains where 12 V belong can kill; reversed volts destroy the unit (common practice): neither is swallowed.
TEST(Observed, DangerousVoltsAreRefusedWithTheirCaution) {
  const std::string mains = refusal("supply-loaded=230 V of 12 V");
  EXPECT_NE(mains.find("licensed"), std::string::npos) << mains;
  EXPECT_NE(mains.find("stop"), std::string::npos) << mains;
  // More than 60 V dc is no extra-low voltage (IEC 62368-1, from memory), whatever is said to be right there.
  for (const char* typed : {"supply-loaded=230 V of 230", "supply-loaded=115 V of 120",
                            "supply-open=120 V of 110", "supply-ripple=230 V"}) {
    EXPECT_NE(refusal(typed).find("licensed"), std::string::npos) << typed << ": " << refusal(typed);
    EXPECT_NE(refusal(typed).find("stop"), std::string::npos) << typed;
  }
  EXPECT_TRUE(refusal("supply-loaded=54 V of 48").empty());
  EXPECT_NE(refusal("supply-open=-12 V of 12 V").find("wrong way round"), std::string::npos);
}

TEST(Observed, TheSameTwiceIsOnceAndAContradictionIsRefused) {
  EXPECT_EQ(parse_observed(Typed{"earth-points=two", "earth-points=Two"}, book()).size(), 1U);
  try {
    (void)parse_observed(Typed{"earth-points=two", "earth-points=one"}, book());
    FAIL() << "a contradiction was taken";
  } catch (const Error& e) {
    EXPECT_NE(std::string(e.what()).find("earth-points was given as two"), std::string::npos) << e.what();
  }
  EXPECT_THROW((void)parse_observed(Typed{"supply-ripple=5 mV", "supply-ripple=500 mV"}, book()), Error);
}

// A good look accuses nobody.
TEST(Observed, WhatIsAsItShouldBeAccusesNobody) {
  for (const char* typed :
       {"earth-points=one", "supply-ripple=3 mV", "earth-ohms=0.2 ohm", "connector=sound"}) {
    const Diagnosis d = diagnose::diagnose(book(), {parse_observed(typed, book())});
    EXPECT_LT(d.ranking.front().second, 0.2) << typed << ": " << shown(d);
    EXPECT_GT(d.nothing_wrong, d.ranking.front().second) << typed << ": " << shown(d);
  }
}

// The order of what was told and taken does not count.
TEST(Observed, OrderDoesNotCount) {
  const Evidence a = parse_observed("earth-ohms=3 kohm", book());
  const Evidence b = parse_observed("earth-points=one", book());
  const Diagnosis x = diagnose::diagnose(book(), {a, b});
  const Diagnosis y = diagnose::diagnose(book(), {b, a});
  ASSERT_EQ(x.ranking.size(), y.ranking.size());
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_EQ(x.ranking[i].first, y.ranking[i].first);
    EXPECT_NEAR(x.ranking[i].second, y.ranking[i].second, 1e-9);
  }
}

// What a person finds on the wire is the fault, whatever clean captures (of another line, at another time)
// say.
TEST(Observed, WhatIsFoundOnTheWireIsTheFault) {
  const std::pair<const char*, const char*> cases[] = {
      {"earth-ohms=OL", "earth-missing"},           {"earth-ohms=1.2k", "earth-missing"},
      {"pair-insulation=short", "pair-short"},      {"terminations=two", "termination-double"},
      {"terminations=none", "termination-missing"}, {"supply-loaded=0 V of 12 V", "supply-sagging"},
      {"supply-open=0 V of 12 V", "supply-sagging"}};
  const std::vector<Capture> clean = {measured({quiet(10, 21)}, "idle.wav"), measured({tone(10, 22)})};
  for (const auto& [typed, fault] : cases) {
    const Diagnosis d = diagnose::diagnose(book(), Job{clean, {parse_observed(typed, book())}, {}});
    EXPECT_EQ(first(d), fault) << typed << ": " << shown(d);
    EXPECT_GT(probability(d, fault), 0.7) << typed << ": " << shown(d);
    EXPECT_FALSE(shown_sound(d)) << typed;
  }
  // Some ohms, where a sound earth reads below 1 (common practice), are likelier this than anything else.
  const Diagnosis some =
      diagnose::diagnose(book(), Job{clean, {parse_observed("earth-ohms=4.7", book())}, {}});
  EXPECT_EQ(first(some), "earth-missing") << shown(some);
}

// What a value warns of stands beside it and beside the next step, whatever fault is put first.
TEST(Observed, ADangerousValueBringsItsCautionToTheNextStep) {
  for (const char* typed : {"earth-ohms=OL", "earth-ohms=4.7", "earth-current=2 A"}) {
    const Evidence e = parse_observed(typed, book());
    EXPECT_FALSE(e.caution.empty()) << typed;
    const Diagnosis d = diagnose::diagnose(book(), Job{{measured({quiet(10, 21)})}, {e}, {}});
    ASSERT_FALSE(d.cautions.empty()) << typed;
    EXPECT_EQ(d.cautions.front(), e.caution);
  }
  for (const char* typed : {"earth-ohms=0.4", "earth-current=5 mA", "port-light=on"})
    EXPECT_TRUE(parse_observed(typed, book()).caution.empty()) << typed;
}

// Metalwork without earth can be live: no step is done before that is known, be the fault found by sound
// alone.
TEST(Observed, ADangerousFaultsCautionStandsBeforeAnyStep) {
  Evidence hum{"audio.hum.fundamental", -38, 0.5, false, 1, "", "-38 dBFS", "take"};
  Evidence triplen{"audio.hum.triplen", -44, 0.5, false, 1, "", "-44 dBFS", "take"};
  Evidence odd{"audio.hum.odd", -46, 0.5, false, 1, "", "-46 dBFS", "take"};
  Evidence upper{"audio.hum.upper", -44, 0.5, false, 1, "", "-44 dBFS", "take"};
  Evidence where{"audio.hum.where", 0, 0, false, 1, "everywhere", "everywhere", "take"};
  const Diagnosis d = diagnose::diagnose(book(), {hum, triplen, odd, upper, where});
  ASSERT_GT(probability(d, "earth-missing"), 0.1) << shown(d);
  EXPECT_NE(std::ranges::find(d.cautions, book().fault("earth-missing")->caution), d.cautions.end());
}

TEST(Observed, CountsMayBeTypedAsFigures) {
  EXPECT_EQ(parse_observed("terminations=2", book()).word, "two");
  EXPECT_EQ(parse_observed("terminations=0", book()).word, "none");
  EXPECT_EQ(parse_observed("earth-points=1", book()).word, "one");
  EXPECT_FALSE(refusal("port-light=2").empty());
  EXPECT_FALSE(refusal("terminations=3").empty());
}

// The uncertainty may stand beside the value or at the end, and is shown.
TEST(Observed, UncertaintyIsTakenOnEitherSideAndShown) {
  const Evidence beside = parse_observed("supply-loaded=11.2 +- 0.1 V of 12", book());
  const Evidence behind = parse_observed("supply-loaded=11.2 V of 12 +- 0.1", book());
  EXPECT_NEAR(beside.value, behind.value, 1e-12);
  EXPECT_NEAR(beside.sd, behind.sd, 1e-12);
  EXPECT_NEAR(beside.sd, 0.5 * 100 * 0.1 / 12, 1e-12);
  for (const Evidence& e : {beside, behind, parse_observed("earth-ohms=0.4 ohm +- 0.1", book())})
    EXPECT_NE(e.shown.find("\u00b10.1"), std::string::npos) << e.shown;
}

}  // namespace
