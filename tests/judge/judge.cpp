// The judging itself, against cases worked by hand.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/judge/limits.hpp>

namespace {

using namespace linebench;
using judge::LimitEntry;
using judge::LimitSet;
using judge::Overall;

Limit at_most(double max) { return {std::nullopt, max, {}, {}, "common practice"}; }
Limit at_least(double min) { return {min, std::nullopt, {}, {}, "common practice"}; }
LimitSet set_of(std::vector<LimitEntry> entries) { return {"test", "a test", std::move(entries)}; }

Verdict judged(double value, const Limit& limit, std::optional<double> u = std::nullopt,
               std::string* remark = nullptr) {
  Readings r = {number_reading("audio.hum.level", value, u)};
  judge::judge(r, set_of({{"audio.hum.level", limit, true}}));
  if (remark != nullptr) *remark = r[0].reason;
  return r[0].verdict;
}

TEST(Judge, NumbersAgainstBounds) {
  EXPECT_EQ(judged(-60, at_most(-58)), Verdict::Pass);
  EXPECT_EQ(judged(-58, at_most(-58)), Verdict::Pass);  // a limit belongs to the good side
  EXPECT_EQ(judged(-57.999, at_most(-58)), Verdict::Fail);
  EXPECT_EQ(judged(39.9, at_least(40)), Verdict::Fail);
  EXPECT_EQ(judged(40, at_least(40)), Verdict::Pass);
  const Limit both{-1.0, 1.0, {}, {}, "x"};
  EXPECT_EQ(judged(0, both), Verdict::Pass);
  EXPECT_EQ(judged(-1.1, both), Verdict::Fail);
  EXPECT_EQ(judged(1.1, both), Verdict::Fail);
}

TEST(Judge, RemarksOnlyWithinTheUncertainty) {
  std::string remark;
  EXPECT_EQ(judged(-58.3, at_most(-58), 0.5, &remark), Verdict::Pass);
  EXPECT_NE(remark.find("could be either"), std::string::npos);
  EXPECT_EQ(judged(-57.7, at_most(-58), 0.5, &remark), Verdict::Fail);
  EXPECT_NE(remark.find("could be either"), std::string::npos);
  judged(-59, at_most(-58), 0.5, &remark);
  EXPECT_TRUE(remark.empty());
  judged(0, at_most(0), std::nullopt, &remark);  // an exact count on its limit is no matter of doubt
  EXPECT_TRUE(remark.empty());
}

TEST(Judge, LimitsUnderTheProgrammeCountFromIt) {
  LimitEntry hum{"audio.hum.level", at_most(-60), true};
  hum.under_programme = true;
  LimitEntry dc{"audio.level.dc", {-0.01, 0.01, {}, {}, "common practice"}, true};
  dc.under_programme = true;
  const LimitSet set = set_of({hum, dc});
  const auto readings = [] {
    return Readings{number_reading("audio.hum.level", -81, 0.1), number_reading("audio.level.dc", 0.0008, 0)};
  };
  Readings r = readings();
  r.push_back(number_reading("audio.programme.level", -20, 0.1));
  judge::judge(r, set);
  EXPECT_EQ(r[0].verdict, Verdict::Pass);
  EXPECT_DOUBLE_EQ(*r[0].limit->max, -80);
  EXPECT_EQ(r[1].verdict, Verdict::Pass);
  EXPECT_NEAR(*r[1].limit->max, 0.001, 1e-12);  // 1 % of 0.1, the peak of a sine of -20 dBFS
  EXPECT_NEAR(*r[1].limit->min, -0.001, 1e-12);
  EXPECT_NE(r[0].limit->source.find("-20.0 dBFS"), std::string::npos);
  r = readings();
  judge::Asked asked;
  asked.programme_dbfs = -23;  // in another capture: the same hum is now too much
  judge::judge(r, set, asked);
  EXPECT_EQ(r[0].verdict, Verdict::Fail);
  EXPECT_EQ(r[1].verdict, Verdict::Fail);
  // Without a programme it is not judged, and said to be wanting.
  r = readings();
  judge::judge(r, set);
  EXPECT_EQ(r[0].verdict, Verdict::Info);
  EXPECT_EQ(judge::overall(r, set), Overall::Incomplete);
  EXPECT_NE(r[0].reason.find("programme"), std::string::npos);
}

TEST(Judge, AReadingThatSaysItBetterStandsIn) {
  LimitEntry peak{"audio.true_peak", at_most(-1), true};
  peak.unless = "audio.true_peak.voltage";
  const LimitSet set = set_of({peak});
  Readings r = {number_reading("audio.true_peak.left", -0.2, 0.02),
                unmeasurable("audio.true_peak.voltage.left", "not calibrated")};
  judge::judge(r, set);
  EXPECT_EQ(r[0].verdict, Verdict::Fail);
  r[0].verdict = Verdict::Info;
  r[1] = number_reading("audio.true_peak.voltage.left", 12, 0.02);
  judge::judge(r, set);
  EXPECT_EQ(r[0].verdict, Verdict::Info);
  EXPECT_EQ(judge::overall(r, set), Overall::Pass);
}

TEST(Judge, EveryChannelAndNoOther) {
  Readings r = {
      number_reading("audio.hum.level.left", -40, 0.1), number_reading("audio.hum.level.right", -70, 0.1),
      number_reading("audio.hum.level.ch3", -40, 0.1), number_reading("audio.hum.harmonic.2.left", -40, 0.1),
      number_reading("audio.level.rms.left", -40, 0.1)};
  judge::judge(r, set_of({{"audio.hum.level", at_most(-58), true}}));
  EXPECT_EQ(r[0].verdict, Verdict::Fail);
  EXPECT_EQ(r[1].verdict, Verdict::Pass);
  EXPECT_EQ(r[2].verdict, Verdict::Fail);
  EXPECT_EQ(r[3].verdict, Verdict::Info);
  EXPECT_FALSE(r[3].limit);
  EXPECT_EQ(r[4].verdict, Verdict::Info);
  ASSERT_TRUE(r[0].limit);
  EXPECT_EQ(r[0].limit->source, "common practice");
}

TEST(Judge, HarmonicsOneOrAll) {
  const auto fresh = [] {
    return Readings{number_reading("audio.hum.harmonic.2", -40, 0.1),
                    number_reading("audio.hum.harmonic.12", -40, 0.1)};
  };
  Readings all = fresh();
  judge::judge(all, set_of({{"audio.hum.harmonic.N", at_most(-58), false}}));
  EXPECT_EQ(all[0].verdict, Verdict::Fail);
  EXPECT_EQ(all[1].verdict, Verdict::Fail);
  Readings one = fresh();
  judge::judge(one, set_of({{"audio.hum.harmonic.2", at_most(-58), false}}));
  EXPECT_EQ(one[0].verdict, Verdict::Fail);
  EXPECT_EQ(one[1].verdict, Verdict::Info);
}

TEST(Judge, Words) {
  const Limit none{std::nullopt, std::nullopt, {"none", "fundamental"}, {}, "x"};
  Readings r = {text_reading("audio.hum.kind.left", "none"), text_reading("audio.hum.kind.right", "buzz")};
  judge::judge(r, set_of({{"audio.hum.kind", none, true}}));
  EXPECT_EQ(r[0].verdict, Verdict::Pass);
  EXPECT_EQ(r[1].verdict, Verdict::Fail);
  EXPECT_EQ(judge::side(r[1]), judge::Side::Other);
}

TEST(Judge, WordsForANumberAreAnError) {
  Readings r = {number_reading("audio.hum.level", -40, 0.1)};
  const Limit words{std::nullopt, std::nullopt, {"none"}, {}, "x"};
  EXPECT_THROW(judge::judge(r, set_of({{"audio.hum.level", words, true}})), Error);
  Readings t = {text_reading("audio.hum.kind", "none")};
  EXPECT_THROW(judge::judge(t, set_of({{"audio.hum.kind", at_most(3), true}})), Error);
}

// The mask of the curve tests: -3 dB at 100 Hz rising to -1 dB at 10 kHz over log f, so -2 dB at 1 kHz.
Limit mask() {
  return {std::nullopt, std::nullopt, {}, {{100, -3.0, std::nullopt}, {10000, -1.0, std::nullopt}}, "x"};
}
Reading response(std::vector<double> hz, std::vector<double> db, std::vector<double> u = {}) {
  return curve_reading("audio.response", {std::move(hz), std::move(db), "Hz", "dB", std::move(u)}, 0.05);
}
Reading judged_curve(Reading r, const Limit& limit) {
  Readings list = {std::move(r)};
  judge::judge(list, set_of({{"audio.response", limit, false}}));
  return list[0];
}

TEST(Judge, CurvesBetweenCornersOverLogFrequency) {
  EXPECT_EQ(judged_curve(response({100, 1000, 10000}, {-2.9, -1.9, -0.9}), mask()).verdict, Verdict::Pass);
  const Reading bad = judged_curve(response({100, 1000, 10000}, {-2.9, -2.1, -0.5}), mask());
  EXPECT_EQ(bad.verdict, Verdict::Fail);
  EXPECT_NE(bad.reason.find("worst at 1000 Hz: -2.10 dB against min -2.00"), std::string::npos) << bad.reason;
  EXPECT_EQ(judge::side(bad), judge::Side::Low);
  EXPECT_NEAR(judge::severity(bad), 0.1 / 3, 1e-9);
}

TEST(Judge, CurvePointsOutsideTheMaskDoNotCount) {
  EXPECT_EQ(judged_curve(response({20, 100, 1000, 10000, 20000}, {-40, 0, 0, 0, -40}), mask()).verdict,
            Verdict::Pass);
}

TEST(Judge, CurveStepsTakeTheTighterSide) {
  const Limit step{std::nullopt,
                   std::nullopt,
                   {},
                   {{100, -6.0, std::nullopt},
                    {1000, -6.0, std::nullopt},
                    {1000, -1.0, std::nullopt},
                    {10000, -1.0, std::nullopt}},
                   "x"};
  EXPECT_EQ(judged_curve(response({500, 1000, 2000}, {-5, 0, 0}), step).verdict, Verdict::Pass);
  EXPECT_EQ(judged_curve(response({500, 1000, 2000}, {-5, -2, 0}), step).verdict, Verdict::Fail);
}

TEST(Judge, CurveThatDoesNotReachIsMissing) {
  const LimitSet set = set_of({{"audio.response", mask(), true}});
  Readings part = {response({200, 1000, 4000}, {0, 0, 0})};
  judge::judge(part, set);
  EXPECT_EQ(part[0].verdict, Verdict::Pass);
  EXPECT_EQ(judge::overall(part, set), Overall::Incomplete);
  EXPECT_NE(part[0].reason.find("only a part"), std::string::npos);
  Readings none = {response({20, 40}, {0, 0})};
  judge::judge(none, set);
  EXPECT_EQ(none[0].verdict, Verdict::Info);
  EXPECT_EQ(judge::overall(none, set), Overall::Incomplete);
  Readings thirds = {response({125, 1000, 8000}, {0, 0, 0})};  // third octaves: the ends lie within one step
  judge::judge(thirds, set);
  EXPECT_EQ(judge::overall(thirds, set), Overall::Pass);
}

TEST(Judge, CurvePointWithNoValueIsSkipped) {
  EXPECT_EQ(judged_curve(response({100, 1000, 10000}, {0, std::nan(""), 0}), mask()).verdict, Verdict::Pass);
}

TEST(Judge, CurveUncertaintyPerPoint) {
  const Reading near = judged_curve(response({100, 1000, 10000}, {0, -1.9, 0}, {0.01, 0.2, 0.01}), mask());
  EXPECT_NE(near.reason.find("could be either"), std::string::npos);
  const Reading clear = judged_curve(response({100, 1000, 10000}, {0, -1.9, 0}, {0.2, 0.01, 0.2}), mask());
  EXPECT_EQ(clear.reason.find("could be either"), std::string::npos);
}

TEST(Overall, RequiredUnmeasurableIsIncomplete) {
  const LimitSet set = set_of({{"audio.hum.level", at_most(-58), true}, {"audio.thd", at_most(3), false}});
  const auto overall_of = [&](Readings r) {
    judge::judge(r, set);
    return judge::overall(r, set);
  };
  EXPECT_EQ(overall_of({unmeasurable("audio.hum.level", "why")}), Overall::Incomplete);
  EXPECT_EQ(overall_of({unmeasurable("audio.hum.level", "why", -90)}), Overall::Pass);
  EXPECT_EQ(overall_of({unmeasurable("audio.hum.level", "why", -58)}), Overall::Pass);
  EXPECT_EQ(overall_of({unmeasurable("audio.hum.level", "why", -50)}), Overall::Incomplete);
  EXPECT_EQ(overall_of({number_reading("audio.hum.level", -70, 0.1), unmeasurable("audio.thd", "no tone")}),
            Overall::Pass);
  EXPECT_EQ(overall_of({number_reading("audio.hum.level", -50, 0.1), unmeasurable("audio.thd", "no tone")}),
            Overall::Fail);
  // One good channel does not cover for the other.
  EXPECT_EQ(overall_of({number_reading("audio.hum.level.left", -70, 0.1),
                        unmeasurable("audio.hum.level.right", "why")}),
            Overall::Incomplete);
  // A fail stands whatever else is missing.
  EXPECT_EQ(overall_of({number_reading("audio.hum.level.left", -50, 0.1),
                        unmeasurable("audio.hum.level.right", "why")}),
            Overall::Fail);
}

TEST(Overall, AtMostDoesNotHelpALowerBound) {
  const LimitSet set = set_of({{"audio.level.rms", {-40.0, 0.0, {}, {}, "x"}, true}});
  Readings r = {unmeasurable("audio.level.rms", "silence", -120)};
  judge::judge(r, set);
  EXPECT_EQ(judge::overall(r, set), Overall::Incomplete);
}

TEST(Overall, RequiredReadingThatIsAbsentIsAddedAndMissing) {
  const LimitSet set = set_of({{"audio.hum.level", at_most(-58), true}});
  Readings r = {number_reading("audio.level.rms", -18, 0.1)};
  judge::judge(r, set);
  ASSERT_EQ(r.size(), 2u);
  EXPECT_EQ(r[1].verdict, Verdict::Unmeasurable);
  EXPECT_EQ(judge::missing(r, set), std::vector<std::string>{"audio.hum.level"});
  EXPECT_EQ(judge::overall(r, set), Overall::Incomplete);
}

TEST(Severity, InNotches) {
  const auto severity = [](const char* id, double value, const Limit& limit) {
    Readings r = {number_reading(id, value, 0.1)};
    judge::judge(r, set_of({{id, limit, true}}));
    return judge::severity(r[0]);
  };
  EXPECT_DOUBLE_EQ(severity("audio.hum.level", -52, at_most(-58)), 2);  // 6 dB = two steps of 3 dB
  EXPECT_DOUBLE_EQ(severity("audio.hum.level", -60, at_most(-58)), 0);
  EXPECT_DOUBLE_EQ(severity("audio.thd", 6, at_most(3)), 1);           // twice the limit: one doubling
  EXPECT_DOUBLE_EQ(severity("audio.click.count", 7, at_most(0)), 23);  // events first: 20 + log2(1 + 7)
  EXPECT_DOUBLE_EQ(severity("audio.pair.polarity", -1, at_least(1)), 4);
}

}  // namespace
