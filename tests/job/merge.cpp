// Two laptops' stores made one, and copies.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/job/store.hpp>
#include <thread>

#include "../capture/temp_folder.hpp"

namespace {

using namespace linebench;
using namespace linebench::job;
namespace fs = std::filesystem;

Capture bare_capture(const std::string& label) {
  Capture c;
  c.label = label;
  c.file = "/nowhere/" + label;
  c.view = "audio";
  c.verdict = "pass";
  c.readings = {number_reading("audio.level.rms", -20.0, 0.1)};
  return c;
}

TEST(Merge, TwoLaptopsBecomeOneWithoutDoubles) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  Store b(folder.path() / "b.sqlite");
  const Job ja = a.open_job({JobKind::Site, "Hum", "", "Ferry terminal", "", ""});
  a.add(ja, bare_capture("one"));
  const Job jb = b.open_job({JobKind::Station, "Returned", "", "FERRY TERMINAL", "substation", "17"});
  b.add(jb, bare_capture("two"));
  b.note(jb, "dropped on the floor");
  b.set_findings(jb, {{"dry-joint", "Dry joint", 0.7, "{}"}});

  const Merged m = a.merge(folder.path() / "b.sqlite");
  EXPECT_EQ(m.jobs, 1);
  EXPECT_EQ(m.captures, 1);
  EXPECT_EQ(m.sites, 0) << "the same site by name, capitals or not";
  EXPECT_EQ(m.stations, 1);
  ASSERT_EQ(a.jobs().size(), 2u);
  const Job there = a.job(jb.uid);
  EXPECT_EQ(there.site->uid, ja.site->uid);
  EXPECT_EQ(there.station->serial, "17");
  EXPECT_EQ(a.captures(there).at(0).readings.at(0).number(), -20.0);
  EXPECT_EQ(a.notes(there).size(), 1u);
  EXPECT_EQ(a.findings(there).size(), 1u);

  const Merged again = a.merge(folder.path() / "b.sqlite");
  EXPECT_EQ(again.jobs + again.captures + again.sites + again.stations + again.updated, 0);
  EXPECT_EQ(a.findings(there).size(), 1u);
  EXPECT_EQ(b.jobs().size(), 1u) << "the other store is only read";
}

TEST(Merge, JobsOfAnotherLaptopStandWhereTheirTimeIs) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  Store b(folder.path() / "b.sqlite");
  const auto open = [](Store& s, const char* title) {
    std::this_thread::sleep_for(std::chrono::milliseconds(3));
    s.open_job({JobKind::Site, title, "", "", "", ""});
  };
  open(a, "1 here");
  open(b, "2 there");
  open(a, "3 here");
  (void)a.merge(folder.path() / "b.sqlite");
  EXPECT_EQ(a.job("last").title, "3 here") << "what came in is not what was opened last";
  open(a, "4 here");
  std::string order;
  for (const Job& j : a.jobs()) order += j.title + " ";
  EXPECT_EQ(order, "4 here 3 here 2 there 1 here ");
}

TEST(Merge, LaterStateOfAJobWins) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  const Job job = a.open_job({JobKind::Site, "Hum", "", "", "", ""});
  a.copy_to(folder.path() / "b.sqlite");
  a.note(job, "on laptop a");
  {
    Store b(folder.path() / "b.sqlite");
    b.note(b.job(job.uid), "on laptop b");
    b.set_findings(job, {{"f", "F", 0.9, "{}"}});
    // The plate was read on the other laptop only.
    NewJob plate;
    plate.site = "Ferry terminal";
    plate.station_type = "substation";
    plate.station_serial = "17";
    b.describe(b.job(job.uid), plate);
    b.finish(b.job(job.uid), "fault found");
  }
  const Merged m = a.merge(folder.path() / "b.sqlite");
  EXPECT_EQ(m.jobs, 0);
  EXPECT_EQ(m.updated, 1);
  EXPECT_EQ(a.job(job.uid).outcome, "fault found");
  ASSERT_TRUE(a.job(job.uid).station.has_value());
  EXPECT_EQ(a.job(job.uid).station->serial, "17");
  ASSERT_TRUE(a.job(job.uid).site.has_value());
  EXPECT_EQ(a.job(job.uid).site->name, "Ferry terminal");
  EXPECT_EQ(a.notes(job).size(), 2u) << "both laptops' notes are kept";
  EXPECT_EQ(a.findings(job).size(), 1u);
}

