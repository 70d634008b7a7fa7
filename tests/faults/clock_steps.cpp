// The wall clock stepped while the program runs and between its runs, as a laptop's is when it finds a time
// server or its battery was out. The library of Debian's `faketime` gives the program a wall clock of the
// test's own; the monotonic clock goes on, as it does when a real one is set (clock_gettime(2): "not affected
// by discontinuous jumps in the system time").
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/job/store.hpp>
#include <nlohmann/json.hpp>
#include <sstream>
#include <where.hpp>

#include "capture/temp_folder.hpp"
#include "check/sound_files.hpp"
#include "picture/fake_grabber.hpp"
#include "program.hpp"
#include "support/python.hpp"

namespace {

using namespace linebench;
using app_test::Folder;
using fault_test::Program;
using nlohmann::json;
using Clock = std::chrono::steady_clock;
namespace fs = std::filesystem;

using Environment = std::vector<std::pair<std::string, std::string>>;

fs::path library() {
  for (const auto& e : fs::directory_iterator("/usr/lib"))
    if (auto file = e.path() / "faketime/libfaketime.so.1"; fs::exists(file)) return file;
  return {};
}

// A wall clock off by what stands in a file, which may change at any time.
class WallClock {
 public:
  explicit WallClock(fs::path file) : file_(std::move(file)) { off_by("+0"); }
  void off_by(const std::string& seconds) {
    std::ofstream(file_.string() + ".new") << seconds << "\n";
    fs::rename(file_.string() + ".new", file_);
  }
  [[nodiscard]] Environment environment() const {
    return {{"LD_PRELOAD", library()},    {"FAKETIME_TIMESTAMP_FILE", file_},
            {"FAKETIME_NO_CACHE", "1"},   {"FAKETIME_DONT_FAKE_MONOTONIC", "1"},
            {"DONT_FAKE_MONOTONIC", "1"}, {"NO_FAKE_STAT", "1"}};
  }

 private:
  fs::path file_;
};

class ClockSteps : public testing::Test {
 protected:
  void SetUp() override {
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
    GTEST_SKIP() << "NOT TESTED: a sanitizer wants to be loaded first";
#endif
    ASSERT_FALSE(library().empty()) << "install Debian's faketime";
    fault_test::write_sound(folder.path / "a.wav", 2);
  }
  // Runs the program to its end at the wall clock of now.
  std::string run(std::vector<std::string> words) {
    Program p(folder.path, std::move(words), clock.environment());
    EXPECT_EQ(p.wait(), 0) << p.said();
    return p.said();
  }
  Folder folder;
  WallClock clock{folder.path / "clock"};
};

// That the means are fit: one process sees its wall clock step and its monotonic clock go on.
TEST_F(ClockSteps, AStepReachesAProgramThatRuns) {
  std::ofstream(folder.path / "look.py") << "import time\n"
                                            "w, m = time.time(), time.monotonic()\n"
                                            "open('clock', 'w').write('-3600\\n')\n"
                                            "print(round(time.time() - w, -1), time.monotonic() - m < 60)\n";
  std::string words = "cd '" + folder.path.string() + "' && env";
  for (const auto& [name, value] : clock.environment()) words += fmt::format(" {}='{}'", name, value);
  ASSERT_EQ(std::system((words + " /usr/bin/python3 look.py > seen").c_str()), 0);
  EXPECT_EQ(app_test::slurp(folder.path / "seen"), "-3600.0 True\n");
}

// A file at life's speed: a pace, a latency or a duration that went by the wall clock would end it at once or
// hold it up for an hour.
TEST_F(ClockSteps, AWatchKeepsItsPaceAndItsTimes) {
  const auto begun = Clock::now();
  Program p(folder.path, {"watch", "--from", "a.wav", "--repeat", "--seconds", "4", "--json"},
            clock.environment());
  ASSERT_TRUE(p.until("\n", 1)) << p.said();
  clock.off_by("-3600");
  ASSERT_TRUE(p.until("\n", 2)) << p.said();
  clock.off_by("+86400");
  ASSERT_EQ(p.wait(), 0) << p.said();
  const double took_s = std::chrono::duration<double>(Clock::now() - begun).count();
  EXPECT_GE(took_s, 3.9);
  EXPECT_LT(took_s, 120) << "a busy machine may add some";
  std::istringstream lines(p.said());
  double before = -1;
  int count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    const double at = json::parse(line)["time_s"];
    EXPECT_GE(at, before);
    EXPECT_LE(at - before, before < 0 ? 10 : 3) << "no second is missing or twice";
    before = at;
  }
  EXPECT_GE(count, 3);
  EXPECT_NEAR(before, 4, 0.2);
}

