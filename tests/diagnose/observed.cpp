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
      {"1,200 ohm", 1200},    {"1200", 1200},   {"1.2 kohm", 1200}, {"1,2 kohm", 1200},
      {"1,000,000", 1e6},     {"0,4 ohm", 0.4}, {"0,400 ohm", 0.4}, {"400 mohm", 0.4},
      {"3 k\u03a9", 3000},    {"3 \u03a9", 3},  {"2 Mohm", 2e6},    {"+5 ohms", 5},
      {"0.4 ohm +- 0.1", 0.4}};
  for (const auto& [typed, ohm] : cases) {
    const Evidence e = parse_observed("earth-ohms=" + std::string(typed), book());
    const Sign& s = *book().sign("earth-ohms");
    EXPECT_NEAR(e.value, std::min(20 * std::log10(ohm), s.high), 1e-9) << typed << " -> " << e.shown;
  }
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

}  // namespace