std::string stands(const Store& s, const Job& job) {
  std::string out = s.job(job.uid).done ? "done:" : "open:";
  for (const Step& a : s.answers(job)) out += " " + a.key + "=" + a.answer;
  for (const Mark& m : s.marks(job)) out += " " + m.item + "=" + m.state;
  return out;
}

void later() { std::this_thread::sleep_for(std::chrono::milliseconds(3)); }

TEST(Merge, OfTwoAnswersTheLaterStandsOnBothLaptops) {
  const TempFolder folder;
  const fs::path fa = folder.path() / "a.sqlite", fb = folder.path() / "b.sqlite";
  Store a(fa);
  const Job job = a.open_job({JobKind::Feed, "Feed", "", "", "", ""});
  a.answer(job, "scale", "1.2");
  a.mark(job, {"signed", "open", "", ""});
  a.copy_to(fb);
  Store b(fb);
  b.answer(job, "scale", "6.9");
  later();
  a.answer(job, "scale", "13.7");
  a.mark(job, {"signed", "done", "", ""});
  a.finish(job, "connect");
  const Merged m = a.merge(fb);
  EXPECT_EQ(m.updated, 1) << "an answer that came in is said";
  EXPECT_TRUE(m.reopened.empty()) << "it was finished with the answer that stands";
  EXPECT_EQ(stands(a, job), "done: scale=13.7 signed=done");
  EXPECT_EQ(a.steps(job).size(), 3u) << "the other is kept on record";
  EXPECT_EQ(b.merge(fa).updated, 1);
  EXPECT_EQ(stands(b, job), stands(a, job));
  EXPECT_EQ(a.merge(fb).updated + b.merge(fa).updated, 0);
  // What is answered after a merge stands, whatever the other laptop's clock said.
  b.answer(job, "scale", "14");
  EXPECT_EQ(b.answers(job).front().answer, "14");
}

TEST(Merge, AJobThatWasFinishedWithAnAnswerOvertakenElsewhereIsOpenAgainOnBoth) {
  const TempFolder folder;
  const fs::path fa = folder.path() / "a.sqlite", fb = folder.path() / "b.sqlite",
                 fc = folder.path() / "c.sqlite";
  Store a(fa);
  const Job job = a.open_job({JobKind::Feed, "Feed", "", "", "", ""});
  a.answer(job, "scale", "1.2");
  a.answer(job, "use", "mono");
  a.copy_to(fb);
  Store b(fb);
  later();
  b.answer(job, "scale", "6.9");
  b.answer(job, "use", "mono");
  later();
  a.finish(job, "connect");
  a.copy_to(fc);
  Store c(fc);
  const Merged m = a.merge(fb);
  ASSERT_EQ(m.reopened.size(), 1u);
  EXPECT_EQ(m.reopened[0].ref, job.ref);
  EXPECT_EQ(stands(a, job), "open: scale=6.9 use=mono");
  EXPECT_EQ(a.job(job.uid).outcome, "");
  (void)b.merge(fa);
  (void)c.merge(fa);
  EXPECT_EQ(stands(b, job), stands(a, job));
  EXPECT_EQ(stands(c, job), stands(a, job));
  // Gone through to the end there, it is done here too.
  b.finish(job, "connect with a change");
  EXPECT_TRUE(a.merge(fb).reopened.empty());
  EXPECT_EQ(stands(a, job), "done: scale=6.9 use=mono");
  EXPECT_EQ(a.merge(fb).updated, 0);
}

TEST(Merge, TheSameAnswerOnBothLeavesAFinishedJobFinished) {
  const TempFolder folder;
  const fs::path fb = folder.path() / "b.sqlite";
  Store a(folder.path() / "a.sqlite");
  const Job job = a.open_job({JobKind::Feed, "Feed", "", "", "", ""});
  a.answer(job, "use", "mono");
  a.copy_to(fb);
  Store(fb).answer(job, "use", "mono");
  later();
  a.finish(job, "connect");
  const Merged m = a.merge(fb);
  EXPECT_TRUE(m.reopened.empty());
  EXPECT_TRUE(a.job(job.uid).done);
}

