// With no sound device at all everything is said in one line. Needs no sound card, and starts no sound
// server.
#include <gtest/gtest.h>

#include "sound/card.hpp"
#include "sound/program.hpp"

namespace {

constexpr const char* nowhere = "JACK_DEFAULT_SERVER=linebench-no-such-server";

class NoDevice : public testing::Test {
 protected:
  void SetUp() override {
    const Ran r = run_program(folder, "devices", nowhere);
    if (r.out.find("ALSA: ") != std::string::npos || r.out.find("OSS: ") != std::string::npos) {
      GTEST_SKIP() << "NOT TESTED: this machine has a real sound card";
    }
  }
  TempFolder folder;
};

TEST_F(NoDevice, DevicesSaysSoInOneLine) {
  const Ran r = run_program(folder, "devices", nowhere);
  EXPECT_EQ(r.exit, 0);
  // One line on sound; what it says of video grabbers is not this test's.
  const std::size_t first_end = r.out.find('\n');
  ASSERT_NE(first_end, std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("no sound device found"), 0U) << r.out;
  EXPECT_EQ(r.out.find("sound device found", first_end), std::string::npos) << r.out;
  EXPECT_EQ(r.err, "") << "the layers below must not chatter";
}

TEST_F(NoDevice, CommandsThatNeedOneExitWith3) {
  for (const char* words : {"capture audio --from any --seconds 1 --out a.wav", "loop --to any --from any",
                            "calibrate --device any --loop"}) {
    const Ran r = run_program(folder, words, nowhere);
    EXPECT_EQ(r.exit, 3) << words;
    EXPECT_NE(r.err.find("no sound device found"), std::string::npos) << words << ": " << r.err;
    EXPECT_EQ(r.out, "");
    EXPECT_FALSE(std::filesystem::exists(folder / "a.wav"));
  }
}

}  // namespace
