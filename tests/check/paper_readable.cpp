// Papers and reports for eyes that need contrast and for ears: text stands out by 4.5 to 1, large text and
// the lines of plots by 3 to 1 (WCAG 2.1, 1.4.3 and 1.4.11 at AA), on a light and on a dark screen and on
// paper; headings do not skip a rank, tables have headers, plots have names, and the language is said
// (1.3.1, 1.1.1, 3.1.1).
#include <gtest/gtest.h>

#include <where.hpp>

#include "paper.hpp"

namespace {

using nlohmann::json;
using paper::papers;
namespace fs = std::filesystem;

// Relative luminance and contrast by WCAG 2.1's definitions; what lies half transparent over a ground is
// mixed with it.
constexpr const char* script = R"js(
const rgb = c => { const m = c.match(/[\d.]+/g); return m ? [+m[0], +m[1], +m[2], m.length > 3 ? +m[3] : 1] : null; };
const over = (a, b, t) => [0, 1, 2].map(i => t * a[i] + (1 - t) * b[i]);
const light = c => c.slice(0, 3).map(v => v / 255).map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
const contrast = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
const ground = e => {
  const grounds = [];
  for (let n = e; n; n = n.parentElement) {
    const c = rgb(getComputedStyle(n).backgroundColor);
    if (c && c[3] > 0) { grounds.push(c); if (c[3] >= 1) break; }
  }
  return grounds.reverse().reduce((under, c) => over(c, under, c[3]), [255, 255, 255]);
};
const faint = e => { let o = 1; for (let n = e; n; n = n.parentElement) o *= +getComputedStyle(n).opacity; return o; };
window.onload = () => {
  let texts = 0, lines = 0, least = 99;
  const weak = [];
  const look = (e, colour, wanted, what) => {
    const c = rgb(colour);
    if (!c) return;
    const under = ground(e);
    const ratio = contrast(over(c, under, c[3] * faint(e)), under);
    least = Math.min(least, ratio / wanted);
    if (ratio < wanted) weak.push(ratio.toFixed(2) + ' ' + what);
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    const text = walk.currentNode.textContent.trim();
    if (!text || ['SCRIPT', 'STYLE', 'TITLE', 'title'].includes(e.tagName) || e.hidden || !e.getClientRects().length) continue;
    const s = getComputedStyle(e);
    const size = parseFloat(s.fontSize);
    const large = size >= 24 || (size >= 18.66 && +s.fontWeight >= 700);
    ++texts;
    look(e, e.closest('svg') ? s.fill : s.color, large ? 3 : 4.5, text.slice(0, 40));
  }
  for (const e of document.querySelectorAll('svg .ln')) {
    if (e.matches('.under, .over') || !e.getClientRects().length) continue;  // a light line on a dark one, over a photograph
    ++lines;
    look(e, getComputedStyle(e).stroke, 3, 'line ' + e.getAttribute('class'));
  }
  const ranks = [...document.querySelectorAll('h1, h2, h3, h4')].map(e => +e.tagName[1]);
  document.title = JSON.stringify({texts, lines, least, weak,
      skipped: ranks.filter((r, i) => i > 0 && r > ranks[i - 1] + 1).length, first: ranks[0],
      plots_without_name: [...document.querySelectorAll('svg')].filter(e => e.getAttribute('role') !== 'img' ||
          !e.querySelector('title') || !e.querySelector('title').textContent.trim()).length,
      tables_without_header: [...document.querySelectorAll('table')].filter(t => !t.querySelector('th[scope]')).length,
      language: document.documentElement.lang});
};)js";

enum class Light { Bright, Dark, Paper };

std::string seen_in(std::string html, Light l) {
  if (l == Light::Dark)
    return std::regex_replace(html, std::regex(R"(@media \(prefers-color-scheme:dark\))"), "@media all");
  return l == Light::Paper ? std::regex_replace(html, std::regex("@media print"), "@media all") : html;
}

