// A page as a browser nobody here wrote sees it, measured by a script put into a copy of the page.
#pragma once

#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <regex>
#include <string>
#include <vector>

#include "app/run_program.hpp"
#include "support/python.hpp"

namespace paper {

using nlohmann::json;
namespace fs = std::filesystem;

/// The papers of the demo's three jobs, in a folder made once for each test program.
inline const fs::path& papers() {
  static const app_test::Folder folder;
  static const fs::path made = [] {
    const auto r = app_test::run(folder, "demo --jobs ferry");
    EXPECT_EQ(r.exit, 0) << r.err;
    return folder.path / "ferry";
  }();
  return made;
}

inline testing_support::Finished browse(const fs::path& folder, std::vector<std::string> options,
                                        const fs::path& page) {
  std::vector<std::string> argv = {"/usr/bin/chromium",
                                   "--headless",
                                   "--no-sandbox",
                                   "--disable-gpu",
                                   "--disable-dev-shm-usage",
                                   "--disable-background-networking",
                                   "--disable-component-update",
                                   "--user-data-dir=" + (folder / "browser").string()};
  argv.insert(argv.end(), options.begin(), options.end());
  argv.push_back("file://" + page.string());
  return testing_support::run_program(argv);
}

/// What a script says of a page: it leaves its answer, JSON, as the document's title.
inline json told_by(std::string html, const std::string& script, int width) {
  const testing_support::TempDir dir;
  html.replace(html.rfind("</body>"), 7, "<script>" + script + "</script></body>");
  const fs::path copy = dir.path() / "page.html";
  std::ofstream(copy) << html;
  const auto r = browse(
      dir.path(),
      {"--window-size=" + std::to_string(width) + ",1000", "--virtual-time-budget=3000", "--dump-dom"}, copy);
  EXPECT_EQ(r.status, 0) << r.err;
  std::smatch found;
  static const std::regex title("<title>(\\{[^<]*\\})</title>");
  if (!std::regex_search(r.out, found, title)) {
    ADD_FAILURE() << r.out.substr(0, 500) << r.err;
    return json::object();
  }
  std::string text = found[1];
  for (const auto& [coded, plain] : {std::pair{"&amp;", "&"}, {"&lt;", "<"}, {"&gt;", ">"}}) {
    for (auto at = text.find(coded); at != std::string::npos; at = text.find(coded, at + 1))
      text.replace(at, std::string(coded).size(), plain);
  }
  return json::parse(text);
}

}  // namespace paper
