// The job store keeps what it was given, through reopening, changes and searches.
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iostream>
#include <linebench/base/error.hpp>
#include <linebench/job/store.hpp>
#include <string>

#include "../capture/temp_folder.hpp"

namespace {

using namespace linebench;
using namespace linebench::job;
namespace fs = std::filesystem;

Capture some_capture(const fs::path& file) {
  Capture c;
  c.label = "counter 2, nobody speaking";
  c.path = "counter 2";
  c.file = file;
  c.sha256 = sha256_of(file);
  c.bytes = fs::file_size(file);
  c.view = "audio";
  c.facts.source = file.filename().string();
  c.facts.sample_rate_hz = 48000;
  c.verdict = "fail";
  c.limit_set = "speech-path";
  c.missing = {"audio.sti"};
  c.readings = {number_reading("audio.hum.level", -41.25, 0.05),
                unmeasurable("audio.sti", "needs 15 s of the signal stipa")};
  c.readings[0].verdict = Verdict::Fail;
  c.readings[0].limit =
      Limit{.min = {}, .max = -58.0, .allowed = {}, .mask = {}, .source = "common practice"};
  return c;
}

fs::path some_file(const fs::path& folder) {
  const fs::path f = folder / "capture.wav";
  std::ofstream(f) << "abc";
  return f;
}

std::string message(const auto& action) {
  try {
    action();
  } catch (const Error& e) {
    return e.what();
  }
  return "";
}

void sql(const fs::path& file, const std::string& text) {
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(file.c_str(), &db), SQLITE_OK);
  EXPECT_EQ(sqlite3_exec(db, text.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sqlite3_errmsg(db);
  sqlite3_close(db);
}

TEST(FileHash, KnownDigest) {
  const TempFolder folder;
  // SHA-256 of "abc": the first example of FIPS 180-4 (from memory; sha256sum agrees).
  EXPECT_EQ(sha256_of(some_file(folder.path())),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(Store, KeepsAJobWithAllThatBelongsToIt) {
  const TempFolder folder;
  const fs::path file = folder.path() / "deep" / "jobs.sqlite";
  std::string ref;
  {
    Store store(file);
    const Job job = store.open_job({.kind = JobKind::Site,
                                    .title = "Hum at \"counter 2\" <b>🚢</b>",
                                    .complaint = "hums; since 'Monday'",
                                    .site = "Ferry terminal",
                                    .station_type = "",
                                    .station_serial = ""});
    ref = job.ref;
    store.add(job, some_capture(some_file(folder.path())));
    store.answer(job, "seen", "hum");
    store.answer(job, "where", "one station");
    store.answer(job, "seen", "rolling picture");
    store.note(job, "shield at the hub was loose");
    store.mark(job, {"earth wire metered", "open", "", ""});
    store.mark(job, {"earth wire metered", "done", "0.4 ohm", ""});
    store.set_findings(job, {{"earth-loop-audio", "Earth loop through an audio shield", 0.91, R"({"a":1})"}});
    store.set_path(*job.site, {"", "counter 2", "station", "hub", "cat 5", 38.5});
    store.set_path(*job.site, {"", "Counter 2", "station", "hub", "cat 5", 40.0});
    store.finish(job, "fault found");
  }
  const Store store(file);
  const Job job = store.job(ref);
  EXPECT_EQ(job.title, "Hum at \"counter 2\" <b>🚢</b>");
  EXPECT_EQ(job.complaint, "hums; since 'Monday'");
  EXPECT_EQ(job.site->name, "Ferry terminal");
  EXPECT_TRUE(job.done);
  EXPECT_EQ(job.outcome, "fault found");
  const auto captures = store.captures(job);
  ASSERT_EQ(captures.size(), 1u);
  EXPECT_EQ(captures[0].readings.at(0).number(), -41.25);
  EXPECT_EQ(captures[0].readings.at(0).limit->max, -58.0);
  EXPECT_EQ(captures[0].readings.at(1).reason, "needs 15 s of the signal stipa");
  EXPECT_EQ(captures[0].missing, std::vector<std::string>{"audio.sti"});
  EXPECT_EQ(captures[0].facts.sample_rate_hz, 48000);
  EXPECT_EQ(file_state(captures[0]), "");
  ASSERT_EQ(store.answers(job).size(), 2u);
  EXPECT_EQ(store.answers(job)[0].answer, "rolling picture");
  EXPECT_EQ(store.steps(job).size(), 3u);
  ASSERT_EQ(store.marks(job).size(), 1u);
  EXPECT_EQ(store.marks(job)[0].note, "0.4 ohm");
  EXPECT_EQ(store.findings(job).at(0).probability, 0.91);
  ASSERT_EQ(store.paths(*job.site).size(), 1u) << "the same path in capitals is the same path";
  EXPECT_EQ(store.paths(*job.site)[0].length_m, 40.0);
}

TEST(Store, SaysWhenACapturesFileChangedOrWent) {
  const TempFolder folder;
  const fs::path f = some_file(folder.path());
  const Capture c = some_capture(f);
  std::ofstream(f) << "abd";
  EXPECT_NE(file_state(c).find("changed"), std::string::npos);
  fs::remove(f);
  EXPECT_NE(file_state(c).find("not where it was"), std::string::npos);
}

TEST(Store, FindsJobsByWhatAPersonRemembers) {
  const TempFolder folder;
  Store store(folder.path() / "jobs.sqlite");
  const Job a = store.open_job({JobKind::Site, "Hum", "100% hum", "Ferry terminal", "", ""});
  const Job b = store.open_job({JobKind::Station, "Returned", "dead", "", "substation", "A_17"});
  store.set_findings(a, {{"psu-ripple", "Ripple", 0.8, "{}"}, {"earth-loop", "Earth loop", 0.1, "{}"}});
  store.note(b, "smells burnt");
  const auto refs = [&](const Query& q) {
    std::vector<std::string> out;
    for (const Job& j : store.jobs(q)) out.push_back(j.ref);
    return out;
  };
  using Refs = std::vector<std::string>;
  EXPECT_EQ(refs({}), (Refs{b.ref, a.ref})) << "newest first";
  EXPECT_EQ(refs({.site = "FERRY"}), Refs{a.ref});
  EXPECT_EQ(refs({.serial = "a_1"}), Refs{b.ref});
  EXPECT_EQ(refs({.serial = "ax1"}), Refs{}) << "an underscore is an underscore";
  EXPECT_EQ(refs({.text = "100%"}), Refs{a.ref});
  EXPECT_EQ(refs({.text = "burnt"}), Refs{b.ref});
  EXPECT_EQ(refs({.fault = "ripple"}), Refs{a.ref});
  EXPECT_EQ(refs({.fault = "loop"}), Refs{}) << "what was only thought of is no fault of the job";
  EXPECT_EQ(refs({.since = "2999-01-01"}), Refs{});
  EXPECT_EQ(refs({.kind = JobKind::Station}), Refs{b.ref});
  EXPECT_EQ(refs({.done = true}), Refs{});
  EXPECT_EQ(store.job("last").uid, b.uid);
  EXPECT_EQ(store.job(a.ref.substr(a.ref.size() - 5)).uid, a.uid) << "the end of its name will do";
  EXPECT_THROW((void)store.job("nothing"), Error);
  if (a.ref.substr(0, 8) == b.ref.substr(0, 8)) {  // not when midnight fell between them
    EXPECT_NE(message([&] { (void)store.job(a.ref.substr(0, 8)); }).find(b.ref), std::string::npos);
  }
}

TEST(Store, RefusesWhatItCannotRead) {
  const TempFolder folder;
  const fs::path text = folder.path() / "text.sqlite";
  std::ofstream(text) << std::string(5000, 'x');
  EXPECT_NE(message([&] { Store s(text); }).find("not a job store"), std::string::npos);
  const fs::path foreign = folder.path() / "foreign.sqlite";
  sql(foreign, "CREATE TABLE t(x)");
  EXPECT_NE(message([&] { Store s(foreign); }).find("another program"), std::string::npos);
  const fs::path newer = folder.path() / "newer.sqlite";
  { const Store s(newer); }
  sql(newer, "PRAGMA user_version = 99");
  EXPECT_NE(message([&] { Store s(newer); }).find("newer version"), std::string::npos);
}

TEST(Store, OneOfTheFirstVersionIsBroughtUpToDateInItsOrder) {
  const TempFolder folder;
  const fs::path file = folder.path() / "jobs.sqlite";
  {
    Store store(file);
    for (const char* title : {"first", "second"}) store.open_job({JobKind::Site, title, "", "", "", ""});
    for (const char* answer : {"a", "b", "c"}) {
      store.answer(store.job("last"), "step", answer);
      store.mark(store.job("last"), {"item", answer, "", ""});
      store.note(store.job("last"), answer);
    }
  }
  // The clock was set back before the last of them.
  for (const char* table : {"step", "mark", "note"})
    sql(file, std::string("UPDATE ") + table +
                  " SET at = '2020-01-01T00:00:00.250Z' WHERE rowid = 3; ALTER TABLE " + table +
                  " DROP COLUMN order_ms");
  sql(file, "ALTER TABLE capture DROP COLUMN order_ms; DROP TABLE open_by");
  sql(file,
      "DROP INDEX job_order; ALTER TABLE job DROP COLUMN order_at; ALTER TABLE capture DROP COLUMN taken_as; "
      "ALTER TABLE capture DROP COLUMN judged_as; PRAGMA user_version = 1");
  Store store(file);
  const Job second = store.job("last");
  EXPECT_EQ(store.answers(second).at(0).answer, "c");
  EXPECT_EQ(store.marks(second).at(0).state, "c");
  std::string notes;
  for (const Note& n : store.notes(second)) notes += n.text;
  EXPECT_EQ(notes, "abc");
  store.open_job({JobKind::Site, "third", "", "", "", ""});
  std::string order;
  for (const Job& j : store.jobs()) order += j.title + " ";
  EXPECT_EQ(order, "third second first ");
  EXPECT_EQ(store.job("last").title, "third");
}

TEST(Store, AnotherProgramHoldingItIsWaitedForAndReadersAreNotStopped) {
  const TempFolder folder;
  const fs::path file = folder.path() / "jobs.sqlite";
  Store one(file);
  Store two(file);
  const Job job = one.open_job({JobKind::Feed, "Feed", "", "", "", ""});
  two.note(two.job(job.ref), "from the other program");
  EXPECT_EQ(one.notes(job).size(), 1u);
}

TEST(Store, ASecondProgramOnAJobIsTold) {
  const TempFolder folder;
  const fs::path file = folder.path() / "jobs.sqlite";
  Store store(file);
  const Job job = store.open_job({JobKind::Feed, "Feed", "", "", "", ""});
  EXPECT_FALSE(store.enter_job(job));
  EXPECT_FALSE(store.enter_job(job)) << "it is this one";
  int ready[2];
  ASSERT_EQ(pipe(ready), 0);
  const pid_t other = fork();
  if (other == 0) {
    Store second(file);
    const auto first = second.enter_job(job);
    const char told = first && first->pid == getppid() ? 'y' : 'n';
    (void)!write(ready[1], &told, 1);
    pause();
    _exit(0);
  }
  char told = 0;
  ASSERT_EQ(read(ready[0], &told, 1), 1);
  EXPECT_EQ(told, 'y');
  const auto second = store.enter_job(job);
  ASSERT_TRUE(second);
  EXPECT_EQ(second->pid, other);
  // Killed, it could not say that it left; nobody has asked after it yet (waitid leaves it so).
  kill(other, SIGKILL);
  siginfo_t ended{};
  ASSERT_EQ(waitid(P_PID, static_cast<id_t>(other), &ended, WEXITED | WNOWAIT), 0);
  EXPECT_FALSE(store.enter_job(job));
  waitpid(other, nullptr, 0);
  store.leave_job(job);
  close(ready[0]);
  close(ready[1]);
}

// What a user without the right to write meets; as root the rights are given up in a child process first.
int look_without_rights(const fs::path& file) {
  if (::geteuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0)) return 10;
  Store store(file);
  if (!store.read_only()) return 11;
  if (store.jobs().size() != 1) return 12;
  if (message([&] { store.note(store.job("last"), "x"); }).find("read only") == std::string::npos) return 13;
  return 0;
}

// The number of a program that was killed may be another program's by now: here process 1, whose name is not
// this one's.
TEST(Store, AnotherProcessOfItsNumberIsNoSecondProgram) {
  const TempFolder folder;
  const fs::path file = folder.path() / "jobs.sqlite";
  Store store(file);
  const Job job = store.open_job({JobKind::Feed, "Deck", "", "", "", ""});
  (void)store.enter_job(job);
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(file.c_str(), &db), SQLITE_OK);
  ASSERT_EQ(
      sqlite3_exec(db, "INSERT INTO open_by SELECT job, host, 1, at FROM open_by", nullptr, nullptr, nullptr),
      SQLITE_OK);
  sqlite3_close(db);
  EXPECT_FALSE(store.enter_job(job));
}

// By truncation [truncate(2)], with and without a log beside it as a power cut leaves one.
TEST(Store, OneThatWasCutShortIsSaidAndNotWrittenTo) {
  const TempFolder folder;
  const fs::path whole = folder.path() / "whole.sqlite";
  {
    Store store(whole);
    const Job job = store.open_job({JobKind::Feed, "Deck", "", "", "", ""});
    for (int i = 0; i < 300; ++i) store.note(job, std::string(200, 'n'));
  }
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(whole.c_str(), &db), SQLITE_OK);
  for (const char* sql : {"PRAGMA wal_autocheckpoint = 0", "UPDATE job SET complaint = 'hum'"})
    ASSERT_EQ(sqlite3_exec(db, sql, nullptr, nullptr, nullptr), SQLITE_OK);
  const auto size = fs::file_size(whole);
  for (const bool log : {false, true}) {
    for (const double keep : {0.0, 0.3, 0.9, 1.0}) {
      if (!log && keep == 0) continue;  // a new store
      const fs::path cut = folder.path() / "cut.sqlite";
      for (const char* part : {"", "-wal", "-shm"}) fs::remove(cut.string() + part);
      fs::copy_file(whole, cut);
      if (log) fs::copy_file(whole.string() + "-wal", cut.string() + "-wal");
      fs::resize_file(cut, static_cast<std::uintmax_t>(keep * static_cast<double>(size)));
      try {
        Store store(cut);
        EXPECT_EQ(keep, 1.0) << "log " << log;
        ASSERT_EQ(store.jobs().size(), 1u);
        EXPECT_EQ(store.jobs()[0].complaint, log ? "hum" : "");
      } catch (const Error& e) {
        EXPECT_LT(keep, 1) << e.what();
        EXPECT_NE(std::string(e.what()).find("cut short"), std::string::npos) << e.what();
        EXPECT_EQ(fs::file_size(cut), static_cast<std::uintmax_t>(keep * static_cast<double>(size)));
        EXPECT_EQ(fs::exists(cut.string() + "-wal"), log);
      }
    }
  }
  sqlite3_close(db);
}

TEST(Store, ReadOnlyCanBeLookedAtAndSaysSoWhenWritten) {
  const TempFolder folder;
  const fs::path file = folder.path() / "jobs.sqlite";
  { Store(file).open_job({JobKind::Site, "Hum", "", "", "", ""}); }
  ::chmod(folder.path().c_str(), 0555);
  ::chmod(file.c_str(), 0444);
  const pid_t child = ::fork();
  if (child == 0) {
    int result = 14;
    try {
      result = look_without_rights(file);
    } catch (const std::exception& e) {
      std::cerr << e.what() << '\n';
    }
    ::_exit(result);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  ::chmod(folder.path().c_str(), 0755);
  ASSERT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

}  // namespace
