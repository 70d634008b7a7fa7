#include <gtest/gtest.h>

#include <cmath>
#include <linebench/report/page.hpp>
#include <linebench/report/svg.hpp>
#include <nlohmann/json.hpp>
#include <regex>

#include "sample_document.hpp"

namespace {

using namespace linebench;

report::PageSection full_section() {
  report::PageSection s;
  s.document = sample::judged();
  Curve response{{}, {}, "Hz", "dB", {}};
  for (double hz = 25; hz < 21000; hz *= 1.26) {
    response.x.push_back(hz);
    response.y.push_back(-10 * std::log10(1 + std::pow(hz / 2500, 4)));
  }
  s.document.readings.push_back(curve_reading("audio.response", response, 0.2));
  sample::judge_by(s.document, judge::load_limit_set("speech-path"));
  for (int c = 0; c < 2; ++c) {
    measure::ChannelTraces t;
    for (int i = 0; i < 1000; ++i) {
      t.spectrum.x.push_back(10 * std::pow(2400, i / 999.0));
      t.spectrum.y.push_back(-100 + 5 * std::sin(i));
      t.level_rms.x.push_back(i * 0.01);
      t.level_rms.y.push_back(-20);
      t.level_peak.x.push_back(i * 0.01);
      t.level_peak.y.push_back(-14 + c);
    }
    s.traces.push_back(std::move(t));
  }
  return s;
}

// Every tag that opens is closed in order. By hand: a regular expression over a whole page is too deep for
// the sanitizers' stack.
void expect_balanced(const std::string& page) {
  std::vector<std::string> open;
  for (std::size_t at = page.find('<'); at != std::string::npos; at = page.find('<', at)) {
    bool quoted = false;
    std::size_t end = at + 1;
    while (end < page.size() && (quoted || page[end] != '>')) quoted ^= page[end++] == '"';
    ASSERT_LT(end, page.size()) << "a tag is not closed: " << page.substr(at, 60);
    const std::string tag = page.substr(at + 1, end - at - 1);
    at = end;
    if (tag.starts_with('!')) continue;
    const bool closes = tag.starts_with('/');
    const std::string name = tag.substr(closes, tag.find_first_of(" \n/", closes) - closes);
    if (name == "meta" || name == "img" || tag.ends_with('/')) continue;
    if (!closes) {
      open.push_back(name);
      continue;
    }
    ASSERT_FALSE(open.empty()) << name;
    ASSERT_EQ(open.back(), name);
    open.pop_back();
  }
  EXPECT_TRUE(open.empty());
}

TEST(Page, IsWellFormedAndComplete) {
  const std::string page = report::html_page({}, {full_section()});
  expect_balanced(page);
  for (const char* want :
       {"Out of limits, worst first", "Spectrum", "Level over time", "Response", "All readings",
        "Could not be measured", "class=\"ln mask\"", "Never lift a protective earth"}) {
    EXPECT_NE(page.find(want), std::string::npos) << want;
  }
  EXPECT_LT(page.find("class=\"verdict FAIL\""), page.find("Out of limits"));
}

// A customer who is refused a station reads whose practice a limit is, not how well its keepers know the
// standard. Every shipped set is put on paper, each limit out of reach of its reading.
TEST(Page, SourcesOnPaperAreForWhoIsHandedIt) {
  std::size_t limits = 0;
  for (const std::string& name : judge::limit_set_names()) {
    const judge::LimitSet set = judge::load_limit_set(name);
    report::PageSection s;
    for (const judge::LimitEntry& e : set.entries) {
      Reading r = e.limit.allowed.empty()
                      ? number_reading(e.id, e.limit.max ? *e.limit.max + 1 : *e.limit.min - 1, 0.01)
                      : text_reading(e.id, "none of these");
      if (e.limit.max || e.limit.min || !e.limit.allowed.empty()) {
        r.limit = e.limit;
        r.verdict = Verdict::Fail;
        s.document.readings.push_back(std::move(r));
        ++limits;
      }
    }
    s.document.verdict = "fail";
    const std::string page = report::html_page({}, {s});
    for (const char* bad : {"from memory", "secondary source", ", seen"})
      EXPECT_EQ(page.find(bad), std::string::npos) << name << ": " << page.substr(page.find(bad), 60);
    if (name.starts_with("composite-625")) {
      for (const char* want : {"BT.470</span>", "CCITT N.60, tolerance common practice"})
        EXPECT_NE(page.find(want), std::string::npos) << want;
    }
  }
  EXPECT_GT(limits, 200u);
}

TEST(Page, FetchesNothingAndRunsNothing) {
  const std::string page = report::html_page({}, {full_section(), full_section()});
  for (const char* bad :
       {"http:", "https:", "<script", "javascript:", "src=", "@import", "<link", "<iframe", "<object"}) {
    EXPECT_EQ(page.find(bad), std::string::npos) << bad;
  }
  // The only references are to places on the page itself.
  const std::regex reference(R"re(href="([^"]*)"|url\(([^)]*)\))re");
  for (std::sregex_iterator it(page.begin(), page.end(), reference), end; it != end; ++it) {
    EXPECT_TRUE(((*it)[1].str() + (*it)[2].str()).starts_with("#")) << it->str();
  }
  // Ids are unique, so that each plot is clipped by its own frame.
  const std::regex id(R"re(\bid="([^"]*)")re");
  std::set<std::string> ids;
  for (std::sregex_iterator it(page.begin(), page.end(), id), end; it != end; ++it) {
    EXPECT_TRUE(ids.insert((*it)[1]).second) << it->str();
  }
}

TEST(Page, EscapesHostileNames) {
  auto s = full_section();
  const std::string evil = "\"><script>alert(1)</script><img src=x onerror='y'>&\x1b[2J";
  s.document.input.source = evil;
  s.document.input.device = evil;
  s.document.input.signal = evil;
  s.document.input.notes = {evil};
  s.document.limit_set = evil;
  s.title = evil;
  s.story = evil;
  s.document.readings.push_back(unmeasurable("audio.sti", evil));
  s.document.readings.push_back(text_reading("audio.pair.sides", evil, evil));
  for (Reading& r : s.document.readings) {
    if (r.limit) r.limit->source = evil;
  }
  report::PageHead head;
  head.title = evil;
  head.intro = evil;
  head.made_at = evil;
  const std::string page = report::html_page(head, {s, s});
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("<img"), std::string::npos);
  EXPECT_EQ(page.find('\x1b'), std::string::npos);
  expect_balanced(page);
}

TEST(Page, KeepsOptionNamesWholeAtALinesEnd) {
  report::PageSection s = full_section();
  s.story = "Take --limits NAME or (--full-scale V) & read <--x> again; a--b and 3 -- 4 are no options.";
  const std::string page = report::html_page({}, {s});
  EXPECT_NE(page.find("Take <span class=\"opt\">--limits</span> NAME or (<span "
                      "class=\"opt\">--full-scale</span> V) &amp; "
                      "read &lt;<span class=\"opt\">--x</span>&gt; again; a--b and 3 -- 4 are no options."),
            std::string::npos);
  EXPECT_NE(page.find(".opt{white-space:nowrap}"), std::string::npos);
}

TEST(Page, SeveralSectionsGetASummaryWithLinks) {
  const std::string page = report::html_page({}, {full_section(), full_section()});
  EXPECT_NE(page.find("<h2>Summary</h2>"), std::string::npos);
  EXPECT_NE(page.find("href=\"#c2\""), std::string::npos);
  EXPECT_NE(page.find("<section id=\"c2\">"), std::string::npos);
  EXPECT_EQ(report::html_page({}, {full_section()}).find("<h2>Summary</h2>"), std::string::npos);
}

TEST(Page, EmptyDocumentIsStillAPage) {
  const std::string page = report::html_page({}, {report::PageSection{}});
  expect_balanced(page);
  EXPECT_NE(page.find("MEASURED"), std::string::npos);
}

// Relative luminance and contrast by the formulas of WCAG 2.1 (definitions of "relative luminance", "contrast
// ratio").
double luminance(const std::string& hex) {
  const bool brief = hex.size() == 4;
  double sum = 0;
  const double weights[] = {0.2126, 0.7152, 0.0722};
  for (std::size_t i = 0; i < 3; ++i) {
    const std::string part = brief ? std::string(2, hex[1 + i]) : hex.substr(1 + 2 * i, 2);
    const double c = std::stoi(part, nullptr, 16) / 255.0;
    sum += weights[i] * (c <= 0.03928 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4));
  }
  return sum;
}
double contrast(const std::string& a, const std::string& b) {
  const double x = luminance(a), y = luminance(b);
  return (std::max(x, y) + 0.05) / (std::min(x, y) + 0.05);
}

TEST(Page, ColoursKeepTheContrastOfWcagAa) {
  const std::string page = report::html_page({}, {full_section()});
  const std::regex block(R"(:root\{([^}]*)\})");
  const std::regex colour(R"(--([a-z0-9]+):(#[0-9a-f]{3,6}))");
  int blocks = 0;
  for (std::sregex_iterator it(page.begin(), page.end(), block), end; it != end; ++it, ++blocks) {
    std::map<std::string, std::string> c;
    const std::string body = (*it)[1];
    for (std::sregex_iterator k(body.begin(), body.end(), colour); k != end; ++k) c[(*k)[1]] = (*k)[2];
    for (const char* text : {"ink", "soft", "fail", "pass", "open", "note", "s0", "hum"}) {
      EXPECT_GE(contrast(c[text], c["card"]), 4.5) << text;
      EXPECT_GE(contrast(c[text], c["bg"]), 4.5) << text;
    }
    for (const char* mark : {"fail", "pass", "open", "note"}) {
      EXPECT_GE(contrast(c[mark], c[std::string(mark) + "bg"]), 4.5) << mark;
    }
    for (const char* line : {"s1", "mask"}) EXPECT_GE(contrast(c[line], c["card"]), 3.0) << line;
    EXPECT_GE(contrast(c["ink"], c["failbg"]), 4.5);
    EXPECT_GE(contrast(c["soft"], c["failbg"]), 4.5);
  }
  EXPECT_EQ(blocks, 3);  // light, dark, paper
}

TEST(Axis, TicksAreRoundAndInside) {
  const auto a = report::linear_axis(-93, 6, "dBFS");
  ASSERT_GE(a.ticks.size(), 4u);
  for (const auto& t : a.ticks) {
    EXPECT_GE(t.at, -93);
    EXPECT_LE(t.at, 6);
    EXPECT_NEAR(std::remainder(t.at, 20), 0, 1e-9);
  }
  const auto f = report::log_axis(20, 20000, "Hz");
  EXPECT_EQ(f.ticks.front().text, "20");
  EXPECT_EQ(f.ticks.back().text, "20k");
}

TEST(Plot, SurvivesValuesThatAreNotFinite) {
  report::Plot p("p", "t", "d", report::linear_axis(0, 1, "x"), report::linear_axis(0, 1, "y"));
  const double x[] = {0, 0.5, 1};
  const double y[] = {0, std::nan(""), std::numeric_limits<double>::infinity()};
  p.line(x, y, "s0");
  const std::string svg = p.svg();
  EXPECT_EQ(svg.find("nan"), std::string::npos);
  EXPECT_EQ(svg.find("inf"), std::string::npos);
}

// The JSON contract: readings.md of the project's design, written out here.
TEST(Json, HasTheContractsShape) {
  const nlohmann::json j = report::to_json(sample::judged());
  EXPECT_EQ(j.at("schema"), "linebench/1");
  EXPECT_EQ(j.at("command"), "measure");
  EXPECT_EQ(j.at("verdict"), "fail");
  EXPECT_EQ(j.at("limit_set"), "speech-path");
  EXPECT_TRUE(j.at("findings").is_array());
  EXPECT_EQ(j.at("input").at("sample_rate"), 48000);
  const std::set<std::string> verdicts = {"pass", "fail", "info", "unmeasurable"};
  for (const auto& r : j.at("readings")) {
    for (const char* key : {"id", "label", "value", "unit", "uncertainty", "verdict"})
      EXPECT_TRUE(r.contains(key)) << r;
    EXPECT_TRUE(verdicts.contains(r.at("verdict").get<std::string>()));
    EXPECT_EQ(r.at("value").is_null(), r.at("verdict") == "unmeasurable") << r;
    if (r.at("verdict") == "unmeasurable") {
      EXPECT_FALSE(r.at("reason").get<std::string>().empty());
    }
    if (r.contains("limit")) {
      EXPECT_FALSE(r.at("limit").at("source").get<std::string>().empty());
    }
    if (r.at("verdict") == "pass" || r.at("verdict") == "fail") {
      EXPECT_TRUE(r.contains("limit"));
    }
  }
}

}  // namespace
