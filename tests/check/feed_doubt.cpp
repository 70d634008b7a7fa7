// A reading that lies within its uncertainty of a limit could be either: it is told, with what would settle
// it, and neither connects the feed nor changes it. The limits are the shipped ones; the readings stand for
// captures.
#include <gtest/gtest.h>

#include <linebench/base/catalogue.hpp>
#include <linebench/check/flow.hpp>
#include <linebench/judge/limits.hpp>

namespace {

using namespace linebench;

check::Knowledge knowledge() {
  check::Knowledge k;
  k.words = check::Words::load("en");
  return k;
}

job::Capture capture(const std::string& uid, const std::string& set, Readings readings) {
  job::Capture c;
  c.uid = uid;
  c.facts.kind = "audio file";
  c.facts.sample_rate_hz = 48000;
  c.facts.channels = 2;
  c.facts.frames = 30 * 48000;
  c.readings = std::move(readings);
  judge::judge(c.readings, judge::load_limit_set(set));
  return c;
}

report::Outcome of_sound(const Reading& reading, const std::optional<Reading>& more = {}) {
  check::Work w;
  w.job.kind = job::JobKind::Feed;
  Readings readings = {reading};
  if (more) readings.push_back(*more);
  w.captures = {capture("s", "professional-feed", readings)};
  for (const auto& [key, answer] : {std::pair{"feed.name", "announcements"},
                                    {"site.name", ""},
                                    {"feed.carries", "audio"},
                                    {"feed.level", "professional"},
                                    {"feed.use", "mono"},
                                    {"feed.full-scale", "17.4"},
                                    {"feed.audio", "s"},
                                    {"feed.quiet", "skipped"},
                                    {"feed.again", "no"}})
    w.answers.push_back({key, answer, {}});
  return check::outcome_of(w, knowledge());
}

report::Outcome of_picture(const Reading& reading) {
  check::Work w;
  w.job.kind = job::JobKind::Feed;
  w.captures = {capture("v", "composite-625", {reading})};
  for (const auto& [key, answer] : {std::pair{"feed.name", "player"},
                                    {"site.name", ""},
                                    {"feed.carries", "video"},
                                    {"feed.system", "625"},
                                    {"feed.video", "v"},
                                    {"feed.again", "no"}})
    w.answers.push_back({key, answer, {}});
  return check::outcome_of(w, knowledge());
}

// The points that tell of it.
std::vector<report::Point> told(const report::Outcome& o, const std::string& label) {
  std::vector<report::Point> out;
  for (const report::Point& p : o.points) {
    if (p.what.starts_with(label + ": ") && p.weight != report::Weight::Good) out.push_back(p);
  }
  return out;
}

// 0.5 dB between the sides are allowed; 0.6 dB known to 1.3 dB may be none at all.
TEST(FeedDoubt, CouldBeEitherIsANoteThatLeavesTheFeedOpen) {
  const auto gain = [](double db, double u) { return of_sound(number_reading("audio.pair.gain", db, u)); };
  const report::Outcome doubtful = gain(0.6, 1.3);
  const auto points = told(doubtful, "Left/right gain");
  ASSERT_EQ(points.size(), 1u);
  EXPECT_EQ(points[0].weight, report::Weight::Note);
  EXPECT_NE(points[0].what.find("it could be either"), std::string::npos) << points[0].what;
  EXPECT_NE(points[0].action.find("without pauses"), std::string::npos) << points[0].action;
  EXPECT_EQ(doubtful.mark, report::Mark::Incomplete);

  // The same figure, known well: the balance is to be set. And the other side of the limit, as far away.
  const report::Outcome sure = gain(0.6, 0.05);
  ASSERT_EQ(told(sure, "Left/right gain").size(), 1u);
  EXPECT_EQ(told(sure, "Left/right gain")[0].weight, report::Weight::Change);
  EXPECT_EQ(sure.mark, report::Mark::Fail);
  EXPECT_TRUE(told(gain(-0.2, 0.05), "Left/right gain").empty());
}

// A piece that is mixed louder to one side says little of the balance; what both sides share says it exactly.
TEST(FeedDoubt, APieceMixedToOneSideIsNoUnbalance) {
  const auto gain = [](const char* sides, double u) {
    return of_sound(number_reading("audio.pair.gain", 4.1, u), text_reading("audio.pair.sides", sides));
  };
  const auto points = told(gain("both", 0.68), "Left/right gain");
  ASSERT_EQ(points.size(), 1u);
  EXPECT_EQ(points[0].weight, report::Weight::Note);
  EXPECT_NE(points[0].action.find("in the middle"), std::string::npos) << points[0].action;
  EXPECT_EQ(gain("both", 0.68).mark, report::Mark::Incomplete);
  EXPECT_EQ(gain("both", 0.01).mark, report::Mark::Fail);
  EXPECT_EQ(gain("mono", 0.68).mark, report::Mark::Fail);
}

// What may do harm stops the feed, however little is known of it: volts on a lead that is to carry none.
TEST(FeedDoubt, DangerIsNotLeftOpen) {
  const report::Outcome o = of_picture(number_reading("video.blanking.level", 2500, 1500));
  const auto points = told(o, "Blanking level (dc)");
  ASSERT_EQ(points.size(), 1u);
  EXPECT_EQ(points[0].weight, report::Weight::Stop);
  EXPECT_EQ(o.mark, report::Mark::Fail);
}

// Two impulses met are 3 +-2 sqrt(3) [a count's Gamma distribution]: their rate may be within the limit of
// one a second, as far as the uncertainty tells. A picture is neither loud nor has it pauses.
TEST(FeedDoubt, SparkleAndPicturesHaveWordsOfTheirOwn) {
  const report::Outcome few = of_picture(number_reading("video.impulses", 375, 433));
  const auto sparkle = told(few, "Impulses");
  ASSERT_EQ(sparkle.size(), 1u);
  EXPECT_EQ(sparkle[0].weight, report::Weight::Note);
  EXPECT_EQ(few.mark, report::Mark::Incomplete);
  EXPECT_NE(sparkle[0].action.find("dimmers"), std::string::npos) << sparkle[0].action;
  EXPECT_EQ(told(of_picture(number_reading("video.impulses", 624, 70)), "Impulses").at(0).weight,
            report::Weight::Change);

  const report::Outcome white = of_picture(number_reading("video.white", 735, 30));
  ASSERT_EQ(told(white, "White level").size(), 1u);
  EXPECT_EQ(told(white, "White level")[0].weight, report::Weight::Note);
  for (const auto& points : {sparkle, told(white, "White level")}) {
    EXPECT_EQ(points[0].action.find("louder"), std::string::npos) << points[0].action;
    EXPECT_NE(points[0].action.find("measure again"), std::string::npos) << points[0].action;
  }
}

}  // namespace
