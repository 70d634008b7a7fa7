#include <fmt/format.h>

#include <linebench/report/job_page.hpp>
#include <linebench/report/view.hpp>
#include <nlohmann/json.hpp>

#include "page_parts.hpp"
#include "phrases.hpp"
#include "short_paper.hpp"

namespace linebench::report {
namespace {

using nlohmann::json;

// A finding's body is the JSON of the contract; older ones may lack a field.
std::string text_of(const json& j, const char* key) {
  const auto it = j.find(key);
  return it != j.end() && it->is_string() ? it->get<std::string>() : std::string();
}

std::string evidence_html(const json& finding) {
  const auto it = finding.find("evidence");
  if (it == finding.end() || !it->is_array() || it->empty()) return {};
  std::string s = "<ul class=\"small\">";
  for (const json& e : *it) {
    if (e.is_string()) s += "<li>" + escaped(e.get<std::string>()) + "</li>";
    if (e.is_object()) s += "<li>" + escaped(text_of(e, "text")) + "</li>";
  }
  return s + "</ul>";
}

std::string next_html(const json& finding) {
  const auto it = finding.find("next_test");
  if (it == finding.end()) return {};
  if (it->is_string()) return paragraph("do", phrase::next_test, it->get<std::string>());
  if (!it->is_object()) return {};
  return paragraph("do", phrase::next_test, text_of(*it, "how")) +
         paragraph("warn", phrase::caution, text_of(*it, "caution"));
}

std::string findings_html(const JobPaper& paper) {
  if (paper.findings.empty()) return {};
  // What is all but ruled out is of no use to a customer; the store has it.
  constexpr double worth_paper = 0.05;
  std::string s = fmt::format("<section class=\"brief\"><h2>{}</h2><ol class=\"problems\">",
                              paper.job.done ? phrase::found : phrase::likely_wrong);
  for (const job::Finding& f : paper.findings) {
    if (f.probability < worth_paper && &f != &paper.findings.front()) continue;
    const json body = json::parse(f.body, nullptr, false);
    s += fmt::format("<li><div class=\"what\">{} \u00b7 {:.0f} %</div>", escaped(f.label),
                     100 * f.probability);
    if (body.is_object()) {
      s += evidence_html(body) + paragraph("do", phrase::remedy, text_of(body, "remedy")) +
           paragraph("warn", phrase::caution, text_of(body, "caution"));
      // What to test next is of no use once the job is through.
      if (!paper.job.done) s += next_html(body);
    }
    s += "</li>";
  }
  return s + "</ol></section>";
}

// Two columns of text: what, and what of it.
std::string pairs_html(const std::string& title,
                       const std::vector<std::pair<std::string, std::string>>& rows) {
  if (rows.empty()) return {};
  std::string s = "<section class=\"brief\"><h2>" + escaped(title) +
                  "</h2><div class=\"scroll\"><table class=\"r\"><tbody>";
  for (const auto& [what, of_it] : rows) {
    s += "<tr><th scope=\"row\">" + escaped(what) + "</th><td>" + escaped(of_it) + "</td></tr>";
  }
  return s + "</tbody></table></div></section>";
}

std::string tables_html(const std::vector<PaperTable>& tables) {
  std::string s;
  for (const PaperTable& t : tables) {
    s += "<section class=\"brief\"><h2>" + escaped(t.title) + "</h2>";
    if (!t.text.empty()) s += "<p>" + escaped(t.text) + "</p>";
    if (!t.rows.empty()) {
      s += "<div class=\"scroll\"><table class=\"r\"><thead><tr>";
      for (const std::string& h : t.head) s += "<th scope=\"col\">" + escaped(h) + "</th>";
      s += "</tr></thead><tbody>";
      for (const auto& row : t.rows) {
        s += "<tr>";
        for (std::size_t i = 0; i < row.size(); ++i) {
          s += i == 0 ? "<th scope=\"row\">" + escaped(row[i]) + "</th>"
                      : fmt::format("<td data-c=\"{}:\">{}</td>", escaped(t.head[i]), escaped(row[i]));
        }
        s += "</tr>";
      }
      s += "</tbody></table></div>";
    }
    s += "</section>";
  }
  return s;
}

std::string connections_html(const JobPaper& p) {
  if (p.drawings.empty() && p.cautions.empty()) return {};
  std::string s = fmt::format("<section class=\"brief\"><h2>{}</h2>", phrase::connected);
  for (const Drawing& d : p.drawings) s += drawing_html(d);
  for (const std::string& c : p.cautions) s += paragraph("warn", phrase::caution, c);
  return s + "</section>";
}

std::string head_html(const JobPaper& p) {
  const job::Job& j = p.job;
  std::vector<std::pair<std::string, std::string>> rows = {{phrase::job, j.ref}};
  if (!j.complaint.empty()) rows.emplace_back(phrase::reported, j.complaint);
  if (j.site)
    rows.emplace_back(phrase::site,
                      j.site->address.empty() ? j.site->name : j.site->name + ", " + j.site->address);
  if (j.station)
    rows.emplace_back(phrase::station,
                      fmt::format(phrase::station_serial, j.station->type, j.station->serial));
  rows.emplace_back(phrase::opened, show_time(j.opened_at) + phrase::utc);
  rows.emplace_back(phrase::last_change, show_time(j.changed_at) + phrase::utc);
  rows.emplace_back(phrase::result, j.done ? j.outcome : phrase::job_open);
  return pairs_html(phrase::job, rows);
}

std::string used_html(const JobPaper& p) {
  std::vector<std::pair<std::string, std::string>> rows;
  for (std::size_t i = 0; i < p.captures.size(); ++i) {
    const job::Capture& c = p.captures[i];
    std::string what = c.file.filename().string();
    if (!c.facts.device.empty()) what += phrase::from_device + c.facts.device;
    what +=
        c.facts.calibration.empty() ? phrase::not_calibrated : phrase::calibrated_by + c.facts.calibration;
    what += phrase::sha256 + c.sha256.substr(0, 16);
    if (p.replaced.contains(c.uid)) what += phrase::taken_again;
    if (i < p.file_states.size() && !p.file_states[i].empty()) what += phrase::then_note + p.file_states[i];
    rows.emplace_back(c.label.empty() ? c.file.filename().string() : c.label, what);
  }
  rows.emplace_back(phrase::program, "linebench " + p.job.program);
  return pairs_html(phrase::used, rows);
}

std::vector<PageSection> sections_of(const JobPaper& p) {
  std::vector<PageSection> sections;
  for (const job::Capture& c : p.captures) {
    if (p.replaced.contains(c.uid)) continue;
    PageSection s;
    s.document = document_of(c);
    if (const auto it = p.traces.find(c.uid); it != p.traces.end()) s.traces = it->second;
    s.title = c.label.empty() ? c.file.filename().string() : c.label;
    s.story =
        fmt::format(phrase::measured_at, c.path ? phrase::path + *c.path + "; " : "", show_time(c.added_at));
    sections.push_back(std::move(s));
  }
  return sections;
}

std::string captures_html(const JobPaper& paper, const std::vector<PageSection>& sections,
                          const std::vector<View>& views) {
  std::string s;
  const std::vector<bool> decides = deciding(views);
  for (std::size_t i = 0; i < sections.size(); ++i) {
    s += paper.all    ? section_html(sections[i], views[i], i)
         : decides[i] ? section_html(sections[i], as_judged(views[i]), i, Depth::Judged)
                      : section_html(sections[i], in_brief(views[i]), i, Depth::Brief);
  }
  if (paper.all || sections.empty()) return s;
  return s + "<section class=\"brief\"><p class=\"note\">" +
         prose(fmt::format(phrase::short_paper, paper.job.ref)) + "</p></section>";
}

}  // namespace

std::string show_time(const std::string& iso) {
  if (iso.size() < 16) return iso;
  return iso.substr(0, 10) + " " + iso.substr(11, 5);
}

Document document_of(const job::Capture& c) {
  Document d;
  d.command = "jobs";
  d.input = c.facts;
  d.verdict = c.verdict;
  d.limit_set = c.limit_set;
  d.readings = c.readings;
  d.missing = c.missing;
  return d;
}

std::string job_page(const JobPaper& paper) {
  const std::vector<PageSection> sections = sections_of(paper);
  std::vector<View> views;
  for (const PageSection& s : sections) views.push_back(make_view(s.document, paper.all));
  PageHead head;
  head.title = paper.job.title.empty() ? phrase::job_ref + paper.job.ref : paper.job.title;
  head.made_at = paper.made_at;
  std::string body = outcome_section(paper.outcome) + head_html(paper) + findings_html(paper) +
                     tables_html(paper.tables) + summary_html(sections, views);
  body += captures_html(paper, sections, views);
  std::vector<std::pair<std::string, std::string>> rows;
  for (const job::Mark& m : paper.marks)
    rows.emplace_back(m.item, m.note.empty() ? m.state : m.state + ": " + m.note);
  body += connections_html(paper) + pairs_html(phrase::checklist, rows) +
          pairs_html(phrase::answers, paper.answers);
  rows.clear();
  for (const job::Note& n : paper.notes) rows.emplace_back(show_time(n.at), n.text);
  body += pairs_html(phrase::notes, rows);
  head.paper = paper.paper_size;
  return page_frame(head, body + used_html(paper));
}

std::string job_text(const JobPaper& p, const TerminalStyle& style) {
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  std::string out;
  const auto say = [&](const std::string& first, const std::string& text) {
    out += wrapped(printable(text), width, 12,
                   first + std::string(first.size() < 12 ? 12 - first.size() : 1, ' '));
  };
  say(p.job.done ? phrase::done_verdict : phrase::open_verdict,
      fmt::format("{} ({} {})", p.job.title.empty() ? "job" : p.job.title, to_string(p.job.kind), p.job.ref));
  if (p.job.done) say("result", p.job.outcome);
  if (!p.job.complaint.empty()) say("reported", p.job.complaint);
  if (p.job.site) say("site", p.job.site->name);
  if (p.job.station)
    say("station", fmt::format(phrase::station_serial, p.job.station->type, p.job.station->serial));
  say("opened", show_time(p.job.opened_at) + phrase::utc);
  if (!p.outcome.headline.empty()) out += "\n" + outcome_text(p.outcome, style) + "\n";
  for (const job::Finding& f : p.findings)
    say("finding", fmt::format("{:.0f} % {}", 100 * f.probability, f.label));
  for (std::size_t i = 0; i < p.captures.size(); ++i) {
    const job::Capture& c = p.captures[i];
    if (p.replaced.contains(c.uid)) continue;
    const View view = make_view(document_of(c), false);
    say("capture", fmt::format("{} {}: {}", to_string(view.mark),
                               c.label.empty() ? c.file.filename().string() : c.label, finding_of(view)));
    if (i < p.file_states.size() && !p.file_states[i].empty()) say("", p.file_states[i]);
  }
  for (const job::Mark& m : p.marks)
    say("checklist", m.item + ": " + m.state + (m.note.empty() ? "" : ", " + m.note));
  for (const auto& [asked, answer] : p.answers) say("answer", asked + ": " + answer);
  for (const job::Note& n : p.notes) say("note", show_time(n.at) + " " + n.text);
  return style.unicode ? out : to_ascii(out);
}

}  // namespace linebench::report
