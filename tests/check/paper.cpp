// The papers of the demo's three jobs, looked at by a browser nobody here wrote: at paper and phone width,
// and printed to PDF.
#include "paper.hpp"

#include <gtest/gtest.h>

#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <where.hpp>

namespace {

using nlohmann::json;
using paper::browse;
using paper::papers;
namespace fs = std::filesystem;

// What the browser makes of a page at this width: measured by a script put into a copy of it.
/// @param print with the rules that hold on paper.
paper::Look laid_out(const fs::path& page, int width, bool print = false) {
  constexpr const char* script = R"(window.onload = () => {
  const cut = [];
  for (const e of document.querySelectorAll('body *')) {
    const box = e.getBoundingClientRect();
    const scrolls = (PRINT ? false : e.closest('.scroll') !== null) || e.closest('svg') !== null;
    if (!scrolls && box.width > 0 && box.right > document.documentElement.clientWidth + 1)
      cut.push(e.tagName + ' ' + e.textContent.slice(0, 60));
  }
  const small = [...document.querySelectorAll('p, li, td, th, figcaption')]
      .filter(e => parseFloat(getComputedStyle(e).fontSize) < 11).length;
  const labels = [...document.querySelectorAll('svg text')].map(e => e.getBoundingClientRect().height);
  const touching = [];
  for (const plot of document.querySelectorAll('svg')) {
    const boxes = [...plot.querySelectorAll('.lg')].map(e => [e.getBoundingClientRect(), e.textContent]);
    for (let i = 1; i < boxes.length; ++i) {
      const [a, b] = [boxes[i - 1][0], boxes[i][0]];
      if (Math.abs(a.top - b.top) < 5 && b.left - a.right < 4) touching.push(boxes[i - 1][1] + '|' + boxes[i][1]);
    }
  }
  document.title = JSON.stringify({cut, small, touching, plots: document.querySelectorAll('svg').length,
      least_label: labels.length ? Math.min(...labels) : 99,
      asked: performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith('file:')),
      headings: [...document.querySelectorAll('h1, h2')].map(e => e.textContent),
      boxes: document.querySelectorAll('.chain .box').length});
};)";
  std::string html = app_test::slurp(page);
  if (print) html = std::regex_replace(html, std::regex("@media print"), "@media all");
  return {html, "const PRINT = " + std::string(print ? "true" : "false") + ";" + script, width};
}

const std::vector<std::string>& jobs() {
  static const std::vector<std::string> names = {"site", "station", "feed"};
  return names;
}
fs::path page_of(const std::string& job) { return papers() / (job + ".html"); }

TEST(Paper, FitsPaperAndPhoneAndAsksForNothing) {
  std::vector<paper::Look> looks;
  for (const std::string& job : jobs()) {
    for (const int width : {800, 500, 360}) looks.push_back(laid_out(page_of(job), width));
  }
  const std::vector<json> told = paper::told_by(looks);
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const json& j = told[i];
    const int width = looks[i].width;
    SCOPED_TRACE(jobs()[i / 3]);
    ASSERT_TRUE(j.contains("cut"));
    EXPECT_TRUE(j.at("cut").empty()) << width << " " << j.at("cut").dump(1);
    EXPECT_TRUE(j.at("asked").empty()) << j.at("asked");
    EXPECT_EQ(j.at("small"), 0) << width;
    EXPECT_TRUE(j.at("touching").empty()) << width << " " << j.at("touching").dump(1);
    EXPECT_GE(j.at("plots"), 2) << width;
    EXPECT_GE(j.at("least_label").get<double>(), 7.0) << width;
    EXPECT_GE(j.at("boxes"), 3);
    // The result stands first, then the job; what was used comes last.
    const auto& h = j.at("headings");
    EXPECT_EQ(h.at(1), "Result");
    EXPECT_EQ(h.at(2), "Job");
    EXPECT_EQ(h.at(h.size() - 1), "What was used");
  }
}

// Paper cannot be scrolled: between margins of 14 mm (page_style.hpp) nothing may reach beyond the edge. A4
// is 210 mm wide [ISO 216], Letter 8.5 inches; a CSS pixel is 1/96 inch.
TEST(Paper, NothingIsCutOnPaper) {
  std::vector<paper::Look> looks;
  for (const std::string& job : jobs()) {
    for (const double width_mm : {210.0, 215.9})
      looks.push_back(laid_out(page_of(job), static_cast<int>((width_mm - 28) / 25.4 * 96), true));
  }
  const std::vector<json> told = paper::told_by(looks);
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const json& j = told[i];
    SCOPED_TRACE(jobs()[i / 2] + ", " + std::to_string(looks[i].width) + " px");
    ASSERT_TRUE(j.contains("cut"));
    EXPECT_TRUE(j.at("cut").empty()) << j.at("cut").dump(1);
    // 6 points are 8 CSS pixels: the least that print is read in.
    EXPECT_GE(j.at("least_label").get<double>(), 8.0);
  }
}

