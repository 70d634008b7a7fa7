// A finished job stands as it was finished, whatever becomes of the files it was judged by.
#include "station_bench.hpp"
#include "support/python.hpp"

namespace {

using app_test::run;
using check_test::answers;
using check_test::Bench;
using nlohmann::json;
namespace fs = std::filesystem;

constexpr const char* band = "highpass 150 lowpass 6000";

// A unit whose listen path has lost 20 dB.
struct FailedUnit : Bench {
  FailedUnit() {
    returned("sweep-speech", "test.listen", band + std::string(" gain -20"));
    returned("tone-1k", "test.level", "highpass 150");
    (void)check(1, answers("K1", "\"complaint\" = \"too quiet\"\n\"station.next\" = \"fail\"\n"));
  }
};

std::string shown(const Bench& bench) { return run(bench.folder, "jobs show last").out; }

void stands(const Bench& bench, const std::string& before) {
  const std::string now = shown(bench);
  EXPECT_NE(now.find("FAIL Listen path"), std::string::npos) << now;
  EXPECT_EQ(now.find("No fault found"), std::string::npos) << now;
  EXPECT_EQ(now, before);
  fs::remove(bench.folder.path / "paper.html");
  const auto r = run(bench.folder, "report last --out paper.html");
  EXPECT_EQ(r.exit, 0) << r.err;
}

TEST(Kept, AnEditedOrLostPlanDoesNotTouchAFinishedJob) {
  const FailedUnit bench;
  const fs::path plan = bench.folder.path / "home/plans/short.toml";
  const std::string before = shown(bench);
  ASSERT_NE(before.find("FAIL Listen path"), std::string::npos) << before;
  std::ofstream(plan) << "title = \"Short\"\n[[test]]\nkey = \"level\"\ntitle = \"Level\"\nsignal = "
                         "\"tone-1k\"\nlimits = \"speech-path\"\n";
  stands(bench, before);
  fs::remove(plan);
  stands(bench, before);
  // Gone on with, it still has its tests; nothing of it is asked anew.
  const auto r = run(bench.folder, "check station --job last --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_EQ(json::parse(r.out).at("job").at("outcome"), "fail");
}

TEST(Kept, AJobWithoutItsPlansTextIsShownWhole) {
  const FailedUnit bench;
  // As a job of an earlier version is: it names its plan and has no text of it.
  testing_support::run_python(
      "import sqlite3, sys\nc = sqlite3.connect(sys.argv[1]); "
      "c.execute(\"DELETE FROM step WHERE key LIKE '%.text'\"); c.commit()",
      {(bench.folder.path / "home/jobs.sqlite").string()});
  fs::remove(bench.folder.path / "home/plans/short.toml");
  const std::string now = shown(bench);
  EXPECT_NE(now.find("FAIL Listen path"), std::string::npos) << now;
  EXPECT_NE(now.find("Finished as: fail"), std::string::npos) << now;
}

TEST(Kept, ABrokenPlanOrChecklistIsSaidAndStoredWorkStillShown) {
  const FailedUnit bench;
  const std::string before = shown(bench);
  std::ofstream(bench.folder.path / "home/plans/bad.toml") << "broken = \n";
  fs::create_directories(bench.folder.path / "home/checklists");
  std::ofstream(bench.folder.path / "home/checklists/station.toml") << "broken = \n";
  stands(bench, before);
  const auto r = run(bench.folder, "jobs show last");
  EXPECT_EQ(r.exit, 0);
  EXPECT_NE(r.err.find("bad.toml, line 1"), std::string::npos) << r.err;
  EXPECT_NE(r.err.find("station.toml, line 1"), std::string::npos) << r.err;
  EXPECT_EQ(run(bench.folder, "check station --from-files .").exit, 3) << "new work waits until it is right";
}

TEST(Kept, UnitsMeasuredLaterDoNotChangeAFinishedJob) {
  const Bench bench;
  const auto unit = [&](const char* serial, const char* gain, const char* next) {
    bench.returned("sweep-speech", "test.listen", band + std::string(gain));
    bench.returned("tone-1k", "test.level", std::string("highpass 150") + gain);
    (void)bench.check(0, answers(serial, std::string("\"station.next\" = \"") + next + "\"\n"));
  };
  unit("FIRST", "", "done");
  const std::string ref = json::parse(run(bench.folder, "jobs show last --json").out).at("job").at("ref");
  unit("LATER", " gain -0.5", "reference");
  const std::string now = run(bench.folder, "jobs show " + ref).out;
  EXPECT_NE(now.find("0 kept so far"), std::string::npos) << now;
}

TEST(Kept, AJobIsNotClosedAgainstItsReadings) {
  const FailedUnit bench;
  ASSERT_EQ(run(bench.folder, "jobs reopen last").exit, 0);
  const auto r = run(bench.folder, "jobs finish last pass");
  EXPECT_EQ(r.exit, 2);
  EXPECT_NE(r.err.find("out of their limits"), std::string::npos) << r.err;
  EXPECT_EQ(run(bench.folder, "jobs finish last 'passed by the customer, works for him'").exit, 0);
  EXPECT_NE(shown(bench).find("Something is out of limits"), std::string::npos) << shown(bench);
  // Looking at it once more is not closing it anew.
  (void)run(bench.folder, "check station --job last --from-files .");
  EXPECT_NE(shown(bench).find("works for him"), std::string::npos) << shown(bench);
}

TEST(Kept, OnlyWhatPassedIsAGoodUnit) {
  const FailedUnit bench;
  const auto failed = run(bench.folder, "jobs reference last");
  EXPECT_EQ(failed.exit, 2);
  EXPECT_NE(failed.err.find("has not passed (fail)"), std::string::npos) << failed.err;
  EXPECT_EQ(run(bench.folder, "jobs new station --title x --type Post --serial Y").exit, 0);
  EXPECT_EQ(run(bench.folder, "jobs reference last").exit, 2);
  bench.returned("sweep-speech", "test.listen", band);
  (void)bench.check(0, answers("K2", "\"station.next\" = \"done\"\n"));
  const auto good = run(bench.folder, "jobs reference last");
  EXPECT_EQ(good.exit, 0) << good.err;
  EXPECT_NE(good.err.find("Post K2 is a good unit"), std::string::npos) << good.err;
}

// Returns of one unit have the spread of one unit; it is units that are compared.
TEST(Kept, AUnitThatCameBackThreeTimesIsOneGoodUnit) {
  const Bench bench;
  for (int i = 0; i < 3; ++i) {
    const std::string gain = " gain -1.00" + std::to_string(i);
    bench.returned("sweep-speech", "test.listen", band + gain);
    bench.returned("tone-1k", "test.level", "highpass 150" + gain);
    (void)bench.check(0, answers("SAME", "\"station.next\" = \"reference\"\n"));
  }
  bench.returned("sweep-speech", "test.listen", band + std::string(" gain -0.7"));
  bench.returned("tone-1k", "test.level", "highpass 150 gain -0.7");
  const json j = bench.check(0, answers("OTHER", "\"station.next\" = \"done\"\n"));
  EXPECT_NE(j.at("points").dump().find("1 kept so far, 3 are needed"), std::string::npos)
      << j.at("points").dump(1);
}

}  // namespace
