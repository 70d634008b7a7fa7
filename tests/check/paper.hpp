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

struct Look {
  std::string html;
  std::string script;  ///< leaves its answer, JSON, as the document's title
  int width;
};

/// What scripts say of pages, each in a window of its own within one: the browser starts once for all of
/// them.
inline std::vector<json> told_by(std::vector<Look> looks) {
  const testing_support::TempDir dir;
  std::string outer =
      "<!DOCTYPE html><title>none</title><body><script>const told = [];\n"
      "window.onmessage = e => { told[e.data[0]] = JSON.parse(e.data[1]); document.title = "
      "JSON.stringify(told); };"
      "</script>";
  for (std::size_t i = 0; i < looks.size(); ++i) {
    std::string& html = looks[i].html;
    const std::string n = std::to_string(i);
    html.replace(html.rfind("</body>"), 7,
                 "<script>" + looks[i].script +
                     "\nwindow.addEventListener('load', () => parent.postMessage([" + n +
                     ", document.title], '*'));</script></body>");
    std::ofstream(dir.path() / (n + ".html")) << html;
    outer += "<iframe src='" + n + ".html' width=" + std::to_string(looks[i].width) +
             " height=1000 style='border:0'></iframe>";
  }
  const fs::path all = dir.path() / "all.html";
  std::ofstream(all) << outer + "</body>";
  const auto r =
      browse(dir.path(), {"--window-size=1100,1000", "--virtual-time-budget=5000", "--dump-dom"}, all);
  EXPECT_EQ(r.status, 0) << r.err;
  std::smatch found;
  static const std::regex title("<title>(\\[[^<]*\\])</title>");
  if (!std::regex_search(r.out, found, title)) {
    ADD_FAILURE() << r.out.substr(0, 500) << r.err;
    return std::vector<json>(looks.size(), json::object());
  }
  std::string text = found[1];
  for (const auto& [coded, plain] : {std::pair{"&amp;", "&"}, {"&lt;", "<"}, {"&gt;", ">"}}) {
    for (auto at = text.find(coded); at != std::string::npos; at = text.find(coded, at + 1))
      text.replace(at, std::string(coded).size(), plain);
  }
  auto told = json::parse(text).get<std::vector<json>>();
  told.resize(looks.size(), json::object());
  return told;
}

}  // namespace paper