TEST_F(ClockSteps, AChangeIsLaterThanTheOneBefore) {
  run({"jobs", "new", "feed", "--title", "x"});
  const fs::path file = folder.path / "home/jobs.sqlite";
  std::string before = job::Store(file).job("last").changed_at;
  for (const char* off : {"-3600", "-86400", "+60", "-400d", "+0"}) {
    clock.off_by(off);
    run({"jobs", "note", "last", std::string("clock ") + off});
    const std::string now = job::Store(file).job("last").changed_at;
    EXPECT_GT(now, before) << off;  // ISO 8601: as text and as time alike
    before = now;
  }
  EXPECT_EQ(job::Store(file).notes(job::Store(file).job("last")).size(), 5U);
}

TEST_F(ClockSteps, TheLastJobIsTheOneThatWasOpenedLast) {
  std::vector<std::string> opened;
  for (const char* off : {"+0", "-3600", "+86400", "-400d"}) {
    clock.off_by(off);
    opened.insert(opened.begin(), std::string("clock ") + off);
    run({"jobs", "new", "feed", "--title", opened.front()});
    EXPECT_EQ(json::parse(run({"jobs", "show", "last", "--json"}))["job"]["title"], opened.front());
  }
  std::vector<std::string> listed;
  const json list = json::parse(run({"jobs", "list", "--json"}));
  for (const json& j : list["jobs"]) listed.push_back(j["title"]);
  EXPECT_EQ(listed, opened) << "newest first";
}

// The second return of a station, on a laptop whose clock was set back meanwhile, is still the second.
TEST_F(ClockSteps, AStationsReturnsKeepTheirOrder) {
  fs::create_directories(folder.path / "home/plans");
  fs::create_directory(folder.path / "station");
  std::ofstream(folder.path / "home/plans/short.toml")
      << "title = \"Short\"\ntypes = [\"post\"]\n[[test]]\nkey = \"level\"\ntitle = \"Level\"\n"
         "signal = \"tone-1k\"\nlimits = \"speech-path\"\n";
  std::ofstream(folder.path / "station/answers.toml")
      << "\"station.type\" = \"Post\"\n\"station.serial\" = \"A1\"\n\"complaint\" = \"quiet\"\n"
         "\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n\"station.next\" = \"done\"\n";
  // sox counts from a peak of 1: -30 dB is a sine of -30 dBFS as AES17 has it.
  check_test::sox("-n -r 48000 -b 24 -c 1 '" + (folder.path / "station/test.level.wav").string() +
                  "' synth 12 sine 1000 vol -30dB");
  for (const char* off : {"+0", "-400d"}) {
    clock.off_by(off);
    Program p(folder.path, {"check", "station", "--from-files", "station", "--store", "returns.sqlite"},
              clock.environment());
    EXPECT_LE(p.wait(), 1) << p.said() << "a verdict, whichever";
  }
  run({"report", "last", "--store", "returns.sqlite", "--out", "paper.html"});
  const std::string html = app_test::slurp(folder.path / "paper.html");
  const job::Store store(folder.path / "returns.sqlite");
  const auto jobs = store.jobs({});
  ASSERT_EQ(jobs.size(), 2U);
  EXPECT_LT(jobs[0].opened_at, jobs[1].opened_at) << "the clock went back";
  const auto first = html.find("<th scope=\"col\">" + jobs[1].opened_at.substr(0, 10) + "</th>");
  const auto second = html.find("<th scope=\"col\">" + jobs[0].opened_at.substr(0, 10) + "</th>");
  ASSERT_NE(first, std::string::npos) << "the earlier return is missing";
  ASSERT_NE(second, std::string::npos);
  EXPECT_LT(first, second);
}

}  // namespace
