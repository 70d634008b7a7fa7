// The diagnosis as a section of the page.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/findings.hpp>
#include <linebench/report/page.hpp>

#include "findings_words.hpp"

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
  std::string s =
      fmt::format("<p class=\"do\"><b>Next test:</b> {} ({})</p>", escaped(t.how), escaped(show_effort(t)));
  if (!t.caution.empty()) s += "<p class=\"warn\"><b>Caution:</b> " + escaped(t.caution) + "</p>";
  if (!t.notation.empty())
    s += "<p class=\"small soft\">then tell: <code>--observed \"" + escaped(t.notation) + "\"</code></p>";
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
    s += "<p class=\"small soft\">Here mostly together with: " + escaped(f.usually_with) + "</p>";
  s += pieces_html(f.evidence_for, "For it") + pieces_html(f.evidence_against, "Against it");
  if (f.next_test) s += test_html(*f.next_test);
  s += "<p class=\"small\"><b>Tells it apart:</b> " + escaped(f.tell_apart) + "</p>";
  s += "<p class=\"small\"><b>Cure:</b> " + escaped(f.remedy) + "</p>";
  if (!f.caution.empty()) s += "<p class=\"warn\"><b>Caution:</b> " + escaped(f.caution) + "</p>";
  return s + "</li>";
}

}  // namespace

std::string diagnosis_section(const diagnose::Diagnosis& d, const std::vector<std::string>& notes) {
  const std::string verdict = diagnosis_verdict(d);
  const char* style = verdict == "pass" ? "PASS" : verdict == "fail" ? "FAIL" : "INCOMPLETE";
  const char* word = verdict == "pass" ? "\u2714 SOUND" : verdict == "fail" ? "\u2718 FAULT" : "OPEN";
  std::string s = fmt::format(
      "<section id=\"diagnosis\"><h2>What is wrong, and what to do next</h2><p class=\"verdict "
      "{}\"><b>{}</b>{}</p>",
      style, word, escaped(diagnosis_headline(d)));
  s += fmt::format(
      "<p class=\"small soft\">From {} signs: readings with their uncertainties, and what was seen or "
      "metered.</p>",
      d.signs_used);
  for (const std::string& n : notes) s += "<p class=\"note\">" + escaped(n) + "</p>";
  if (d.next_test) {
    s += "<h3>Do next</h3>" + test_html(*d.next_test);
  } else if (const std::string cure = cure_first(d); !cure.empty()) {
    s += "<h3>Do next</h3><p class=\"do\">" + escaped(cure) + "</p>";
    if (const std::string& caution = d.findings.front().caution; !caution.empty())
      s += "<p class=\"warn\"><b>Caution:</b> " + escaped(caution) + "</p>";
  }
  s += "<h3>Likeliest</h3><table class=\"rank\"><tbody>";
  for (const Finding& f : d.findings) s += bar(f.label, f.probability, "bad");
  s += bar("Nothing wrong", d.nothing_wrong, "good") +
       bar("Something the book does not list", d.unlisted, "other") + "</tbody></table>";
  if (!d.findings.empty()) s += "<h3>Evidence</h3><ol class=\"problems\">";
  for (std::size_t i = 0; i < std::min(d.findings.size(), full_findings); ++i) {
    if (i == 0 || d.findings[i].probability >= worth_a_card) s += finding_html(d.findings[i]);
  }
  if (!d.findings.empty()) s += "</ol>";
  return s +
         "<p class=\"small soft\">In brackets: how many times likelier the evidence is with the fault than "
         "with nothing wrong. How often a fault "
         "occurs is the project\u2019s estimate. Two faults can be there at once, so percentages need not "
         "add up to "
         "100.</p></section>";
}

}  // namespace linebench::report