void check_pages(const std::vector<fs::path>& pages) {
  std::vector<paper::Look> looks;
  std::vector<std::string> names;
  for (const fs::path& page : pages) {
    const std::string html = app_test::slurp(page);
    ASSERT_FALSE(html.empty()) << page;
    for (const Light l : {Light::Bright, Light::Dark, Light::Paper}) {
      looks.push_back({seen_in(html, l), script, 1000});
      names.push_back(page.filename().string() + (l == Light::Dark    ? ", dark"
                                                  : l == Light::Paper ? ", printed"
                                                                      : ""));
    }
  }
  const std::vector<json> told = paper::told_by(looks);
  for (std::size_t i = 0; i < looks.size(); ++i) {
    SCOPED_TRACE(names[i]);
    const json& j = told[i];
    ASSERT_TRUE(j.contains("weak"));
    EXPECT_GT(j.at("texts"), 50);
    EXPECT_TRUE(j.at("weak").empty()) << j.at("weak").dump(1);
    EXPECT_EQ(j.at("first"), 1);
    EXPECT_EQ(j.at("skipped"), 0);
    EXPECT_EQ(j.at("plots_without_name"), 0);
    EXPECT_EQ(j.at("tables_without_header"), 0);
    EXPECT_EQ(j.at("language"), "en");
    std::printf("%s: %d texts, %d lines, least contrast %.2f of what is asked\n", names[i].c_str(),
                j.at("texts").get<int>(), j.at("lines").get<int>(), j.at("least").get<double>());
  }
}

TEST(Readable, ThePapersOfTheJobs) {
  check_pages({papers() / "site.html", papers() / "station.html", papers() / "feed.html"});
}

TEST(Readable, ReportsOfSoundCompositeVideoFramesAndADiagnosis) {
  const app_test::Folder folder;
  for (const std::string words :
       {"signals write video-bars-75 --frames 4 --out bars.raw",
        "signals write video-bars-75 --frames 25 --out bars.avi", "measure bars.raw --html waveform.html",
        "measure bars.avi --html picture.html"}) {
    const auto r = app_test::run(folder, words);
    EXPECT_LE(r.exit, 1) << words << ": " << r.err;
  }
  const auto r = app_test::run(
      folder, "diagnose " LINEBENCH_SOURCE_DIR "/captures/counter-2.flac bars.avi --html diagnosis.html");
  EXPECT_LE(r.exit, 1) << r.err;
  check_pages({folder.path / "waveform.html", folder.path / "picture.html", folder.path / "diagnosis.html"});
}

// A label is one piece of paper: what does not fit at a size that can be read is refused, and not spread over
// four.
TEST(PaperLabel, IsOneSheetWithNothingBeyondItsEdge) {
  for (const auto& [size, type] :
       {std::pair{"20x10", "Post"},
        {"62x29", "Vehicle lane post with loudspeaker, weatherproof, second edition"},
        {"40x12", "Wall station WITH HANDSET 12"},
        {"20x10", "Vehicle lane post with loudspeaker, weatherproof, second edition"}}) {
    const app_test::Folder folder;
    ASSERT_EQ(app_test::run(folder,
                            std::string("jobs new station --title x --serial LP-0417 --type '") + type + "'")
                  .exit,
              0);
    ASSERT_EQ(app_test::run(folder, "jobs finish last 'no fault found'").exit, 0);
    const auto r = app_test::run(folder, std::string("jobs label last --out label.html --size ") + size);
    if (r.exit == 2) {
      EXPECT_NE(r.err.find("larger --size"), std::string::npos) << r.err;
      EXPECT_EQ(std::string(size), "20x10") << type;
      continue;
    }
    const fs::path pdf = folder.path / "label.pdf";
    const auto printed =
        paper::browse(folder.path, {"--no-pdf-header-footer", "--print-to-pdf=" + pdf.string()},
                      folder.path / "label.html");
    ASSERT_TRUE(fs::exists(pdf)) << printed.err;
    const std::string text = app_test::slurp(pdf);
    int pages = 0;
    for (auto at = text.find("/MediaBox"); at != std::string::npos; at = text.find("/MediaBox", at + 1))
      ++pages;
    EXPECT_EQ(pages, 1) << size << " " << type;
  }
}

}  // namespace
