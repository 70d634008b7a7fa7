#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <linebench/base/json_text.hpp>
#include <linebench/base/text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/diagnose/idle.hpp>
#include <linebench/report/document.hpp>
#include <linebench/report/findings.hpp>
#include <linebench/report/page.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>

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

std::string text_of_file(const std::string& option, const std::string& file) {
  std::error_code failed;
  if (std::filesystem::is_directory(file, failed))
    throw unusable(fmt::format("{}{}: is a folder; name the file", option, file));
  std::ifstream in(file, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (!in)
    throw unusable(fmt::format("{}{}: cannot be read; check the path and its permissions", option, file));
  return text;
}

// A folder stands for the captures in it, by name; one of stills, or without any, for itself.
std::vector<std::string> with_folders_opened(const std::vector<std::string>& files) {
  static const std::set<std::string> known = {".wav", ".w64", ".flac", ".aiff",
                                              ".aif", ".raw", ".yuv",  ".avi"};
  std::vector<std::string> out;
  for (const std::string& file : files) {
    std::error_code failed;
    std::vector<std::string> inside;
    if (std::filesystem::is_directory(file, failed) && !capture::looks_like_frames(file)) {
      for (const auto& entry : std::filesystem::directory_iterator(file, failed)) {
        if (entry.is_regular_file(failed) && known.contains(lower_case(entry.path().extension().string())))
          inside.push_back(entry.path().string());
      }
    }
    std::ranges::sort(inside);
    if (inside.empty()) inside.push_back(file);
    out.insert(out.end(), inside.begin(), inside.end());
  }
  return out;
}

bool same_file(const std::string& a, const std::string& b) {
  std::error_code failed;
  return a == b || std::filesystem::equivalent(a, b, failed);
}

// What a capture is called: its file's name, or where two files share it the path as given.
std::string name_of(const std::string& file, const std::vector<std::string>& files) {
  const auto name = std::filesystem::path(file).filename();
  const auto alike = std::ranges::count_if(
      files, [&](const std::string& f) { return std::filesystem::path(f).filename() == name; });
  return alike > 1 ? file : name.string();
}

// Files named in a path's description lie beside it.
diagnose::SignalPath read_path(DiagnoseOptions& o) {
  diagnose::SignalPath path = diagnose::parse_signal_path(text_of_file("--path ", o.path), o.path);
  for (diagnose::PathPart& part : path.parts) {
    if (part.capture.empty()) continue;
    const std::string file = (std::filesystem::path(o.path).parent_path() / part.capture).string();
    const auto given =
        std::ranges::find_if(o.files, [&](const std::string& f) { return same_file(f, file); });
    part.capture = given != o.files.end() ? *given : file;
    if (given == o.files.end()) o.files.push_back(file);
  }
  for (diagnose::PathPart& part : path.parts) {
    if (!part.capture.empty()) part.capture = name_of(part.capture, o.files);
  }
  return path;
}

void mark_along(const diagnose::SignalPath& path, std::vector<diagnose::Capture>& captures) {
  for (diagnose::Capture& c : captures) {
    const auto at = std::ranges::find(path.parts, c.name, &diagnose::PathPart::capture);
    c.along_path = at == path.parts.end() ? 0 : static_cast<int>(at - path.parts.begin()) + 1;
  }
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

nlohmann::json document_of(const std::vector<diagnose::Capture>& captures, const diagnose::Diagnosis& d,
                           const diagnose::Told& told) {
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
  j["cautions"] = d.cautions;
  j["first_step"] = d.first_step.empty() ? nlohmann::json(nullptr) : nlohmann::json(d.first_step);
  j["gaps"] = report::gaps_to_json(d);
  j["unsettled"] = d.unsettled;
  j["out_of_limits"] = d.out_of_limits;
  j["observed"] = told.observed;
  j["site"] = {{"system", told.site.system}, {"sides", told.site.sides}};
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

nlohmann::json small_document(const char* what, nlohmann::json content) {
  nlohmann::json j = {{"schema", "linebench/1"}, {"command", "diagnose"}};
  j[what] = std::move(content);
  return j;
}

Exit show_book(const Context& context, const diagnose::FaultBook& book) {
  if (context.json) {
    print_text(json_text(small_document("book", report::book_to_json(book)), 2) + "\n");
  } else {
    print_text(book_text(book));
  }
  return Exit::Ok;
}

Exit show_explanation(const Context& context, const diagnose::FaultBook& book,
                      const std::vector<diagnose::Evidence>& evidence, const std::string& fault) {
  const diagnose::Explanation e = diagnose::explain(book, evidence, fault);
  if (context.json) {
    print_text(
        json_text(small_document("explanation", report::explanation_to_json(e, *book.fault(fault))), 2) +
        "\n");
  } else {
    print_text(report::explanation_text(e, *book.fault(fault), book, terminal_style(false)));
  }
  return Exit::Ok;
}

// Captures of the files; what was told a diagnosis that one of them keeps is told again, but for what is told
// anew.
std::vector<diagnose::Capture> measured(DiagnoseOptions& o, const Context& context, diagnose::Told& told) {
  std::vector<diagnose::Capture> captures;
  for (const std::string& file : o.files) {
    auto taken = measure_any(file, o.any, context);
    if (taken.size() == 1) taken.front().name = name_of(file, o.files);
    for (auto& c : taken) captures.push_back(std::move(c));
    if (context.stop) return captures;
    if (std::filesystem::path(file).extension() != ".json") continue;
    const diagnose::Told kept = diagnose::told_from_json(text_of_file("", file), file);
    for (const std::string& seen : kept.observed) {
      const auto sign_of = [](const std::string& t) { return trimmed(t.substr(0, t.find('='))); };
      const bool anew = std::ranges::any_of(
          o.observed, [&](const std::string& now) { return sign_of(now) == sign_of(seen); });
      if (!anew) told.observed.push_back(seen);
    }
    if (told.site.system.empty()) told.site.system = kept.site.system;
    if (told.site.sides.empty()) told.site.sides = kept.site.sides;
  }
  return captures;
}

std::vector<std::string> notes_of(const diagnose::FaultBook& book, const diagnose::Job& job,
                                  const std::vector<diagnose::Evidence>& evidence,
                                  const std::optional<diagnose::Segment>& segment) {
  std::vector<std::string> notes;
  if (segment) notes.push_back(segment->text);
  notes.insert(notes.end(), book.problems.begin(), book.problems.end());
  for (const diagnose::Evidence& e : job.told)
    notes.push_back(fmt::format("Understood: {}: {}{}{}", book.sign(e.sign)->label, e.shown,
                                e.caution.empty() ? "" : ". Caution: ", e.caution));
  for (std::string& q : diagnose::questions(job.captures, job.site)) notes.push_back(std::move(q));
  for (std::string& r : diagnose::remarks(evidence)) notes.push_back(std::move(r));
  return notes;
}

Exit run_diagnose(Context& context, DiagnoseOptions& o) {
  const diagnose::FaultBook book = diagnose::load_fault_book();
  if (o.book) return show_book(context, book);
  diagnose::Told told{o.observed, site_of(o.any)};
  diagnose::Job job;
  job.told = diagnose::parse_observed(told.observed, book);
  o.files = with_folders_opened(o.files);
  std::optional<diagnose::SignalPath> path;
  if (!o.path.empty()) path = read_path(o);
  for (const std::string& file : o.any.lowband) {
    if (std::find(o.files.begin(), o.files.end(), file) == o.files.end()) o.files.push_back(file);
  }
  if (o.files.empty() && job.told.empty() && o.explain.empty() && !path)
    throw bad_usage(
        "diagnose: give captures, or what was seen by --observed (linebench diagnose --book lists it)");
  if (!o.html.empty()) check_page_path(o.html, o.files.empty() ? "" : o.files.front());
  job.captures = measured(o, context, told);
  if (context.stop) return Exit::Interrupted;
  if (path) mark_along(*path, job.captures);
  job.site = told.site;
  job.told = diagnose::parse_observed(told.observed, book);
  if (auto idle = diagnose::nothing_sent(job.captures)) job.told.push_back(std::move(*idle));
  const std::vector<diagnose::Evidence> evidence = diagnose::evidence_of(book, job);
  if (!o.explain.empty()) return show_explanation(context, book, evidence, o.explain);
  diagnose::Options options;
  std::optional<diagnose::Segment> segment;
  if (path) {
    segment = diagnose::locate(book, *path, job.captures, job.site);
    // What left the path's first part was right.
    if (!segment->between.empty() && segment->between.front() != path->parts.front().name)
      options.barred.insert("source");
  }
  const diagnose::Diagnosis d = diagnose::diagnose(book, job, options);
  if (evidence.empty() && d.silent.empty() && !path)
    throw unusable(
        fmt::format("{}: nothing in it bears on a fault: no reading the fault book knows was measured",
                    fmt::join(o.files, ", ")));
  const std::vector<std::string> notes = notes_of(book, job, evidence, segment);
  if (!o.html.empty()) {
    capture::store_text(o.html, page_of(job.captures, d, notes));
    say("report written to {}\n", o.html);
  }
  if (context.json) {
    nlohmann::json j = document_of(job.captures, d, told);
    if (!notes.empty()) j["notes"] = notes;
    print_text(json_text(j, 2) + "\n");
  } else {
    print_text(report::diagnosis_table(d, notes, terminal_style(false)));
  }
  return report::diagnosis_verdict(d) == "pass" ? Exit::Ok : Exit::OutOfLimits;
}

}  // namespace

void add_diagnose(CLI::App& app, Context& context) {
  auto o = std::make_shared<DiagnoseOptions>();
  CLI::App* c =
      app.add_subcommand("diagnose", "From captures to ranked faults: evidence, next test, cure, cautions");
  c->add_option(
      "FILE", o->files,
      "Captures of one job: audio, composite samples, frames, a folder of them, or documents of measure "
      "--json");
  c->add_option("--observed", o->observed,
                "Something seen or metered, e.g. \"supply-loaded=11.2 V of 12\"; once for each")
      ->option_text("TEXT")
      ->take_all()
      ->allow_extra_args(false);
  c->add_option("--lowband", o->any.lowband,
                "A composite signal that a sound card took in, e.g. through a pad; once for each")
      ->option_text("FILE")
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
