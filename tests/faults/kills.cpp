// Killed at any moment, while samples, frames and the job store are written: nothing that was shown is lost,
// and what was written up to the kill can be read. The guided job under the same treatment, with the screen a
// person sees: tests/check/session.cpp; the program on a sound card: tests/sound/commands.cpp.
#include <gtest/gtest.h>

#include <linebench/job/store.hpp>
#include <random>

#include "capture/temp_folder.hpp"
#include "captures.hpp"
#include "child.hpp"
#include "support/python.hpp"

namespace {

using namespace linebench;
using fault_test::Child;
using std::chrono::microseconds;

class KilledSound : public testing::TestWithParam<const char*> {};

TEST_P(KilledSound, IsReadableUpToTheKill) {
  const TempFolder folder;
  std::mt19937 random(1);
  std::uniform_int_distribution<int> wait_us(0, 60'000);
  int with_samples = 0;
  double most_lost_s = 0;
  for (int i = 0; i < fault_test::kills() / 4; ++i) {
    const auto file = folder / (std::to_string(i) + GetParam());
    // A hundred times life's speed: the kill falls anywhere in some seconds of capture.
    Child child([&](const Child::Say& say) { (void)fault_test::take_sound(file, 3600, 100, say); });
    ASSERT_TRUE(child.next()) << "nothing was ever shown";
    const double shown_s = static_cast<double>(*child.kill_after(microseconds(wait_us(random)))) / 1000;
    const double kept_s = static_cast<double>(fault_test::expect_marks(file)) / 48000;
    // The level meter shows tenths of a second.
    EXPECT_GT(kept_s, shown_s - 0.1) << file;
    most_lost_s = std::max(most_lost_s, shown_s - kept_s);
    with_samples += kept_s > 0 ? 1 : 0;
    std::filesystem::remove(file);
  }
  EXPECT_GE(with_samples, fault_test::kills() / 8);
  std::printf("  %d kills; at most %.3f s of what was shown are not in the file\n", fault_test::kills() / 4,
              most_lost_s);
}
INSTANTIATE_TEST_SUITE_P(Containers, KilledSound, testing::Values(".wav", ".rf64", ".w64", ".flac"),
                         [](const auto& p) { return std::string(p.param).substr(1); });

TEST(KilledFrames, AreReadableUpToTheKill) {
  const TempFolder folder;
  std::mt19937 random(2);
  std::uniform_int_distribution<int> wait_us(0, 60'000);
  for (int i = 0; i < fault_test::kills(); ++i) {
    const auto file = folder / "a.yuv";
    Child child([&](const Child::Say& say) { (void)fault_test::take_frames(file, 100'000, say); });
    ASSERT_TRUE(child.next());
    const std::uint64_t shown = *child.kill_after(microseconds(wait_us(random)));
    EXPECT_GE(fault_test::expect_frames(file), shown);
  }
}

// Notes, answers and captures with readings, each a transaction; `shown` counts the calls that have returned.
void keep_books(const std::filesystem::path& file, const Child::Say& say) {
  job::Store store(file);
  const job::Job j = store.open_job({.kind = job::JobKind::Feed, .title = "x"});
  for (std::uint64_t n = 0;; ++n) {
    store.note(j, std::to_string(n));
    store.answer(j, "key" + std::to_string(n), "a");
    job::Capture c;
    c.label = std::to_string(n);
    for (int r = 0; r < 20; ++r) c.readings.push_back(number_reading("audio.level.rms", -20.0 - r, 0.1));
    (void)store.add(j, c);
    say(n + 1);
  }
}

TEST(KilledStore, HoldsAllThatWasShownAndIsWhole) {
  std::mt19937 random(3);
  std::uniform_int_distribution<int> wait_us(0, 40'000);
  std::uint64_t rounds = 0;
  const TempFolder folder;
  const auto file = folder / "jobs.sqlite";
  for (int i = 0; i < fault_test::kills(); ++i) {
    Child child([&](const Child::Say& say) { keep_books(file, say); });
    ASSERT_TRUE(child.next());
    const std::uint64_t shown = *child.kill_after(microseconds(wait_us(random)));
    rounds += shown;
    const job::Store store(file);
    const auto jobs = store.jobs();
    ASSERT_EQ(jobs.size(), static_cast<std::size_t>(i + 1));
    const job::Job last = store.job("last");
    const auto captures = store.captures(last);
    EXPECT_GE(captures.size(), shown);
    EXPECT_GE(store.notes(last).size(), captures.size());
    EXPECT_GE(store.answers(last).size(), captures.size());
    // A capture without some of its readings would be half a transaction.
    for (const job::Capture& c : captures) ASSERT_EQ(c.readings.size(), 20U);
  }
  EXPECT_GT(rounds, static_cast<std::uint64_t>(fault_test::kills()));
  // SQLite by Python's own module.
  EXPECT_EQ(testing_support::run_python(
                "import sqlite3, sys\n"
                "print(sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check').fetchone()[0])\n",
                {file.string()}),
            "ok\n");
}

}  // namespace
