// The page as a browser shows it, and its numbers against the JSON.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>
#include <string>

#include "app/run_program.hpp"

namespace browser {

using nlohmann::json;

/// Missing tools fail, loudly: tests/run_all.sh installs what is needed.
inline bool is_there() { return std::system("command -v chromium > /dev/null 2>&1") == 0; }
#define REQUIRE_BROWSER() \
  if (!browser::is_there()) GTEST_FAIL() << "chromium is missing (tests/run_all.sh installs it): NOT tested"

struct Page {
  std::string dom;     ///< after its scripts had run
  std::string errors;  ///< what the browser complained of
};

inline Page open(const std::string& address) {
  const app_test::Folder folder;
  const std::string command =
      "cd '" + folder.path.string() +
      "' && HOME=. timeout 90 chromium --headless --no-sandbox --disable-gpu --user-data-dir=p "
      "--virtual-time-budget=5000 --dump-dom '" +
      address + "' > dom 2> err";
  EXPECT_EQ(std::system(command.c_str()), 0) << app_test::slurp(folder.path / "err");
  return {app_test::slurp(folder.path / "dom"), app_test::slurp(folder.path / "err")};
}

inline std::string unescaped(std::string s) {
  for (const auto& [from, to] :
       std::map<std::string, std::string>{{"&lt;", "<"}, {"&gt;", ">"}, {"&nbsp;", " "}}) {
    for (std::size_t at = 0; (at = s.find(from, at)) != std::string::npos; at += to.size())
      s.replace(at, from.size(), to);
  }
  for (std::size_t at = 0; (at = s.find("&amp;", at)) != std::string::npos; ++at) s.replace(at, 5, "&");
  return s;
}

struct Compared {
  int numbers = 0;
  int of_pictures = 0;
};

/// Every reading on the page is the one of the JSON, in value and as shown.
inline Compared compare(const Page& opened, const json& j) {
  const std::string& page = opened.dom;
  EXPECT_NE(page.find("data-number=\"" + std::to_string(j["number"].get<int>()) + "\""), std::string::npos)
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
    EXPECT_NE(r, nullptr) << id;
    if (r == nullptr) continue;
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
  EXPECT_EQ(opened.errors.find("Content Security Policy"), std::string::npos) << opened.errors;
  EXPECT_EQ(opened.errors.find("Uncaught"), std::string::npos) << opened.errors;
  return {compared, pictures};
}

}  // namespace browser
