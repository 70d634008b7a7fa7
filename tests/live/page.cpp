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

#include "browser.hpp"
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

TEST(LivePage, NumbersInTheBrowserAreThoseOfTheJson) {
  REQUIRE_BROWSER();
  live::Board board;
  fill(board);
  const live::PageServer server(board, {});
  const browser::Page page = browser::open(server.addresses()[0]);
  httplib::Client client("127.0.0.1", server.port());
  const browser::Compared compared = browser::compare(page, json::parse(client.Get("/readings")->body));
  EXPECT_GT(compared.numbers, 15);
  EXPECT_GT(compared.of_pictures, 2);
  EXPECT_EQ(page.dom.find("<b>shield"), std::string::npos) << "a mark's text is text";
  EXPECT_NE(page.dom.find("pulled &lt;b&gt;shield"), std::string::npos);
  EXPECT_NE(page.dom.find("HELD"), std::string::npos);
}

TEST(LivePage, OnTheNetworkTheCodeInTheAddressOpensIt) {
  REQUIRE_BROWSER();
  live::Board board;
  fill(board);
  const live::PageServer server(board, {.lan = true});
  const std::string local = "http://127.0.0.1:" + std::to_string(server.port()) + "/";
  EXPECT_EQ(browser::open(local).dom.find("audio.hum.level"), std::string::npos) << "the form, no readings";
  EXPECT_NE(browser::open(local + "?code=" + server.code()).dom.find("data-id=\"audio.hum.level.left\""),
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
