// What a customer's paper shows of many captures that hardly differ.
#include <gtest/gtest.h>

#include <linebench/report/job_page.hpp>

#include "sample_document.hpp"

namespace {

using namespace linebench;

job::Capture capture(const std::string& uid, double hum_dbfs) {
  report::Document d;
  d.input = sample::judged().input;
  d.input.channels = 1;
  d.readings = {number_reading("audio.level.rms", -20, 0.1), number_reading("audio.hum.level", hum_dbfs, 0.1),
                number_reading("audio.click.count", 0, std::nullopt),
                number_reading("audio.level.crest", 12.5, 0.1),
                unmeasurable("audio.sti", "nothing was sent")};
  sample::judge_by(d, judge::load_limit_set("speech-path"));
  job::Capture c;
  c.uid = c.label = uid;
  c.facts = d.input;
  c.readings = d.readings;
  c.verdict = hum_dbfs > -58 ? "fail" : "pass";
  c.limit_set = "speech-path";
  return c;
}

report::JobPaper paper_of(const std::vector<job::Capture>& captures) {
  report::JobPaper p;
  p.job.ref = "20260101-abcde";
  p.captures = captures;
  for (const job::Capture& c : captures) {
    measure::ChannelTraces t;
    for (int i = 0; i < 100; ++i) {
      t.level_rms.x.push_back(i * 0.01);
      t.level_rms.y.push_back(-20);
      t.level_peak.x.push_back(i * 0.01);
      t.level_peak.y.push_back(-14);
    }
    p.traces[c.uid] = {t};
  }
  return p;
}

std::size_t times(const std::string& page, const std::string& what) {
  std::size_t n = 0;
  for (auto at = page.find(what); at != std::string::npos; at = page.find(what, at + 1)) ++n;
  return n;
}

constexpr const char* plot = "<h4>Level over time</h4>";

TEST(ShortPaper, PlotsWhatDecidesAndJudgesAll) {
  report::JobPaper p =
      paper_of({capture("end", -35), capture("middle", -36), capture("start", -90), capture("after", -90)});
  const std::string page = report::job_page(p);
  EXPECT_EQ(times(page, plot), 2u) << "the first with hum, and the last";
  EXPECT_EQ(times(page, "Never lift a protective earth"), 1u) << "one thing wrong is said once";
  EXPECT_EQ(times(page, "<th scope=\"row\">Hum</th>"), 4u) << "each capture's figures and limits";
  EXPECT_EQ(times(page, "<th scope=\"row\">Clicks</th>"), 4u);
  EXPECT_EQ(page.find("Crest"), std::string::npos) << "nothing was judged by it";
  EXPECT_EQ(page.find("nothing was sent"), std::string::npos) << "nobody asked for it";
  EXPECT_NE(page.find("linebench report 20260101-abcde"), std::string::npos) << "where the rest is";
  for (const job::Capture& c : p.captures) EXPECT_NE(page.find("<h2>" + c.label), std::string::npos);
  p.all = true;
  const std::string whole = report::job_page(p);
  EXPECT_EQ(times(whole, plot), 4u);
  EXPECT_EQ(times(whole, "<th scope=\"row\">Crest"), 4u);
  EXPECT_NE(whole.find("nothing was sent"), std::string::npos);
}

TEST(ShortPaper, WhereNothingIsWrongOneIsDrawn) {
  EXPECT_EQ(times(report::job_page(paper_of({capture("a", -90), capture("b", -91)})), plot), 1u);
  EXPECT_EQ(times(report::job_page(paper_of({})), plot), 0u);
}

// Watched, or measured without limits: nothing was judged, so all of it is what there is.
TEST(ShortPaper, WhatNothingWasJudgedByStaysWhole) {
  job::Capture c = capture("plain", -90);
  for (Reading& r : c.readings) {
    r.limit.reset();
    if (r.verdict != Verdict::Unmeasurable) r.verdict = Verdict::Info;
  }
  c.limit_set.clear();
  c.verdict = "incomplete";
  EXPECT_NE(report::job_page(paper_of({c})).find("Crest"), std::string::npos);
}

}  // namespace