// A colleague's store is of his program's version, and stays so.
TEST(Merge, TheOtherStoreStaysAsItIsTableForTable) {
  const TempFolder folder;
  const fs::path fb = folder.path() / "b.sqlite";
  {
    Store b(fb);
    b.answer(b.open_job({JobKind::Feed, "Feed", "", "", "", ""}), "use", "mono");
  }
  const auto version = [&](const char* set) {
    sqlite3* db = nullptr;
    EXPECT_EQ(sqlite3_open(fb.c_str(), &db), SQLITE_OK);
    if (*set != 0) {
      EXPECT_EQ(sqlite3_exec(db, set, nullptr, nullptr, nullptr), SQLITE_OK) << sqlite3_errmsg(db);
    }
    sqlite3_stmt* s = nullptr;
    EXPECT_EQ(sqlite3_prepare_v2(db, "PRAGMA user_version", -1, &s, nullptr), SQLITE_OK);
    EXPECT_EQ(sqlite3_step(s), SQLITE_ROW);
    const int v = sqlite3_column_int(s, 0);
    sqlite3_finalize(s);
    sqlite3_close(db);
    return v;
  };
  ASSERT_EQ(
      version(
          "ALTER TABLE step DROP COLUMN order_ms; ALTER TABLE note DROP COLUMN order_ms; ALTER TABLE mark "
          "DROP COLUMN order_ms; ALTER TABLE capture DROP COLUMN order_ms; DROP TABLE open_by; PRAGMA "
          "user_version = 3"),
      3);
  Store a(folder.path() / "a.sqlite");
  EXPECT_EQ(a.merge(fb).jobs, 1);
  EXPECT_EQ(a.answers(a.job("last")).at(0).answer, "mono");
  EXPECT_EQ(version(""), 3);
  (void)version("PRAGMA user_version = 99");
  EXPECT_THROW((void)a.merge(fb), Error);
}

// A program that is killed in the midst of it cannot clean up: so there is nothing to be cleaned up.
TEST(Merge, NeedsNoTemporaryFolderAndLeavesNothing) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  Store b(folder.path() / "b.sqlite");
  b.add(b.open_job({JobKind::Feed, "Deck", "", "", "", ""}), bare_capture("one"));
  const char* before = std::getenv("TMPDIR");
  const std::string kept = before != nullptr ? before : "";
  setenv("TMPDIR", "/nowhere/at/all", 1);
  const Merged m = a.merge(folder.path() / "b.sqlite");
  before != nullptr ? setenv("TMPDIR", kept.c_str(), 1) : unsetenv("TMPDIR");
  EXPECT_EQ(m.jobs, 1);
  for (const auto& file : fs::directory_iterator(folder.path()))
    EXPECT_TRUE(file.path().filename().string().starts_with("a.sqlite") ||
                file.path().filename().string().starts_with("b.sqlite"))
        << file.path();
}

// A page that is damaged is said of the file it is in.
TEST(Merge, ADamagedStoreIsNamed) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  const fs::path file = folder.path() / "b.sqlite";
  {
    Store b(file);
    for (int i = 0; i < 200; ++i) b.note(b.open_job({JobKind::Feed, "Deck", "", "", "", ""}), "a note");
  }
  {
    std::fstream f(file, std::ios::in | std::ios::out | std::ios::binary);
    const auto size = static_cast<std::streamoff>(fs::file_size(file));
    f.seekp(size / 2 / 4096 * 4096);
    f << std::string(4096, '\x5a');
  }
  try {
    (void)a.merge(file);
    FAIL() << "taken";
  } catch (const Error& e) {
    EXPECT_NE(std::string(e.what()).find("b.sqlite"), std::string::npos) << e.what();
    EXPECT_NE(std::string(e.what()).find("damaged"), std::string::npos) << e.what();
  }
  EXPECT_TRUE(a.jobs().empty());
}

TEST(Merge, AMissingStoreIsNotMade) {
  const TempFolder folder;
  Store a(folder.path() / "a.sqlite");
  EXPECT_THROW((void)a.merge(folder.path() / "none.sqlite"), Error);
  EXPECT_FALSE(fs::exists(folder.path() / "none.sqlite"));
  EXPECT_THROW(a.copy_to(folder.path() / "a.sqlite"), Error);
}

}  // namespace
