#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/report/document.hpp>
#include <linebench/report/findings.hpp>
#include <linebench/report/page.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "measure_any.hpp"
#include "say.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

struct DiagnoseOptions {
  std::vector<std::string> files, observed;
  std::string explain, html, path;
  bool book = false;
  AnyOptions any;
};

// Files named in a path's description lie beside it.
diagnose::SignalPath read_path(DiagnoseOptions& o) {
  std::ifstream in(o.path, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (!in)
    throw unusable(fmt::format("--path {}: cannot be read; check the path and its permissions", o.path));
  diagnose::SignalPath path = diagnose::parse_signal_path(text, o.path);
  for (diagnose::PathPart& part : path.parts) {
    if (part.capture.empty()) continue;
    const std::filesystem::path file = std::filesystem::path(o.path).parent_path() / part.capture;
    if (o.files.empty() || std::none_of(o.files.begin(), o.files.end(), [&](const std::string& f) {
          return std::filesystem::path(f).filename() == file.filename();
        })) {
      o.files.push_back(file.string());
    }
    part.capture = file.filename().string();
  }
  return path;
}

std::string book_text(const diagnose::FaultBook& book) {
  std::string out;
  for (const diagnose::Fault& f : book.faults) out += fmt::format("{:<36} {}\n", f.id, f.label);
  out += "\nWhat can be observed (--observed):\n";
  for (const diagnose::Sign& s : book.signs) {
    if (s.trial) out += fmt::format("  {}\n      {}\n", notation_of(s), s.trial->how);
  }
  return out;
}

nlohmann::json document_of(const std::vector<diagnose::Capture>& captures, const diagnose::Diagnosis& d) {
  report::Document document;
  document.command = "diagnose";
  document.verdict = report::diagnosis_verdict(d);
  if (!captures.empty()) document.input = captures.front().facts;
  for (const diagnose::Capture& c : captures) {
    for (const Reading& r : c.readings) {
      if (captures.size() == 1) document.readings.push_back(r);
    }
  }
  nlohmann::json j = report::to_json(document);
  if (captures.size() > 1) {
    j["captures"] = nlohmann::json::array();
    for (const diagnose::Capture& c : captures) {
      report::Document one;
      one.command = "diagnose";
      one.input = c.facts;
      one.verdict = "incomplete";
      one.readings = c.readings;
      nlohmann::json k = report::to_json(one);
      k.erase("findings");
      k.erase("verdict");
      k["title"] = c.name;
      j["captures"].push_back(std::move(k));
    }
  }
  j["findings"] = report::findings_to_json(d);
  j["nothing_wrong"] = d.nothing_wrong;
  j["unlisted"] = d.unlisted;
  j["silent"] = d.silent;
  j["next_test"] = d.next_test ? report::next_test_to_json(*d.next_test) : nlohmann::json(nullptr);
  return j;
}

std::string page_of(const std::vector<diagnose::Capture>& captures, const diagnose::Diagnosis& d,
                    const std::vector<std::string>& notes) {
  report::PageHead head;
  head.title = "Diagnosis";
  head.made_at = now_utc();
  head.lead = report::diagnosis_section(d, notes);
  std::vector<report::PageSection> sections;
  for (const diagnose::Capture& c : captures) {
    report::PageSection s;
    s.document.command = "diagnose";
    s.document.input = c.facts;
    s.document.verdict = "pass";
    s.document.readings = c.readings;
    s.title = c.name;
    sections.push_back(std::move(s));
  }
  return report::html_page(head, sections);
}

Exit run_diagnose(Context& context, DiagnoseOptions& o) {
  const diagnose::FaultBook book = diagnose::load_fault_book();
  const auto style = terminal_style(false);
  if (o.book) {
    print_text(book_text(book));
    return Exit::Ok;
  }
  std::vector<diagnose::Evidence> observed;
  for (const std::string& text : o.observed) observed.push_back(diagnose::parse_observed(text, book));
  std::optional<diagnose::SignalPath> path;
  if (!o.path.empty()) path = read_path(o);
  for (const std::string& file : o.any.lowband) {
    if (std::find(o.files.begin(), o.files.end(), file) == o.files.end()) o.files.push_back(file);
  }
  if (o.files.empty() && observed.empty() && o.explain.empty())
    throw bad_usage(
        "diagnose: give captures, or what was seen by --observed (linebench diagnose --book lists it)");
  if (!o.html.empty()) check_page_path(o.html, o.files.empty() ? "" : o.files.front());

  std::vector<diagnose::Capture> captures;
  for (const std::string& file : o.files) {
    for (auto& c : measure_any(file, o.any, context)) captures.push_back(std::move(c));
    if (context.stop) return Exit::Interrupted;
  }
  const diagnose::Site site = site_of(o.any);
  std::vector<diagnose::Evidence> evidence = diagnose::gather(book, captures, site);
  evidence.insert(evidence.end(), observed.begin(), observed.end());
  std::vector<std::string> silent;
  for (const diagnose::Capture& c : captures)
    if (diagnose::nothing_came_in(c)) silent.push_back(c.name);
  if (evidence.empty() && o.explain.empty() && silent.empty())
    throw unusable(
        fmt::format("{}: nothing in it bears on a fault: no reading the fault book knows was measured",
                    fmt::join(o.files, ", ")));

  std::vector<std::string> notes = book.problems;
  if (!o.explain.empty()) {
    const diagnose::Explanation e = diagnose::explain(book, evidence, o.explain);
    print_text(report::explanation_text(e, *book.fault(o.explain), book, style));
    return Exit::Ok;
  }
  diagnose::Diagnosis d = diagnose::diagnose(book, evidence);
  d.silent = std::move(silent);
  for (std::string& remark : diagnose::remarks(evidence)) notes.push_back(std::move(remark));
  if (path) notes.insert(notes.begin(), diagnose::locate(book, *path, captures, site).text);
  if (!o.html.empty()) {
    capture::store_text(o.html, page_of(captures, d, notes));
    say("report written to {}\n", o.html);
  }
  if (context.json) {
    nlohmann::json j = document_of(captures, d);
    if (!notes.empty()) j["notes"] = notes;
    print_text(json_text(j, 2) + "\n");
  } else {
    print_text(report::diagnosis_table(d, notes, style));
  }
  return report::diagnosis_verdict(d) == "pass" ? Exit::Ok : Exit::OutOfLimits;
}

}  // namespace

void add_diagnose(CLI::App& app, Context& context) {
  auto o = std::make_shared<DiagnoseOptions>();
  CLI::App* c =
      app.add_subcommand("diagnose", "From captures to ranked faults: evidence, next test, cure, cautions");
  c->add_option("FILE", o->files,
                "Captures of one job: audio, composite samples, or documents of measure --json");
  c->add_option("--observed", o->observed, "Something seen or metered, e.g. \"supply-loaded=11.2 V of 12\"")
      ->take_all()
      ->allow_extra_args(false);
  c->add_option("--lowband", o->any.lowband,
                "A composite signal that a sound card took in, e.g. through a pad")
      ->take_all()
      ->allow_extra_args(false);
  c->add_option("--path", o->path,
                "A signal path (TOML) with captures along it: names the segment the fault comes in at");
  c->add_option("--explain", o->explain, "The whole chain for one fault of the book");
  c->add_option("--html", o->html, "Write the report as one self-contained page to this file");
  c->add_flag("--book", o->book, "List the fault book and what can be observed");
  add_any_options(*c, o->any);
  c->callback([&context, o] { context.action = [&context, o] { return run_diagnose(context, *o); }; });
}

}  // namespace linebench::app
