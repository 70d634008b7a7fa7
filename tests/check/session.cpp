// What may happen to a job while it is under way: the program killed at any moment, two programs on one
// store, a disk that is full or read only, a store of tomorrow's program, captures that move or change.
#include <gtest/gtest.h>

#include <chrono>
#include <nlohmann/json.hpp>
#include <random>
#include <thread>
#include <where.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "support/python.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

struct Typed {
  const char* shown;
  const char* answer;
};

// Quotes, slashes, an emoji, HTML: all that a person may type.
constexpr Typed session[] = {
    {"What is the feed called?", "O'Neill's \"deck\" / <script>alert(1)</script> \xF0\x9F\x9A\xA2"},
    {"Which site is it at?", "Quay; DROP TABLE job;--"},
    {"What is to be connected?", "audio"},
    {"What is the input made for", "professional"},
    {"How does the installation use it?", "stereo"},
    {"full-scale sample?", "17.37"},
    {"half a minute of programme", "feed.wav"},
    {"nothing plays", "skip"},
    {"what is done?", "all"}};

std::string home_of(const Folder& folder) {
  const fs::path home = folder.path / "home";
  fs::create_directories(home);
  std::ofstream(home / "profile.toml") << "mains_hz = 50\n";
  return home;
}

json last_job(const Folder& folder) {
  const auto r = run(folder, "jobs show last --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  return r.exit == 0 ? json::parse(r.out).at("job") : json::object();
}

std::size_t highest_step(const std::string& screen) {
  std::size_t most = 0;
  for (std::size_t at = screen.find("Step "); at != std::string::npos; at = screen.find("Step ", at + 1))
    most = std::max<std::size_t>(most, static_cast<std::size_t>(std::atoi(screen.c_str() + at + 5)));
  return most;
}

TEST(Session, KilledAtAnyMomentLosesNothingThatWasShown) {
  const Folder folder;
  const std::string home = home_of(folder);
  const std::string wav = folder.path / "feed.wav";
  check_test::programme(wav, -20);
  std::mt19937 random(7);
  std::uniform_int_distribution<int> steps(0, 3), wait_us(0, 25000);
  int kills = 0;
  bool done = false;
  for (int n = 0; n < 40 && !done; ++n) {
    std::size_t at = 0;
    std::vector<std::string> arguments = {"check", "feed"};
    if (n > 0) {
      arguments.insert(arguments.end(), {"--job", "last"});
      at = last_job(folder).at("answers").size();
    }
    check_test::Terminal t(home, arguments);
    const std::size_t until = at + static_cast<std::size_t>(steps(random));
    for (; at < std::size(session) && at < until; ++at) {
      ASSERT_TRUE(t.wait_for(session[at].shown)) << t.screen();
      ASSERT_TRUE(t.wait_for("(?): ")) << t.screen();
      const std::string answer = session[at].answer;
      t.line(answer == "feed.wav" ? wav : answer);
    }
    if (at >= std::size(session)) {
      done = t.finish() == 0;
      break;
    }
    std::this_thread::sleep_for(std::chrono::microseconds(wait_us(random)));
    t.kill(SIGKILL);
    (void)t.finish();
    ++kills;
    if (run(folder, "jobs list --json").out.find("ref") == std::string::npos) {
      n = -1;  // killed before the first answer: there was nothing to keep
      EXPECT_LE(highest_step(t.screen()), 1u);
      continue;
    }
    const json job = last_job(folder);
    // Step k is shown only once k - 1 answers are kept.
    EXPECT_GE(job.at("answers").size() + 1, highest_step(t.screen())) << t.screen();
    if (t.screen().find("Measured:") != std::string::npos) {
      EXPECT_EQ(job.at("captures").size(), 1u);
    }
  }
  EXPECT_TRUE(done);
  EXPECT_GE(kills, 4);
  const json job = last_job(folder);
  EXPECT_EQ(job.at("outcome"), "connect") << job.dump(1).substr(0, 500);
  EXPECT_EQ(job.at("title"), session[0].answer);
  EXPECT_EQ(job.at("site").at("name"), session[1].answer);
  EXPECT_EQ(job.at("captures").size(), 1u);
  const auto check = testing_support::run_python(
      "import sqlite3, sys\n"
      "print(sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check').fetchone()[0])\n",
      {home + "/jobs.sqlite"});
  EXPECT_EQ(check, "ok\n");
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  EXPECT_EQ(app_test::slurp(folder.path / "paper.html").find("<script"), std::string::npos);
}

TEST(Session, TwoProgramsOnOneStore) {
  const Folder folder;
  const std::string home = home_of(folder);
  check_test::Terminal a(home, {"check", "feed"});
  check_test::Terminal b(home, {"check", "feed"});
  for (int i = 0; i < 4; ++i) {
    for (check_test::Terminal* t : {&a, &b}) {
      ASSERT_TRUE(t->wait_for(session[i].shown)) << t->screen();
      t->line(std::string(session[i].answer) + (i == 0 ? (t == &a ? " A" : " B") : ""));
    }
  }
  for (check_test::Terminal* t : {&a, &b}) {
    ASSERT_TRUE(t->wait_for(session[4].shown));
    t->line("stop");
    EXPECT_EQ(t->finish(), 4);
  }
  const json jobs = json::parse(run(folder, "jobs list --json").out).at("jobs");
  ASSERT_EQ(jobs.size(), 2u);
  EXPECT_NE(jobs[0].at("title"), jobs[1].at("title"));
}

TEST(Session, StoreOfANewerProgramIsLeftAlone) {
  const Folder folder;
  const std::string home = home_of(folder);
  ASSERT_EQ(run(folder, "jobs new feed --title x").exit, 0);
  (void)testing_support::run_python(
      "import sqlite3, sys\nc = sqlite3.connect(sys.argv[1]); c.execute('PRAGMA user_version = 99'); "
      "c.close()\n",
      {home + "/jobs.sqlite"});
  const auto r = run(folder, "check feed --from-files .");
  EXPECT_EQ(r.exit, 3);
  EXPECT_NE(r.err.find("newer version"), std::string::npos) << r.err;
}

// A small disk with 60 kB left, in a mount namespace of its own.
TEST(Session, FullDiskIsSaidAndWhatWasKeptStays) {
  const Folder folder;
  (void)home_of(folder);
  check_test::programme(folder.path / "feed.audio.wav", -20);
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.level\" = \"professional\"\n\"feed.again\" = \"no\"\n";
  const std::string script =
      "set -e; mkdir disk; mount -t tmpfs -o size=2m none disk; "
      "LINEBENCH_HOME=$PWD/home " LINEBENCH_PROGRAM
      " jobs new feed --title x --store disk/jobs.sqlite >/dev/null; "
      "dd if=/dev/zero of=disk/spare bs=1k count=60 2>/dev/null; "
      "dd if=/dev/zero of=disk/filler bs=1k count=4000 2>/dev/null || true; rm disk/spare; "
      "code=0; LINEBENCH_HOME=$PWD/home " LINEBENCH_PROGRAM
      " check feed --job last --from-files . --store disk/jobs.sqlite >out 2>err || code=$?; rm disk/filler; "
      "LINEBENCH_HOME=$PWD/home " LINEBENCH_PROGRAM
      " jobs show last --json --store disk/jobs.sqlite >kept; exit $code";
  const std::string command =
      "cd '" + folder.path.string() + "' && unshare -rm sh -c '" + script + "' </dev/null";
  const int status = std::system(command.c_str());
  EXPECT_EQ(WEXITSTATUS(status), 3);
  const std::string err = app_test::slurp(folder.path / "err");
  EXPECT_NE(err.find("full"), std::string::npos) << err;
  const json kept = json::parse(app_test::slurp(folder.path / "kept")).at("job");
  const std::size_t shown = highest_step(app_test::slurp(folder.path / "out"));
  EXPECT_GE(kept.at("answers").size() + 1, shown);
}

TEST(Session, StoreThatCannotBeWrittenIsSaid) {
  const Folder folder;
  (void)home_of(folder);
  ASSERT_EQ(run(folder, "jobs new feed --title x").exit, 0);
  const std::string script =
      "mount --bind home home && mount -o remount,ro,bind home && cd /tmp && "
      "LINEBENCH_HOME=" +
      (folder.path / "home").string() + " " LINEBENCH_PROGRAM " check feed --job last 2>" +
      (folder.path / "err").string();
  const int status = std::system(
      ("cd '" + folder.path.string() + "' && unshare -rm sh -c '" + script + "' </dev/null >/dev/null")
          .c_str());
  EXPECT_EQ(WEXITSTATUS(status), 3);
  EXPECT_NE(app_test::slurp(folder.path / "err").find("read only"), std::string::npos)
      << app_test::slurp(folder.path / "err");
}

TEST(Session, MovedAndChangedCapturesAreSaid) {
  const Folder folder;
  (void)home_of(folder);
  check_test::programme(folder.path / "feed.audio.wav", -20);
  check_test::quiet(folder.path / "feed.quiet.wav");
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.level\" = \"professional\"\n\"feed.full-scale\" = "
         "17.37\n\"checklist.after\" = "
         "\"all\"\n";
  ASSERT_EQ(run(folder, "check feed --from-files .").exit, 0);
  fs::rename(folder.path / "feed.audio.wav", folder.path / "elsewhere.wav");
  check_test::quiet(folder.path / "feed.quiet.wav", -90);
  const auto r = run(folder, "jobs show last");
  EXPECT_NE(r.out.find("not where it was"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("changed after it was measured"), std::string::npos) << r.out;
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  EXPECT_NE(app_test::slurp(folder.path / "paper.html").find("changed after it was measured"),
            std::string::npos);
}

}  // namespace
