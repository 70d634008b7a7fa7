// The diagnosis as a section of the page.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/findings.hpp>
#include <linebench/report/page.hpp>

#include "findings_words.hpp"
#include "page_parts.hpp"
#include "phrases.hpp"

namespace linebench::report {
namespace {

using diagnose::Bearing;
using diagnose::Finding;

constexpr std::size_t full_findings = 2;  // more would not fit on two sheets
constexpr double worth_a_card = 0.1;
constexpr std::size_t pieces_shown = 4;

std::string bar(const std::string& label, double p, const char* style) {
  return fmt::format(
      "<tr><th scope=\"row\">{}</th><td class=\"num\">{}</td><td class=\"bar\"><span class=\"{}\" "
      "style=\"width:{:.1f}%\"></span></td></tr>",
      escaped(label), escaped(show_probability(p)), style, 100 * std::clamp(p, 0.0, 1.0));
}

std::string test_html(const diagnose::NextTest& t) {
  std::string s = fmt::format("<p class=\"do\"><b>{}</b> {}{} ({})</p>", phrase::next_test,
                              t.again ? phrase::once_more : "", escaped(t.how), escaped(show_effort(t)));
  s += paragraph("warn", phrase::caution, t.caution);
  if (!t.notation.empty())
    s += fmt::format("<p class=\"small soft\">{} <code>--observed \"{}\"</code>{}</p>",
                     phrase::then_tell_page, escaped(t.notation), escaped(t.again ? phrase::or_again : ""));
  return s;
}

std::string pieces_html(const std::vector<Bearing>& list, const char* title) {
  if (list.empty()) return {};
  std::string s = fmt::format("<p class=\"small\"><b>{}</b></p><ul class=\"small ev\">", title);
  for (std::size_t i = 0; i < std::min(list.size(), pieces_shown); ++i)
    s += fmt::format("<li>{} [{}]</li>", escaped(list[i].text), escaped(show_times(list[i].nats)));
  return s + "</ul>";
}

std::string finding_html(const Finding& f) {
  std::string s = fmt::format("<li><div class=\"what\">{} \u00b7 {}</div><p>{}</p>",
                              escaped(show_probability(f.probability)), escaped(f.label), escaped(f.what));
  if (!f.usually_with.empty())
    s += "<p class=\"small soft\">" + escaped(phrase::mostly_with + f.usually_with) + "</p>";
  s += pieces_html(f.evidence_for, phrase::for_it) + pieces_html(touched_against(f), phrase::against_it) +
       paragraph("small", phrase::not_by_it_page, left_unexplained(f));
  if (f.next_test) s += test_html(*f.next_test);
  return s + paragraph("small", phrase::tells_apart, f.tell_apart) +
         paragraph("small", phrase::cure_page, cure_of(f)) + paragraph("warn", phrase::caution, f.caution) +
         "</li>";
}

}  // namespace

std::string diagnosis_section(const diagnose::Diagnosis& d, const std::vector<std::string>& notes) {
  const std::string verdict = diagnosis_verdict(d);
  const char* style = verdict == "pass" ? "PASS" : verdict == "fail" ? "FAIL" : "INCOMPLETE";
  const std::string word = verdict == "pass"   ? std::string("\u2714 ") + phrase::sound
                           : verdict == "fail" ? std::string("\u2718 ") + phrase::fault
                                               : phrase::open_verdict;
  std::string s = fmt::format("<section id=\"diagnosis\"><h2>{}</h2><p class=\"verdict {}\"><b>{}</b>{}</p>",
                              phrase::page_title, style, word, escaped(diagnosis_headline(d)));
  s += "<p class=\"small soft\">" +
       fmt::format(phrase::from_signs_page, d.signs_used, d.signs_used == 1 ? "" : "s") + "</p>";
  for (const std::string& open : left_open(d)) s += "<p class=\"note\">" + prose(open) + "</p>";
  for (const std::string& n : notes) s += "<p class=\"note\">" + prose(n) + "</p>";
  const std::string cure = cure_first(d);
  if (d.next_test || !cure.empty() || !d.cautions.empty()) s += heading(phrase::do_next);
  for (const std::string& c : d.cautions) s += paragraph("warn", phrase::caution, c);
  if (d.next_test) {
    s += test_html(*d.next_test);
  } else if (!cure.empty()) {
    s += "<p class=\"do\">" + escaped(cure) + "</p>";
    if (const std::string caution = cures_caution(d); !caution.empty())
      s += paragraph("warn", phrase::caution, caution);
  }
  s += heading(phrase::likeliest) + "<table class=\"rank\"><tbody>";
  for (const Finding& f : d.findings) s += bar(f.label, f.probability, "bad");
  s += bar(phrase::nothing_wrong, d.nothing_wrong, "good") + bar(phrase::unlisted, d.unlisted, "other") +
       "</tbody></table>";
  if (!d.findings.empty()) s += heading(phrase::evidence) + "<ol class=\"problems\">";
  for (std::size_t i = 0; i < std::min(d.findings.size(), full_findings); ++i) {
    if (i == 0 || d.findings[i].probability >= worth_a_card) s += finding_html(d.findings[i]);
  }
  if (!d.findings.empty()) s += "</ol>";
  return s + "<p class=\"small soft\">" + phrase::how_worked_out_page + "</p></section>";
}

}  // namespace linebench::report
