#include <gtest/gtest.h>

#include <linebench/base/error.hpp>
#include <linebench/check/flow.hpp>

namespace {

using namespace linebench;
using check::Step;
using check::StepKind;

const check::Words& english() {
  static const check::Words words = check::Words::load("en");
  return words;
}

Step choose() {
  Step s;
  s.kind = StepKind::Choose;
  s.choices = {{"mono", "a"}, {"stereo", "b"}, {"stage", "c"}, {"50", "d"}};
  return s;
}

TEST(Accept, ChoicesByPlaceWordOrStart) {
  const Step s = choose();
  EXPECT_EQ(check::accept(s, "2", english()).answer, "stereo");
  EXPECT_EQ(check::accept(s, " MONO ", english()).answer, "mono");
  EXPECT_EQ(check::accept(s, "ste", english()).answer, "stereo");
  EXPECT_EQ(check::accept(s, "50", english()).answer, "50");
  EXPECT_FALSE(check::accept(s, "st", english()).answer);  // two start so
  EXPECT_FALSE(check::accept(s, "0", english()).answer);
  EXPECT_FALSE(check::accept(s, "", english()).answer);
  EXPECT_NE(check::accept(s, "", english()).complaint.find("from 1 to 4"), std::string::npos);
  EXPECT_NE(check::accept(s, "9", english()).complaint.find("mono, stereo"), std::string::npos);
}

// What stands beside the word is what a person reads, and types.
TEST(Accept, ChoicesByWhatStandsBesideThem) {
  Step s;
  s.kind = StepKind::Choose;
  s.choices = {{"audio", "Sound"},
               {"video", "Composite video"},
               {"both", "Sound and composite video"},
               {"hum", "Hum or buzz behind it"},
               {"level", "Too quiet or too loud"}};
  EXPECT_EQ(check::accept(s, "sound", english()).answer, "audio");
  EXPECT_EQ(check::accept(s, "composite", english()).answer, "video");
  EXPECT_EQ(check::accept(s, "Buzz", english()).answer, "hum");
  EXPECT_EQ(check::accept(s, "too quiet", english()).answer, "level");
  EXPECT_FALSE(check::accept(s, "soun", english()).answer) << "two hold it";
  EXPECT_FALSE(check::accept(s, "or", english()).answer) << "too short";
  EXPECT_FALSE(check::accept(s, "uzz", english()).answer) << "no word starts so";
}

TEST(Accept, NumbersInsideTheirRange) {
  Step s;
  s.kind = StepKind::Number;
  s.least = 0.5;
  s.most = 20;
  EXPECT_EQ(check::accept(s, "17,37", english()).answer, "17.37");
  EXPECT_FALSE(check::accept(s, "21", english()).answer);
  EXPECT_FALSE(check::accept(s, "nan", english()).answer);
  EXPECT_FALSE(check::accept(s, "5 V", english()).answer);
}

TEST(Accept, TicksRoundTrip) {
  Step s;
  s.kind = StepKind::Tick;
  s.choices = {{"seated", "a"}, {"strap", "b"}, {"call", "c"}};
  const auto a = check::accept(s, "1, -3", english());
  ASSERT_TRUE(a.answer);
  EXPECT_EQ(*a.answer, "seated=done strap=open call=not-needed");
  EXPECT_EQ(check::accept(s, *a.answer, english()).answer, a.answer);
  EXPECT_EQ(check::ticks(*a.answer)[2].second, "not needed");
  EXPECT_EQ(check::accept(s, "all", english()).answer, "seated=done strap=done call=done");
  EXPECT_FALSE(check::accept(s, "4", english()).answer);
  EXPECT_NE(check::accept(s, "", english()).complaint.find("all, or none"), std::string::npos);
}

TEST(Accept, WhatAPersonTypedIsNotTakenForAPlaceholder) {
  EXPECT_EQ(check::Words::filled("{a} {b}", {{"a", "{b}"}, {"b", "x"}}), "{b} x");
}

TEST(Words, ShippedOnesAreRead) {
  EXPECT_NO_THROW((void)check::Words::load("en"));
  EXPECT_THROW((void)check::Words::load("xx"), Error);
  for (const job::JobKind kind : {job::JobKind::Site, job::JobKind::Station, job::JobKind::Feed})
    EXPECT_GE(check::load_checklist(kind).size(), 5u);
}

TEST(Profile, RoundTripAndRefusals) {
  const check::Profile p = check::usual_profile(60);
  EXPECT_EQ(check::parse_profile(check::to_toml(p), "p").system, "525");
  EXPECT_EQ(check::parse_profile("mains_hz = 60\nsystem = \"625\"", "p").system, "625");
  EXPECT_THROW((void)check::parse_profile("mains_hz = 55", "p"), Error);
  EXPECT_THROW((void)check::parse_profile("colour = 1", "p"), Error);
}

}  // namespace
