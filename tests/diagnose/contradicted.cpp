// Trials that come out against what the captures show. By Bayes' rule with the book's shares a single answer
// against a well shown fault leaves both in doubt: the trial is made once more, and the cure waits.
#include <linebench/report/findings.hpp>

#include "job.hpp"

namespace {

using namespace diagnose_test;

Diagnosis told(const std::vector<Capture>& captures, const std::vector<std::string>& observed) {
  return diagnose::diagnose(book(), Job{captures, parse_observed(observed, book()), Site{"625"}});
}

// Nothing ends the line: all levels are doubled (common practice, voltage divider of 75 and 75 ohm).
std::vector<Capture> unterminated() { return {of_readings(bars_625(600, 1400, 600))}; }

// Twice the mains with its multiples, as a full-wave rectifier leaves it (common practice).
std::vector<Capture> rippling() {
  synth::Samples x = quiet(20, 3);
  for (int k = 1; k <= 4; ++k) synth::add_sine(x, rate, 100.0 * k, -44 - 9.0 * (k - 1));
  return {measured({x})};
}

TEST(DiagnoseContradicted, ATrialAgainstTheLeaderHoldsItsCureAndIsMadeAgain) {
  const Diagnosis shown_so = told(unterminated(), {});
  ASSERT_EQ(first(shown_so), "termination-missing") << shown(shown_so);
  EXPECT_GT(probability(shown_so, "termination-missing"), 0.95);
  EXPECT_TRUE(shown_so.findings.front().held.empty());

  const Diagnosis d = told(unterminated(), {"terminations=one"});
  EXPECT_EQ(first(d), "termination-missing") << shown(d);
  EXPECT_LT(probability(d, "termination-missing"), 0.9) << shown(d);
  EXPECT_GT(d.unlisted, 0.05) << shown(d);
  EXPECT_NE(d.findings.front().held.find("one"), std::string::npos);
  ASSERT_TRUE(d.next_test);
  EXPECT_EQ(d.next_test->id, "terminations");
  EXPECT_TRUE(d.next_test->again);
  EXPECT_EQ(report::diagnosis_verdict(d), "incomplete");
  const std::string text = report::diagnosis_table(d, {}, {});
  EXPECT_EQ(text.find(book().fault("termination-missing")->remedy.substr(0, 30)), std::string::npos) << text;
  EXPECT_NE(text.find("speaks against it"), std::string::npos) << text;
  EXPECT_NE(text.find("Once more, before anything is changed"), std::string::npos) << text;
}

// Two ends counted speak against a line without any as one does, and are no sign of it.
TEST(DiagnoseContradicted, AnAnswerThatAFaultNeverGivesSpeaksAgainstIt) {
  const Diagnosis d = told(unterminated(), {"terminations=two"});
  ASSERT_EQ(first(d), "termination-missing") << shown(d);
  EXPECT_FALSE(d.findings.front().held.empty());
  for (const Bearing& b : d.findings.front().evidence_for) EXPECT_NE(b.sign, "terminations") << b.text;
  ASSERT_TRUE(d.next_test);
  EXPECT_TRUE(d.next_test->again);
}

TEST(DiagnoseContradicted, MadeTwiceTheTrialCountsMoreThanTheCaptures) {
  const Diagnosis d = told(unterminated(), {"terminations=one again"});
  EXPECT_LT(probability(d, "termination-missing"), 0.5) << shown(d);
  EXPECT_GT(d.unlisted, 0.5) << shown(d);
  ASSERT_TRUE(d.next_test);
  EXPECT_FALSE(d.next_test->again);
  EXPECT_EQ(d.next_test->id, "capture-halves");
}

TEST(DiagnoseContradicted, ATrialThatFitsHoldsNothing) {
  const Diagnosis d = told(unterminated(), {"terminations=none"});
  EXPECT_GT(probability(d, "termination-missing"), 0.99) << shown(d);
  EXPECT_TRUE(d.findings.front().held.empty());
  EXPECT_EQ(report::diagnosis_verdict(d), "fail");
}

// What is there with the path unplugged is no fault of the path (common practice).
TEST(DiagnoseContradicted, WhatTheLoopBackShowsIsTheRecorders) {
  for (const auto& captures : {unterminated(), rippling()}) {
    const std::string path = first(told(captures, {}));
    ASSERT_NE(path, "recorder-fault");
    const Diagnosis d = told(captures, {"loop-back=same"});
    EXPECT_EQ(first(d), "recorder-fault") << shown(d);
    EXPECT_GT(probability(d, "recorder-fault"), 0.85) << shown(d);
    EXPECT_LT(probability(d, path), 0.15) << shown(d);
    EXPECT_EQ(first(told(captures, {"loop-back=clean"})), path);
  }
}

// A fault that shows in nothing recorded is no excuse for a trial's answer.
TEST(DiagnoseContradicted, AnAnswerIsOfWhatShows) {
  Readings r = bars_625();
  r.push_back(number("video.echo.delay", 500, 5));
  r.push_back(number("video.echo.level", -20, 0.5));
  const Diagnosis d = told({of_readings(r)}, {"known-cable=same"});
  EXPECT_LT(probability(d, "earth-loop-audio"), 0.08) << shown(d);
}

TEST(DiagnoseContradicted, AgainIsUnderstoodBehindAnyAnswer) {
  for (const char* typed : {"terminations=one again", "terminations=one, again", "terminations=1 AGAIN"}) {
    const Evidence e = parse_observed(typed, book());
    EXPECT_EQ(e.word, "one") << typed;
    EXPECT_EQ(e.times, 2) << typed;
  }
  const Evidence metered = parse_observed("earth-ohms=0.4 ohm again", book());
  EXPECT_EQ(metered.times, 2);
  EXPECT_EQ(parse_observed("earth-ohms=0.4 ohm", book()).times, 1);
  // Said twice on one line of orders it is still one answer, unless it is said to be another.
  EXPECT_EQ(
      parse_observed(std::vector<std::string>{"terminations=one", "terminations=one"}, book()).front().times,
      1);
  EXPECT_EQ(parse_observed(std::vector<std::string>{"terminations=one", "terminations=one again"}, book())
                .front()
                .times,
            2);
}

// A sine whose tops the converter's rail cuts. On an input whose rail stands at line-up (1 V peak) what is
// right is cut as well, and how far it would have gone says nothing; else the share of the time that it is
// cut gives its height, 20 lg A above the rail and 18 dB more above line-up [EBU R 68]. The book has a fault
// for either.
TEST(DiagnoseContradicted, AToneCutAtTheRailIsTooHotForTheInput) {
  for (const double peak : {1.1, 1.737, 3.0}) {
    for (const std::optional<double> full_scale_v : {std::optional<double>{}, std::optional<double>{1.0}}) {
      synth::Samples x = quiet(8, 5);
      synth::add_sine(x, rate, 1000, 20 * std::log10(peak));
      const std::vector<Capture> captures = {measured({x}, "hot.wav", "", full_scale_v)};
      const Diagnosis d = diagnosed(captures);
      EXPECT_LT(d.unlisted, 0.1) << peak << ": " << shown(d);
      EXPECT_GT(probability(d, "recorder-fault") + probability(d, "level-professional-into-consumer"), 0.6)
          << peak << ": " << shown(d);
      const auto e = evidence(captures, "audio.level.tone");
      ASSERT_TRUE(e);
      EXPECT_EQ(e->at_least, full_scale_v.has_value()) << e->shown;
      if (!full_scale_v) {
        EXPECT_NEAR(e->value, std::min(18 + 20 * std::log10(peak), book().sign(e->sign)->high), 0.5)
            << e->shown;
      }
    }
  }
}

}  // namespace
