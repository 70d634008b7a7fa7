#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/version.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/page.hpp>
#include <linebench/report/view.hpp>
#include <regex>

#include "page_parts.hpp"
#include "page_style.hpp"
#include "phrases.hpp"
#include "plots.hpp"

namespace linebench::report {
namespace {

// Fills {} places with escaped texts.
template <typename... Texts>
std::string html(fmt::format_string<const Texts&...> pattern, const Texts&... texts) {
  return fmt::format(pattern, texts...);
}

std::string verdict_tag(Verdict v) {
  if (v == Verdict::Fail) return html("<span class=\"tag FAIL\">\u2718 {}</span>", phrase::fail);
  if (v == Verdict::Pass) return html("<span class=\"tag PASS\">\u2714 {}</span>", phrase::ok);
  return {};
}

std::string mark_tag(Mark mark) {
  const std::string word(to_string(mark));
  const char* sign = mark == Mark::Pass ? "\u2714 " : mark == Mark::Fail ? "\u2718 " : "";
  return html("<span class=\"tag {}\">{}{}</span>", word, sign, word);
}

std::string column(const char* words) { return html("<th scope=\"col\">{}</th>", words); }

std::string verdict_box(const View& view) {
  const std::string word(to_string(view.mark));
  const char* sign = view.mark == Mark::Pass ? "\u2714 " : view.mark == Mark::Fail ? "\u2718 " : "";
  const std::string next = paragraph("do", phrase::next, view.next);
  return html("<p class=\"verdict {}\"><b>{}{}</b>{}</p>{}", word, sign, word, prose(view.headline), next);
}

std::string facts_html(const View& view) {
  std::string s = "<ul class=\"facts\">";
  for (const std::string& f : view.facts) s += "<li>" + escaped(f) + "</li>";
  if (!view.limit_set.empty()) s += "<li>" + escaped(phrase::limits + view.limit_set) + "</li>";
  s += "</ul>";
  for (const std::string& w : view.warnings) s += "<p class=\"warn\">" + prose(w) + "</p>";
  for (const std::string& n : view.notes) s += "<p class=\"note\">" + prose(n) + "</p>";
  return s;
}

// Whether a figure was read in the standard itself is for those who keep the limits; who is handed the paper
// is told whose practice it is.
std::string paper_source(std::string source) {
  for (const auto& [status, words] : phrase::source_on_paper) {
    if (const auto at = source.find(status); at != std::string::npos)
      source.replace(at, status.size(), words);
  }
  return source;
}

std::string problems_html(const View& view) {
  if (view.problems.empty()) return {};
  std::string s = heading(phrase::out_of_limits) + "<ol class=\"problems\">";
  for (const Problem& p : view.problems) {
    s += "<li><div class=\"what\">" + escaped(p.label + ": " + p.reading) + "</div>";
    s += html("<div class=\"small soft\">{} ", phrase::limit) + escaped(p.limit) + " \u00b7 " +
         escaped(paper_source(p.source));
    if (!p.remark.empty()) s += " \u00b7 " + escaped(p.remark);
    s += "</div><p>" + prose(p.meaning) + "</p>" + paragraph("do", phrase::next, p.next) + "</li>";
  }
  return s + "</ol>";
}

std::string cell_html(const Cell& c, const std::string& channel) {
  if (!c.present) return "<td class=\"num\"></td>";
  const std::string bad = c.verdict == Verdict::Fail ? " v" : "";
  std::string s = channel.empty() ? html("<td class=\"num{}\">", bad)
                                  : html("<td class=\"num{}\" data-c=\"{}\">", bad, escaped(channel));
  s += escaped(c.shown.value);
  if (!c.shown.uncertainty.empty()) s += " <small>\u00b1" + escaped(c.shown.uncertainty) + "</small>";
  return s + "</td>";
}

std::string row_html(const Row& row, const View& view) {
  std::string s = html("<tr{}><th scope=\"row\">{}</th>",
                       row.verdict == Verdict::Fail ? " class=\"bad\"" : "", escaped(row.label));
  if (row.whole) {
    std::string cell = cell_html(row.cells.front(), "");
    cell.insert(3, html(" colspan=\"{}\"", std::to_string(view.channels.size())));
    s += cell;
  } else {
    for (std::size_t i = 0; i < row.cells.size(); ++i) s += cell_html(row.cells[i], view.channels[i]);
  }
  s += "<td class=\"unit\">" + escaped(row.unit) + "</td>";
  s += "<td>" + (row.limit.empty() ? "" : verdict_tag(row.verdict)) + "</td><td class=\"lim\">" +
       escaped(row.limit);
  if (!row.source.empty()) s += " <span class=\"src\">" + escaped(paper_source(row.source)) + "</span>";
  s += "</td><td class=\"rem\">" + prose(row.remark) + "</td></tr>";
  return s;
}

// @param title nullptr: the table has none.
std::string table_html(const View& view, const char* title) {
  if (view.groups.empty()) return {};
  const std::size_t columns = view.channels.size() + 5;
  std::string s = title == nullptr ? "" : heading(title);
  s += "<div class=\"scroll\"><table class=\"r rd\"><thead><tr>" + column(phrase::reading);
  for (const std::string& c : view.channels)
    s += "<th scope=\"col\" class=\"num\">" + escaped(c.empty() ? phrase::value : c) + "</th>";
  s += html("<th scope=\"col\"><span hidden>{}</span></th>", phrase::unit) + column(phrase::verdict) +
       column(phrase::limit_and_source) + column(phrase::remark) + "</tr></thead><tbody>";
  for (const RowGroup& g : view.groups) {
    if (!g.title.empty())
      s += html("<tr class=\"grp\"><th colspan=\"{}\" scope=\"colgroup\">{}</th></tr>",
                std::to_string(columns), escaped(g.title));
    for (const Row& row : g.rows) s += row_html(row, view);
    if (!view.mains_comb.empty() && g.title.starts_with("Hum")) {
      s += html("<tr><th scope=\"row\">{}</th><td colspan=\"{}\">{}</td></tr>", phrase::hum_harmonics,
                std::to_string(columns - 1), escaped(view.mains_comb));
    }
  }
  return s + "</tbody></table></div>";
}

std::string gaps_html(const View& view) {
  if (view.gaps.empty()) return {};
  std::string s = heading(phrase::could_not) + "<dl class=\"small\">";
  for (const Gap& g : view.gaps) {
    s += "<dt>" + escaped(g.labels);
    if (g.wanted) s += html(" <span class=\"tag INCOMPLETE\">{}</span>", phrase::required);
    s += "</dt><dd>" + prose(g.reason) + "</dd>";
  }
  return s + "</dl>";
}

std::string title_of(const PageSection& section) {
  return section.title.empty() ? section.document.input.source : section.title;
}

}  // namespace

std::string section_html(const PageSection& section, const View& view, std::size_t index, Depth depth) {
  std::string s = html("<section id=\"c{}\"{}><h2>{}</h2>", std::to_string(index + 1),
                       depth == Depth::Whole ? "" : " class=\"brief\"", escaped(title_of(section)));
  if (!section.story.empty()) s += "<p>" + prose(section.story) + "</p>";
  s += verdict_box(view) + facts_html(view) + problems_html(view);
  const std::string plots = depth == Depth::Brief ? "" : plots_html(section, "c" + std::to_string(index + 1));
  if (!plots.empty()) s += heading(phrase::plots) + plots;
  const char* title = depth == Depth::Whole    ? phrase::all_readings
                      : depth == Depth::Judged ? phrase::judged_readings
                                               : nullptr;
  return s + table_html(view, title) + gaps_html(view) + "</section>";
}

std::string summary_html(const std::vector<PageSection>& sections, const std::vector<View>& views) {
  if (sections.size() < 2) return {};
  std::string s = html("<section class=\"brief\"><h2>{}</h2>", phrase::summary) +
                  "<div class=\"scroll\"><table class=\"r\"><thead><tr>" + column(phrase::capture) +
                  column(phrase::verdict) + column(phrase::worst_finding) + "</tr></thead><tbody>";
  for (std::size_t i = 0; i < sections.size(); ++i) {
    s += html("<tr><th scope=\"row\"><a href=\"#c{}\">{}</a></th><td>{}</td><td>{}</td></tr>",
              std::to_string(i + 1), escaped(title_of(sections[i])), mark_tag(views[i].mark),
              escaped(finding_of(views[i])));
  }
  return s + "</tbody></table></div></section>";
}

std::string heading(const char* words) { return html("<h3>{}</h3>", words); }

std::string paragraph(const char* style, const char* title, const std::string& text) {
  if (text.empty()) return {};
  return html("<p class=\"{}\"><b>{}</b> {}</p>", style, title, prose(text));
}

std::string prose(std::string_view text) {
  static const std::regex option("(^|[^-A-Za-z0-9])(--[a-z][a-z0-9-]*)");
  return std::regex_replace(escaped(text), option, "$1<span class=\"opt\">$2</span>");
}

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : printable(text)) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