// What names something that then begins on the next page: headings, groups of readings, when it was measured.
std::set<std::string> names_in(const std::string& html) {
  std::set<std::string> names;
  static const std::regex name("<h[23][^>]*>([^<]*)</h[23]>|<tr class=\"grp\"><th[^>]*>([^<]*)</th>");
  for (std::sregex_iterator it(html.begin(), html.end(), name), end; it != end; ++it)
    names.insert((*it)[1].matched ? (*it)[1] : (*it)[2]);
  return names;
}

void expect_no_name_at_the_foot(const fs::path& pdf, const std::set<std::string>& names) {
  const auto r = testing_support::run_program({"/usr/bin/pdftotext", "-layout", pdf.string(), "-"});
  ASSERT_EQ(r.status, 0) << r.err;
  static const std::regex measured("measured \\d{4}-.*|\u2714 PASS.*|\u2718 FAIL.*");
  std::istringstream pages(r.out);
  std::size_t seen = 0;
  for (std::string page; std::getline(pages, page, '\f'); ++seen) {
    std::istringstream lines(page);
    std::string last;
    for (std::string line; std::getline(lines, line);) {
      const auto from = line.find_first_not_of(' ');
      if (from != std::string::npos) last = line.substr(from, line.find_last_not_of(' ') - from + 1);
    }
    EXPECT_FALSE(names.contains(last)) << last << " stands alone at the foot of page " << seen + 1;
    EXPECT_FALSE(std::regex_match(last, measured)) << last << " at the foot of page " << seen + 1;
  }
  EXPECT_GE(seen, 2u);
}

void prints_on_its_paper(const fs::path& page) {
  const testing_support::TempDir dir;
  const fs::path letter = dir.path() / "letter.html";
  const std::string html = app_test::slurp(page);
  ASSERT_NE(html.find("@page{size:A4}"), std::string::npos);
  std::ofstream(letter) << std::regex_replace(html, std::regex("@page\\{size:A4\\}"), "@page{size:letter}");
  // In points: A4 is 210 x 297 mm [ISO 216], Letter 8.5 x 11 inches.
  struct Sheet {
    fs::path page;
    int width, height;
  };
  for (const Sheet& sheet : {Sheet{page, 595, 842}, Sheet{letter, 612, 792}}) {
    const fs::path pdf = dir.path() / (std::to_string(sheet.width) + ".pdf");
    const auto r =
        browse(dir.path(), {"--no-pdf-header-footer", "--print-to-pdf=" + pdf.string()}, sheet.page);
    ASSERT_TRUE(fs::exists(pdf)) << r.err;
    const std::string text = app_test::slurp(pdf);
    static const std::regex box(R"(/MediaBox \[0 0 (\d+)(?:\.\d+)? (\d+)(?:\.\d+)?\])");
    std::size_t pages = 0;
    for (std::sregex_iterator it(text.begin(), text.end(), box), end; it != end; ++it, ++pages) {
      EXPECT_NEAR(std::stoi((*it)[1]), sheet.width, 2);
      EXPECT_NEAR(std::stoi((*it)[2]), sheet.height, 2);
    }
    EXPECT_GE(pages, 2u);
    EXPECT_LE(pages, 12u) << "a customer reads it";
    expect_no_name_at_the_foot(pdf, names_in(html));
  }
}

// A station that was repaired is measured again as it was connected before.
TEST(Paper, EachConnectionIsDrawnOnce) {
  for (const char* name : {"site", "station", "feed"}) {
    std::ifstream file(papers() / (std::string(name) + ".html"));
    const std::string page{std::istreambuf_iterator<char>(file), {}};
    static const std::regex chain("<figure class=\"chain\"><figcaption>([^<]*)</figcaption>(.*?)</figure>");
    std::map<std::string, std::string> drawn;
    for (std::sregex_iterator it(page.begin(), page.end(), chain), end; it != end; ++it) {
      EXPECT_TRUE(drawn.emplace((*it)[2], (*it)[1]).second) << name << ": " << (*it)[1];
      EXPECT_EQ((*it)[1].str().find("repair"), std::string::npos) << (*it)[1];
    }
    EXPECT_FALSE(drawn.empty()) << name;
  }
}

TEST(Paper, PrintsOnThePaperOfTheProfile) {
  for (const std::string& job : jobs()) prints_on_its_paper(page_of(job));
}

TEST(DemoJobs, EachCanBeRunAgainFromItsFiles) {
  const testing_support::TempDir dir;
  const std::map<std::string, std::pair<int, std::string>> expected = {
      {"site", {0, "cured"}}, {"station", {0, "repaired"}}, {"feed", {0, "connect"}}};
  for (const auto& [kind, result] : expected) {
    const auto r = testing_support::run_program({LINEBENCH_PROGRAM, "check", kind, "--json", "--from-files",
                                                 (papers() / kind).string(), "--store", dir / "jobs.sqlite"});
    EXPECT_EQ(r.status, result.first) << kind << r.err;
    ASSERT_FALSE(r.out.empty()) << r.err;
    EXPECT_EQ(json::parse(r.out).at("job").at("outcome"), result.second);
  }
}

}  // namespace
