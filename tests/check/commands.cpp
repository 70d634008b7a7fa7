// What stands beside the guided jobs: keeping a measurement in a job, labels, the profile.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

TEST(MeasureInAJob, KeepsReadingsFileAndHash) {
  const Folder folder;
  check_test::programme(folder.path / "a.wav", -20);
  std::filesystem::rename(folder.path / "a.wav", folder.path / "a 'b'.wav");
  ASSERT_EQ(run(folder, "jobs new site --title x").exit, 0);
  const auto r = run(folder, "measure \"a 'b'.wav\" --limits speech-path --job last");
  EXPECT_NE(r.err.find("kept in job"), std::string::npos) << r.err;
  const json job = json::parse(run(folder, "jobs show last --json").out).at("job");
  ASSERT_EQ(job.at("captures").size(), 1u);
  const json& c = job.at("captures").at(0);
  EXPECT_EQ(c.at("limit_set"), "speech-path");
  EXPECT_EQ(c.at("sha256").get<std::string>().size(), 64u);
  EXPECT_GT(c.at("readings").size(), 10u);
  EXPECT_NE(c.at("file").get<std::string>().find("a 'b'.wav"), std::string::npos);
}

TEST(MeasureInAJob, UnknownJobIsSaidBeforeMeasuring) {
  const Folder folder;
  check_test::quiet(folder.path / "a.wav");
  ASSERT_EQ(run(folder, "jobs new site --title x").exit, 0);
  const auto r = run(folder, "measure a.wav --job nowhere");
  EXPECT_EQ(r.exit, 2);
  EXPECT_TRUE(r.out.empty());
}

TEST(Label, SaysWhatTheStationIsAndHowItWent) {
  const Folder folder;
  ASSERT_EQ(run(folder, "jobs new station --title x --type 'Post <b>' --serial 'A\"1'").exit, 0);
  ASSERT_EQ(run(folder, "jobs finish last 'no fault found'").exit, 0);
  ASSERT_EQ(run(folder, "jobs label last --out label.html --size 50x25").exit, 0);
  const std::string page = app_test::slurp(folder.path / "label.html");
  for (const char* want : {"size:50mm 25mm", "Post &lt;b&gt;", "no fault found", "A&quot;1"})
    EXPECT_NE(page.find(want), std::string::npos) << want << page;
  EXPECT_EQ(run(folder, "jobs label last --out other.html --size 5").exit, 2);
  EXPECT_EQ(run(folder, "jobs label last --out label.html").exit, 2);  // not over another file
}

TEST(Label, GoesOnStationsOnly) {
  const Folder folder;
  ASSERT_EQ(run(folder, "jobs new site --title 'Ticket counter 2'").exit, 0);
  const auto r = run(folder, "jobs label last --out label.html");
  EXPECT_EQ(r.exit, 2);
  EXPECT_NE(r.err.find("not about a station"), std::string::npos) << r.err;
}

TEST(ProfileCommand, IsChosenOnceAndChangesThePaper) {
  const Folder folder;
  EXPECT_NE(run(folder, "profile").out.find("50 Hz"), std::string::npos);
  ASSERT_EQ(run(folder, "profile --mains 60").exit, 0);
  const json p = json::parse(run(folder, "profile --json").out);
  EXPECT_EQ(p.at("system"), "525");
  EXPECT_EQ(p.at("paper"), "letter");
  EXPECT_EQ(run(folder, "profile --mains 55").exit, 2);
  EXPECT_EQ(run(folder, "profile --language xx").exit, 2);
  ASSERT_EQ(run(folder, "profile --system 625").exit, 0);
  EXPECT_EQ(json::parse(run(folder, "profile --json").out).at("paper"), "letter");
  const auto elsewhere = run(folder, "profile --json", "LC_ALL=C.UTF-8 LINEBENCH_PROFILE=other.toml");
  EXPECT_EQ(json::parse(elsewhere.out).at("mains_hz"), 50);
  check_test::programme(folder.path / "feed.audio.wav", -20);
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.level\" = \"professional\"\n\"feed.again\" = \"no\"\n";
  (void)run(folder, "check feed --from-files .");
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  EXPECT_NE(app_test::slurp(folder.path / "paper.html").find("@page{size:letter}"), std::string::npos);
}

// A source of the other half of the world is a finding where the half was chosen, and only there.
TEST(ProfileCommand, SaysWhatDiagnoseExpects) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write video-bars-75 --system 525 --out bars.raw").exit, 0);
  const auto ranked = [&](const std::string& options) {
    const auto r = run(folder, "diagnose bars.raw --json" + options);
    return r.out;
  };
  const std::string unknown = ranked("");
  const std::string told = ranked(" --system 625");
  ASSERT_NE(unknown, told);
  ASSERT_EQ(run(folder, "profile --mains 50").exit, 0);
  const json by_profile = json::parse(ranked("")), by_option = json::parse(told);
  ASSERT_TRUE(by_option.contains("findings"));
  EXPECT_EQ(by_profile.at("findings"), by_option.at("findings"));
  EXPECT_NE(json::parse(unknown).at("findings"), by_option.at("findings"));
}

TEST(ProfileCommand, IsAskedForAtTheFirstJobOnly) {
  const Folder folder;
  const std::string home = folder.path / "home";
  check_test::Terminal t(home, {"check", "station"});
  ASSERT_TRUE(t.wait_for("Which half of the world?")) << t.screen();
  t.line("60");
  ASSERT_TRUE(t.wait_for("Type of the station")) << t.screen();
  t.line("stop");
  EXPECT_EQ(t.finish(), 4);
  check_test::Terminal again(home, {"check", "station"});
  ASSERT_TRUE(again.wait_for("Type of the station")) << again.screen();
  EXPECT_EQ(again.screen().find("Which half"), std::string::npos);
  again.line("Post");
  ASSERT_TRUE(again.wait_for("Serial number"));
  again.line("7");
  ASSERT_TRUE(again.wait_for("What was reported"));
  again.line("");
  ASSERT_TRUE(again.wait_for("Which site did it come from"));
  again.line("");
  ASSERT_TRUE(again.wait_for("Which tests?"));
  again.line("stop");
  EXPECT_EQ(again.finish(), 4);
}

}  // namespace