// Only names that are known reach the style sheet.
static std::string paper_rule(const std::string& paper) {
  if (paper == "a4") return "@page{size:A4}";
  if (paper == "letter") return "@page{size:letter}";
  return {};
}

std::string page_frame(const PageHead& head, const std::string& body) {
  std::string s = html(
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
      "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">"
      "<title>{}</title><style>{}{}</style></head><body><main><header><h1>{}</h1>",
      escaped(head.title), std::string(page_style), paper_rule(head.paper), escaped(head.title));
  if (!head.intro.empty()) s += "<p class=\"soft\">" + escaped(head.intro) + "</p>";
  s += "</header>" + head.lead + body;
  s += html("<footer><p>{}</p>", phrase::page_footer);
  s += html("<p>linebench {}{}</p></footer></main></body></html>\n", escaped(version()),
            head.made_at.empty() ? "" : " \u00b7 " + escaped(head.made_at));
  return s;
}

std::string html_page(const PageHead& head, const std::vector<PageSection>& sections) {
  std::vector<View> views;
  for (const PageSection& s : sections) views.push_back(make_view(s.document, head.all));
  std::string body = summary_html(sections, views);
  for (std::size_t i = 0; i < sections.size(); ++i) body += section_html(sections[i], views[i], i);
  return page_frame(head, body);
}

}  // namespace linebench::report
