// The page in a browser: its numbers are those of the JSON, nothing is asked from elsewhere, the policy does
// not stop its own script, colours can be read.
#include <gtest/gtest.h>
#include <httplib.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <linebench/live/page_server.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>

#include "app/run_program.hpp"
#include "feeding.hpp"
#include "support/frame_synth.hpp"

namespace {

using namespace linebench;
using nlohmann::json;

// A board with sound and picture on it, held.
void fill(live::Board& board) {
  constexpr double rate = 48000;
  synth::Samples left(synth::count(3, rate)), right(left.size());
  synth::add_sine(left, rate, 997, -20);
  synth::add_sine(left, rate, 50.1, -41.3);
  synth::add_noise(right, -70, 5);
  CaptureFacts facts = feeding::facts(rate, 2);
  facts.source = "counter <2> & lane";
  board.begin(facts);
  live::AudioMeter meter(facts, {});
  feeding::feed(meter, {left, right}, 960, [&](const live::AudioView& v) { board.publish(v); });
  frame_synth::Scene scene;
  scene.hum_percent = 3;
  scene.noise = 2;
  live::PictureMeter pictures(scene.format(), {});
  frame_synth::Source source(scene, 24, 1);
  capture::Frame f;
  while (source.read(f)) {
    if (pictures.push(f)) board.publish(pictures.view());
  }
  (void)board.mark("pulled <b>shield</b> at counter 2");
  board.hold(true);
}

std::string unescaped(std::string s) {
  for (const auto& [from, to] :
       std::map<std::string, std::string>{{"&lt;", "<"}, {"&gt;", ">"}, {"&nbsp;", " "}}) {
    for (std::size_t at = 0; (at = s.find(from, at)) != std::string::npos; at += to.size())
      s.replace(at, from.size(), to);
  }
  for (std::size_t at = 0; (at = s.find("&amp;", at)) != std::string::npos; ++at) s.replace(at, 5, "&");
  return s;
}

class LivePage : public ::testing::Test {
 protected:
  static bool browser() { return std::system("command -v chromium > /dev/null 2>&1") == 0; }
  // What the browser made of the page, after its scripts had run.
  std::string dom(const std::string& address) {
    const app_test::Folder folder;
    const std::string command =
        "cd '" + folder.path.string() +
        "' && HOME=. timeout 90 chromium --headless --no-sandbox --disable-gpu --user-data-dir=p "
        "--virtual-time-budget=5000 --dump-dom '" +
        address + "' > dom 2> err";
    EXPECT_EQ(std::system(command.c_str()), 0) << app_test::slurp(folder.path / "err");
    errors = app_test::slurp(folder.path / "err");
    return app_test::slurp(folder.path / "dom");
  }
  std::string errors;
};

TEST_F(LivePage, NumbersInTheBrowserAreThoseOfTheJson) {
  if (!browser())
    GTEST_FAIL() << "chromium is missing (tests/run_all.sh installs it): the page was NOT tested";
  live::Board board;
  fill(board);
  const live::PageServer server(board, {});
  const std::string page = dom(server.addresses()[0]);
  httplib::Client client("127.0.0.1", server.port());
  const json j = json::parse(client.Get("/readings")->body);
  ASSERT_NE(page.find("data-number=\"" + std::to_string(j["number"].get<int>()) + "\""), std::string::npos)
      << "the script ran, on these very readings";
  const std::regex cell(
      "<b data-id=\"([^\"]+)\"[^>]*data-value=\"([^\"]*)\"[^>]*>([^<]*)</b><small>([^<]*)</small>");
  int compared = 0, pictures = 0;
  for (auto it = std::sregex_iterator(page.begin(), page.end(), cell); it != std::sregex_iterator(); ++it) {
    const std::string id = (*it)[1], shown = unescaped((*it)[3]);
    const json* r = nullptr;
    for (const json& one : j["readings"]) {
      if (one["id"] == id) r = &one;
    }
    ASSERT_NE(r, nullptr) << id;
    EXPECT_EQ(shown, (*r)["shown"]["value"]) << id;
    if (!(*r)["value"].is_number()) continue;
    const double value = (*r)["value"];
    EXPECT_EQ(std::stod((*it)[2]), value) << id;
    // The text a person reads is the value, rounded: half a last digit away at the most.
    const std::string digits =
        shown.substr(shown.find('.') == std::string::npos ? shown.size() : shown.find('.') + 1);
    const std::string unit = (*r)["shown"]["unit"];
    if (unit == (*r)["unit"]) {
      EXPECT_NEAR(std::stod(shown), value, 0.5001 * std::pow(10.0, -static_cast<double>(digits.size())))
          << id;
    }
    ++compared;
    pictures += id.starts_with("picture.") ? 1 : 0;
  }
  std::printf("  %d numbers compared, %d of the picture\n", compared, pictures);
  EXPECT_GT(compared, 15);
  EXPECT_GT(pictures, 2);
  EXPECT_EQ(page.find("<b>shield"), std::string::npos) << "a mark's text is text";
  EXPECT_NE(page.find("pulled &lt;b&gt;shield"), std::string::npos);
  EXPECT_NE(page.find("HELD"), std::string::npos);
  EXPECT_EQ(errors.find("Content Security Policy"), std::string::npos) << errors;
  EXPECT_EQ(errors.find("Uncaught"), std::string::npos) << errors;
}

TEST_F(LivePage, OnTheNetworkTheCodeInTheAddressOpensIt) {
  if (!browser())
    GTEST_FAIL() << "chromium is missing (tests/run_all.sh installs it): the page was NOT tested";
  live::Board board;
  fill(board);
  const live::PageServer server(board, {.lan = true});
  const std::string local = "http://127.0.0.1:" + std::to_string(server.port()) + "/";
  EXPECT_EQ(dom(local).find("audio.hum.level"), std::string::npos) << "without it: the form, no readings";
  EXPECT_NE(dom(local + "?code=" + server.code()).find("data-id=\"audio.hum.level.left\""),
            std::string::npos);
}

// Relative luminance and contrast ratio [WCAG 2.1, 1.4.3 and 1.4.11; formula of its glossary].
double luminance(const std::string& hex) {
  const auto part = [&](std::size_t at) {
    const double c = std::stoi(hex.substr(at, 2), nullptr, 16) / 255.0;
    return c <= 0.03928 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5);
}
double contrast(const std::string& a, const std::string& b) {
  const double x = luminance(a), y = luminance(b);
  return (std::max(x, y) + 0.05) / (std::min(x, y) + 0.05);
}

TEST(LivePageStyle, ContrastIsEnoughInLightAndDark) {
  EXPECT_NEAR(contrast("#ffffff", "#000000"), 21, 1e-9);
  EXPECT_NEAR(contrast("#777777", "#ffffff"), 4.48, 0.01) << "the well-known grey that just fails";
  const std::string& page = live::live_page();
  const std::size_t dark = page.find("prefers-color-scheme:dark");
  ASSERT_NE(dark, std::string::npos);
  for (const std::string& part : {page.substr(0, dark), page.substr(dark)}) {
    std::map<std::string, std::string> colour;
    const std::regex variable("--([a-z]+):(#[0-9a-f]{6})");
    for (auto it = std::sregex_iterator(part.begin(), part.end(), variable); it != std::sregex_iterator();
         ++it)
      colour[(*it)[1]] = (*it)[2];
    ASSERT_GE(colour.size(), 10U);
    for (const char* ground : {"bg", "card"}) {
      for (const char* text : {"ink", "soft", "bad", "good"})
        EXPECT_GE(contrast(colour[text], colour[ground]), 4.5) << text << " on " << ground;
      for (const char* line : {"edge", "one", "two", "hum"})
        EXPECT_GE(contrast(colour[line], colour[ground]), 3.0) << line << " on " << ground;
    }
  }
}

TEST(LivePageStyle, IsForPhonesAndKeyboards) {
  const std::string& page = live::live_page();
  EXPECT_NE(page.find("width=device-width"), std::string::npos);
  EXPECT_NE(page.find(":focus-visible"), std::string::npos);
  EXPECT_NE(page.find("min-height:44px"), std::string::npos) << "a finger's width";
  EXPECT_NE(page.find("lang=\"en\""), std::string::npos);
  EXPECT_NE(page.find("prefers-reduced-motion"), std::string::npos);
}

}  // namespace
