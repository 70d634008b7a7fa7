// A long run on a virtual sound card: notes typed while it lasts, and a card that is pulled in the midst.
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <where.hpp>

#include "card.hpp"
#include "check/terminal.hpp"
#include "program.hpp"

namespace {

using nlohmann::json;

constexpr const char* plan =
    "title = \"Short\"\ntypes = [\"post\"]\n[[test]]\nkey = \"level\"\ntitle = \"Level\"\nsignal = "
    "\"tone-1k\"\n"
    "limits = \"speech-path\"\n";

// Up to the long run of 36 s, or of `hours`.
void come_to_the_long_run(check_test::Terminal& t, const std::string& hours) {
  const auto type = [&](const char* shown, const std::string& keys) {
    ASSERT_TRUE(t.wait_for(shown, 60)) << shown << "\n" << t.screen();
    ASSERT_TRUE(t.wait_for("(?): ")) << shown << "\n" << t.screen();
    t.line(keys);
  };
  type("Type of the station", "Post");
  type("Serial number", "7");
  type("What was reported", "dead at times");
  type("Which site did it come from", "");
  type("Which tests?", "");
  type("what is done?", "all");
  type("Level", "");
  type("What now?", "soak");
  type("How many hours?", hours);
  type("Run a steady tone", "");
}

json job_of(const TempFolder& folder) {
  const Ran r = run_program(folder, "jobs show last --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  return r.exit == 0 ? json::parse(r.out).at("job") : json::object();
}

std::string home_of(const TempFolder& folder) {
  const auto home = folder / "store";
  std::filesystem::create_directories(home / "plans");
  std::ofstream(home / "plans/short.toml") << plan;
  std::ofstream(home / "profile.toml") << "mains_hz = 50\n";
  return home;
}

bool noted(const json& job, const std::string& text) {
  for (const auto& n : job.at("notes")) {
    if (n.at("text").get<std::string>().find(text) != std::string::npos) return true;
  }
  return false;
}

TEST(LongRun, NotesAreTakenWhileItLastsAndStopKeepsWhatWasMeasured) {
  REQUIRE_SOUND_CARD();
  const TempFolder folder;
  check_test::Terminal t(home_of(folder),
                         {"check", "station", "--from", "JACK: loopback", "--to", "JACK: loopback"});
  come_to_the_long_run(t, "1");
  ASSERT_TRUE(t.wait_for("While it runs")) << t.screen();
  ASSERT_TRUE(t.wait_for_match(" (1[2-9]|[2-9][0-9]) of 36", 60)) << "the meter\n" << t.screen();
  t.line("note tapped the caseX\x7f");
  ASSERT_TRUE(t.wait_for("note tapped the case")) << t.screen();
  t.line("nonsense");
  ASSERT_TRUE(t.wait_for("While it runs")) << t.screen();
  t.line("stop");
  ASSERT_TRUE(t.wait_for("What now?", 60)) << t.screen();
  EXPECT_NE(t.screen().find("Long run ended after"), std::string::npos) << t.screen();
  t.line("leave");
  ASSERT_TRUE(t.wait_for("what is done?")) << t.screen();
  t.line("all");
  EXPECT_EQ(t.finish(), 1) << t.screen();
  const json job = job_of(folder);
  EXPECT_EQ(job.at("outcome"), "not decided");
  EXPECT_TRUE(noted(job, ": tapped the case")) << job.at("notes");
  EXPECT_EQ(job.at("captures").size(), 2u);
}

// The card's server is a client's own here, so that pulling it disturbs no other test.
TEST(LongRun, CardPulledInTheMidstKeepsWhatWasMeasured) {
  REQUIRE_SOUND_CARD();
  const TempFolder folder;
  const std::string at = folder.path().string();
  // The card is pulled when the file says so: the server's process is known inside only.
  const std::string inner =
      "while [ ! -e " + at + "/pull ]; do sleep 0.1; done; kill -9 $LINEBENCH_TEST_SOUND_PID";
  const std::string script = std::string("(") + inner + ") & exec \"$@\" < /dev/tty";
  check_test::Terminal t(
      home_of(folder),
      {std::string(LINEBENCH_SOURCE_DIR) + "/tests/sound_card.sh", "bash", "-c", script, "x",
       LINEBENCH_PROGRAM, "check", "station", "--from", "JACK: loopback", "--to", "JACK: loopback"},
      80, "/bin/bash");
  come_to_the_long_run(t, "1");
  ASSERT_TRUE(t.wait_for_match(" (1[2-9]|[2-9][0-9]) of 36", 60)) << t.screen();
  std::ofstream(at + "/pull") << "now";
  ASSERT_TRUE(t.wait_for("gives no more samples", 30)) << t.screen();
  ASSERT_TRUE(t.wait_for("What now?", 60)) << t.screen();
  t.line("leave");
  ASSERT_TRUE(t.wait_for("what is done?")) << t.screen();
  t.line("all");
  (void)t.finish();
  const json job = job_of(folder);
  ASSERT_EQ(job.at("captures").size(), 2u) << "the run's is kept\n" << t.screen();
  EXPECT_EQ(job.at("outcome"), "not decided") << job.dump(1).substr(0, 2000);
  const json& soak = job.at("captures").back();
  EXPECT_TRUE(soak.at("input").at("interrupted"));
  EXPECT_GT(soak.at("input").at("frames").get<double>(), 10 * 44100.0);
}

}  // namespace
