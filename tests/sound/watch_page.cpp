// The whole way: virtual sound card and a file of frames, the program, its page in a browser.
#include <gtest/gtest.h>
#include <httplib.h>

#include <chrono>
#include <future>
#include <nlohmann/json.hpp>
#include <thread>

#include "live/browser.hpp"
#include "live/frames_file.hpp"
#include "sound/card.hpp"
#include "sound/program.hpp"

namespace {

using nlohmann::json;

// The program says where its page is as soon as it is there.
int port_of(const TempFolder& folder) {
  for (int i = 0; i < 100; ++i) {
    const std::string said = slurp(folder / ".err");
    const std::string before = "page: http://127.0.0.1:";
    const auto at = said.find(before);
    if (at != std::string::npos && said.find('\n', at) != std::string::npos)
      return std::stoi(said.substr(at + before.size()));
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  }
  return 0;
}

TEST(WatchPage, ShowsTheNumbersOfTheJsonForCardAndPicture) {
  REQUIRE_SOUND_CARD();
  REQUIRE_BROWSER();
#if defined(__SANITIZE_THREAD__)
  GTEST_SKIP() << "NOT TESTED: with every access looked at, pictures are measured slower than they come in";
#endif
  const TempFolder folder, sender;
  frames_file::write(folder / "v.yuv", 50);
  auto watching = std::async(std::launch::async, [&] {
    return run_program(folder, "watch --from loopback --picture v.yuv --repeat --seconds 25 --page");
  });
  auto sending = std::async(std::launch::async, [&] {
    return run_program(sender, "signals send tone-997 --to loopback --seconds 15 --level -23dBFS");
  });
  const int port = port_of(folder);
  ASSERT_GT(port, 0) << slurp(folder / ".err");
  std::this_thread::sleep_for(std::chrono::seconds(5));
  httplib::Client client("127.0.0.1", port);
  const std::string own = "http://127.0.0.1:" + std::to_string(port);
  ASSERT_EQ(client.Post("/hold", {{"Origin", own}}, R"({"on":true})", "application/json")->status, 200);
  const json j = json::parse(client.Get("/readings")->body);
  const browser::Page page = browser::open(own + "/");
  const browser::Compared compared = browser::compare(page, j);
  EXPECT_GT(compared.numbers, 15);
  EXPECT_GT(compared.of_pictures, 2);
  EXPECT_EQ(j["input"]["device"], "JACK: loopback");
  double tone = 0, bars = 0;
  for (const json& r : j["readings"]) {
    if (r["id"] == "audio.tone.level.left" && r["value"].is_number()) tone = r["value"];
    if (r["id"] == "picture.hum.level" && r["value"].is_number()) bars = r["value"];
  }
  EXPECT_NEAR(tone, -23, 0.02);
  EXPECT_NEAR(bars, 4, 0.1);
  EXPECT_EQ(sending.get().exit, 0);
  EXPECT_EQ(watching.get().exit, 0);
}

}  // namespace
