// Watching the virtual card while something is sent through it.
#include <gtest/gtest.h>

#include <cmath>
#include <future>
#include <nlohmann/json.hpp>
#include <sstream>
#include <thread>

#include "sound/card.hpp"
#include "sound/program.hpp"

namespace {

using nlohmann::json;

class WatchCard : public testing::Test {
 protected:
  void SetUp() override { REQUIRE_SOUND_CARD(); }
  TempFolder folder;
};

const json* find(const json& j, const std::string& id) {
  for (const json& r : j["readings"]) {
    if (r["id"] == id) return &r;
  }
  return nullptr;
}

TEST_F(WatchCard, AToneThatIsSentIsReadWhileItLasts) {
  const TempFolder sender;
  auto watching = std::async(std::launch::async,
                             [&] { return run_program(folder, "watch --from loopback --seconds 8 --json"); });
  std::this_thread::sleep_for(std::chrono::seconds(2));
  const Ran sent = run_program(sender, "signals send tone-997 --to loopback --seconds 4 --level -23dBFS");
  EXPECT_EQ(sent.exit, 0) << sent.err;
  const Ran r = watching.get();
  EXPECT_EQ(r.exit, 0) << r.err;
  // Silent before and after, and the tone at its level in between.
  bool silent_first = false, silent_last = false, read = false;
  std::istringstream in(r.out);
  for (std::string line; std::getline(in, line);) {
    const json j = json::parse(line);
    const json* signal = find(j, "audio.signal.left");
    const json* tone = find(j, "audio.tone.level.left");
    if (signal == nullptr) continue;
    silent_last = (*signal)["value"] == "none";
    silent_first = silent_first || (silent_last && !read);
    if (tone == nullptr || !(*tone)["value"].is_number()) continue;
    if (std::abs((*tone)["value"].get<double>() + 23) < 0.02) {
      read = true;
      EXPECT_NEAR((*find(j, "audio.tone.frequency.left"))["value"], 997, 0.05);
      EXPECT_EQ(j["input"]["device"], "JACK: loopback");
    }
  }
  EXPECT_TRUE(silent_first);
  EXPECT_TRUE(read) << r.out.substr(0, 2000);
  EXPECT_TRUE(silent_last);
}

TEST_F(WatchCard, ThePitchNeverGoesIntoWhatIsWatched) {
  const Ran r = run_program(folder, "watch --from loopback --pitch loopback --pitch-checked --seconds 1");
  EXPECT_EQ(r.exit, 2) << r.err;
  EXPECT_NE(r.err.find("would go into the path"), std::string::npos) << r.err;
}

TEST_F(WatchCard, ThePitchSoundsWhereItMay) {
  // A file is watched, so the card is free for the pitch, and a second watch hears it: hum of -40 dBFS
  // stands for 220 * 2^(3 * 0.6) Hz.
  const TempFolder other;
  ASSERT_EQ(std::system(("sox -n -r 48000 -b 24 " + (other / "hum.wav").string() +
                         " synth 12 sine 50 vol -40dB > /dev/null 2>&1")
                            .c_str()),
            0);
  auto sounding = std::async(std::launch::async, [&] {
    return run_program(other, "watch --from hum.wav --repeat --seconds 9 --pitch loopback");
  });
  std::this_thread::sleep_for(std::chrono::seconds(2));
  const Ran r = run_program(folder, "watch --from loopback --seconds 3 --json");
  EXPECT_EQ(sounding.get().exit, 0);
  const json j = json::parse(r.out.substr(r.out.rfind('\n', r.out.size() - 2) + 1));
  const json* hz = find(j, "audio.tone.frequency.left");
  ASSERT_NE(hz, nullptr) << r.err;
  ASSERT_TRUE((*hz)["value"].is_number()) << r.out;
  EXPECT_NEAR((*hz)["value"], 220 * std::exp2(3 * 0.6), 2);
  EXPECT_NEAR((*find(j, "audio.tone.level.left"))["value"], -30, 0.1);
}

}  // namespace
