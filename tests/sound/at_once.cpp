// Two captures from one card to one file, and a wall clock that is set while a capture runs.
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <future>
#include <linebench/capture/audio_file.hpp>
#include <thread>

#include "sound/card.hpp"
#include "sound/program.hpp"

namespace {

using namespace linebench;
namespace fs = std::filesystem;

class AtOnce : public testing::Test {
 protected:
  void SetUp() override { REQUIRE_SOUND_CARD(); }
  [[nodiscard]] bool there_soon(const fs::path& file) const {
    for (int i = 0; i < 100 && !fs::exists(file); ++i)
      std::this_thread::sleep_for(std::chrono::milliseconds(50));
    return fs::exists(file);
  }
  TempFolder folder, other;
};

TEST_F(AtOnce, TheSecondCaptureOnOneNameIsRefusedAndTheFirstIsWhole) {
  const fs::path file = folder / "lane.wav";
  const std::string words = "capture audio --from loopback --seconds 3 --out " + file.string();
  auto first = std::async(std::launch::async, [&] { return run_program(folder, words); });
  ASSERT_TRUE(there_soon(file));
  const Ran asked = run_program(other, words);
  EXPECT_EQ(asked.exit, 2) << "it is there\n" << asked.err;
  const Ran replacing = run_program(other, words + " --replace");
  EXPECT_EQ(replacing.exit, 3) << replacing.err;
  EXPECT_NE(replacing.err.find("another program is writing it; choose another name"), std::string::npos)
      << replacing.err;
  EXPECT_EQ(std::count(replacing.err.begin(), replacing.err.end(), '\n'), 1) << replacing.err;
  const Ran r = first.get();
  EXPECT_EQ(r.exit, 0) << r.err;
  const auto facts = capture::open_audio_file(file)->facts();
  EXPECT_FALSE(facts.interrupted);
  EXPECT_EQ(facts.frames, static_cast<std::uint64_t>(3 * facts.sample_rate_hz));
}

// Debian's faketime, as in tests/faults/clock_steps.cpp.
TEST_F(AtOnce, ACaptureIsAsLongAsAskedWhateverTheWallClockDoes) {
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
  GTEST_SKIP() << "NOT TESTED: a sanitizer wants to be loaded first";
#endif
  const fs::path clock = folder / "clock";
  const auto off_by = [&](const char* seconds) {
    std::ofstream(folder / "clock.new") << seconds << "\n";
    fs::rename(folder / "clock.new", clock);
  };
  off_by("+0");
  const std::string steps =
      "LD_PRELOAD=$(echo /usr/lib/*/faketime/libfaketime.so.1) FAKETIME_NO_CACHE=1 "
      "FAKETIME_DONT_FAKE_MONOTONIC=1 DONT_FAKE_MONOTONIC=1 NO_FAKE_STAT=1 "
      "FAKETIME_TIMESTAMP_FILE=" +
      clock.string();
  const fs::path file = folder / "lane.wav";
  const auto begun = std::chrono::steady_clock::now();
  auto running = std::async(std::launch::async, [&] {
    return run_program(folder, "capture audio --from loopback --seconds 3 --out " + file.string(), steps);
  });
  ASSERT_TRUE(there_soon(file));
  off_by("-3600");
  std::this_thread::sleep_for(std::chrono::milliseconds(1000));
  off_by("+86400");
  const Ran r = running.get();
  const double took_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_GE(took_s, 2.9);
  EXPECT_LT(took_s, 20);
  const auto facts = capture::open_audio_file(file)->facts();
  EXPECT_FALSE(facts.interrupted) << r.err;
  EXPECT_EQ(facts.frames, static_cast<std::uint64_t>(3 * facts.sample_rate_hz));
}

}  // namespace
