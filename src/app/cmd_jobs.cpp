// jobs and report: what was done before, its paper, and the store as a file.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/job/export.hpp>
#include <linebench/job/store.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/job_page.hpp>
#include <linebench/report/label.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "check_paper.hpp"
#include "commands.hpp"
#include "jobs_store.hpp"
#include "say.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using job::Store;
using nlohmann::json;

struct JobsOptions {
  std::string store, job;
  std::vector<std::string> jobs;
  std::string kind, title, complaint, site, type, serial;
  job::Query query;
  std::string state, text, out, outcome, file, size = "62x29";
  bool replace = false, off = false, all = false;
};

void print_document(const std::string& command, json j) {
  j["schema"] = "linebench/1";
  j["command"] = command;
  print_text(json_text(j, 2) + "\n");
}

void check_new_file(const fs::path& file, bool replace) {
  std::error_code ignored;
  if (!replace && fs::exists(file, ignored)) {
    throw bad_usage(fmt::format("{} is there already; give another name, or --replace", file.string()));
  }
}

struct Columns {
  std::size_t ref = 0, kind = 0, result = 0;
};

std::string result_of(const job::Job& j) { return report::printable(j.done ? j.outcome : "open"); }

Columns columns_for(const std::vector<job::Job>& jobs) {
  constexpr std::size_t widest_result = 22;  // longer ones are typed by hand; the rest of them is left out
  Columns c;
  for (const job::Job& j : jobs) {
    c.ref = std::max(c.ref, j.ref.size());
    c.kind = std::max(c.kind, job::to_string(j.kind).size());
    c.result = std::max(c.result, std::min(widest_result, report::text_width(result_of(j))));
  }
  return c;
}

std::string padded(std::string text, std::size_t width) {
  while (report::text_width(text) > width) {
    do {
      text.pop_back();
    } while (!text.empty() && (static_cast<unsigned char>(text.back()) & 0xC0) == 0x80);
  }
  return text + std::string(width - report::text_width(text) + 2, ' ');
}

std::string job_line(const job::Job& j, const Columns& c, std::size_t width) {
  std::string text = j.title;
  const auto add = [&](const std::string& more) {
    // A station's job is called as its station is.
    if (!more.empty() && text.find(more) == std::string::npos)
      text += (text.empty() ? "" : " \u00b7 ") + more;
  };
  if (j.site) add(j.site->name);
  if (j.station) add(fmt::format("{} {}", j.station->type, j.station->serial));
  const std::string first = padded(j.ref, c.ref) + padded(std::string(job::to_string(j.kind)), c.kind) +
                            padded(result_of(j), c.result);
  return report::wrapped(report::printable(text), width, report::text_width(first), first);
}

Exit list(Context& context, JobsOptions& o) {
  if (!o.kind.empty()) o.query.kind = job::job_kind(o.kind);
  if (o.state == "open") o.query.done = false;
  if (o.state == "done") o.query.done = true;
  std::error_code ec;
  // Before the first job there is no store, and looking makes none.
  const bool none_yet = o.store.empty() && !fs::exists(store_file(o.store), ec);
  const auto jobs = none_yet ? std::vector<job::Job>{} : existing_store(o.store).jobs(o.query);
  if (context.json) {
    json out = json::array();
    for (const auto& j : jobs) out.push_back(job::job_to_json(j));
    print_document("jobs list", {{"jobs", std::move(out)}});
    return Exit::Ok;
  }
  const auto style = terminal_style(false);
  std::string text = jobs.empty()
                         ? "no job fits; `check site`, `check station` and `check feed` open one\n"
                         : fmt::format("{} job{}, newest first\n", jobs.size(), jobs.size() == 1 ? "" : "s");
  const Columns columns = columns_for(jobs);
  for (const auto& j : jobs) text += job_line(j, columns, std::max<std::size_t>(style.width, 60));
  print_text(style.unicode ? text : report::to_ascii(text));
  return Exit::Ok;
}

Exit show_job(Context& context, const JobsOptions& o) {
  const Store store = existing_store(o.store);
  const job::Job j = store.job(o.job);
  if (context.json) {
    print_document("jobs show", {{"job", job::whole_job_to_json(store, j)}});
  } else {
    print_text(report::job_text(paper_of(store, j), terminal_style(o.all)));
  }
  return Exit::Ok;
}

Exit write_report(Context& context, const JobsOptions& o) {
  const Store store = existing_store(o.store);
  const job::Job j = store.job(o.job);
  check_new_file(o.out, o.replace);
  report::JobPaper paper = paper_of(store, j);
  add_traces(paper, context);
  paper.all = o.all;
  capture::store_text(o.out, report::job_page(paper));
  if (context.json) {
    print_document("report", {{"job", job::job_to_json(j)}, {"report", o.out}});
  } else {
    print_text(fmt::format("report of {}: {}\n", j.ref, o.out));
  }
  return Exit::Ok;
}

Exit export_jobs(const JobsOptions& o) {
  const Store store = existing_store(o.store);
  std::vector<job::Job> jobs;
  for (const std::string& ref : o.jobs) jobs.push_back(store.job(ref));
  if (jobs.empty()) jobs = store.jobs();
  const std::string ending = fs::path(o.out).extension().string();
  if (ending != ".json" && ending != ".csv") {
    throw bad_usage(
        fmt::format("--out {}: the name must end in .json (all of a job) or .csv (its readings)", o.out));
  }
  check_new_file(o.out, o.replace);
  if (ending == ".csv") {
    capture::store_text(o.out, job::readings_csv(store, jobs));
  } else {
    json all = json::array();
    for (const auto& j : jobs) all.push_back(job::whole_job_to_json(store, j));
    const json document = {{"schema", "linebench/1"}, {"command", "jobs export"}, {"jobs", std::move(all)}};
    capture::store_text(o.out, json_text(document, 1) + "\n");
  }
  print_text(fmt::format("{} job{} written to {}\n", jobs.size(), jobs.size() == 1 ? "" : "s", o.out));
  return Exit::Ok;
}

Exit new_job(Context& context, const JobsOptions& o) {
  Store store(store_file(o.store));
  if (o.type.empty() != o.serial.empty()) {
    throw bad_usage("a station needs both --type and --serial, as its plate says");
  }
  const job::Job j = store.open_job({job::job_kind(o.kind), o.title, o.complaint, o.site, o.type, o.serial});
  if (context.json) {
    print_document("jobs new", {{"job", job::job_to_json(j)}});
  } else {
    print_text(fmt::format("{}\n", j.ref));
  }
  return Exit::Ok;
}

Exit merge(Context& context, const JobsOptions& o) {
  Store store(store_file(o.store));
  const job::Merged m = store.merge(o.file);
  if (context.json) {
    nlohmann::json reopened = nlohmann::json::array();
    for (const job::Job& j : m.reopened) reopened.push_back(j.ref);
    print_document("jobs import", {{"jobs", m.jobs},
                                   {"updated", m.updated},
                                   {"reopened", reopened},
                                   {"captures", m.captures},
                                   {"sites", m.sites},
                                   {"stations", m.stations}});
  } else {
    print_text(fmt::format("{} new job{}, {} brought up to date, {} capture{}, {} site{}, {} station{}\n",
                           m.jobs, m.jobs == 1 ? "" : "s", m.updated, m.captures, m.captures == 1 ? "" : "s",
                           m.sites, m.sites == 1 ? "" : "s", m.stations, m.stations == 1 ? "" : "s"));
    for (const job::Job& j : m.reopened)
      print_text(fmt::format(
          "{} is open again: it was finished with other answers than now stand in it; go on with: linebench "
          "check {} --job {}\n",
          j.ref, job::to_string(j.kind), j.ref));
  }
  return Exit::Ok;
}

using Options = std::shared_ptr<JobsOptions>;

// A subcommand of `jobs` whose action may fill `context` with what to do.
template <typename Action>
CLI::App* command(CLI::App& parent, Context& context, const Options& o, const char* name, const char* help,
                  Action action) {
  CLI::App* c = parent.add_subcommand(name, help);
  c->callback(
      [&context, o, action] { context.action = [&context, o, action] { return action(context, *o); }; });
  return c;
}

void add_job_argument(CLI::App& c, JobsOptions& o) {
  c.add_option("JOB", o.job, "Its name, the end of it, or `last`")->required();
}

void add_changes(CLI::App& jobs, Context& context, const Options& o) {
  CLI::App* c = command(jobs, context, o, "new", "Open a job", new_job);
  c->add_option("KIND", o->kind, "site, station or feed")->required();
  c->add_option("--title", o->title, "One line for a person")->required();
  c->add_option("--complaint", o->complaint, "As it was reported");
  c->add_option("--site", o->site, "Name of the site");
  c->add_option("--type", o->type, "Type of the station");
  c->add_option("--serial", o->serial, "Serial number of the station");

  c = command(jobs, context, o, "note", "Add a note to a job", [](Context&, const JobsOptions& p) {
    Store store = existing_store(p.store);
    store.note(store.job(p.job), p.text);
    return Exit::Ok;
  });
  add_job_argument(*c, *o);
  c->add_option("TEXT", o->text, "The note")->required();

  c = command(jobs, context, o, "finish", "Close a job with its result", [](Context&, const JobsOptions& p) {
    Store store = existing_store(p.store);
    job::Job j = store.job(p.job);
    const report::JobPaper paper = paper_of(store, j);
    const bool fails = std::any_of(paper.captures.begin(), paper.captures.end(), [&](const job::Capture& x) {
      return x.verdict == "fail" && !paper.replaced.contains(x.uid);
    });
    // A label goes with the station; it must not say of it what its readings do not.
    j.done = true;
    j.outcome = p.outcome;
    if (fails && check::mark_of_result(j, knowledge_for(j.kind, true).words) == report::Mark::Pass)
      throw bad_usage(
          fmt::format("job {} has readings out of their limits, so it cannot be closed as '{}'; say in words "
                      "of your own why it "
                      "is closed all the same, or go on with: linebench check {} --job {}{}",
                      j.ref, p.outcome, to_string(j.kind), j.ref, store_option(p.store)));
    store.finish(j, p.outcome);
    return Exit::Ok;
  });
  add_job_argument(*c, *o);
  c->add_option("RESULT", o->outcome, "pass, fail, repair, connect, ... in a word or two")->required();

  c = command(jobs, context, o, "reopen", "Open a closed job again", [](Context&, const JobsOptions& p) {
    Store store = existing_store(p.store);
    store.reopen(store.job(p.job));
    return Exit::Ok;
  });
  add_job_argument(*c, *o);

  c = command(
      jobs, context, o, "reference", "Take a job's station as a good one to compare others with",
      [](Context&, const JobsOptions& p) {
        Store store = existing_store(p.store);
        const job::Job j = store.job(p.job);
        if (!j.station) throw bad_usage(fmt::format("job {} is not about a station", j.ref));
        if (!p.off && paper_of(store, j).outcome.mark != report::Mark::Pass)
          throw bad_usage(
              fmt::format("job {} has not passed ({}), so its station is no good one to compare others with",
                          j.ref, result_of(j)));
        store.set_reference(j, !p.off);
        say("{}", fmt::format(fmt::runtime(p.off ? "{} {} is no longer compared with\n"
                                                 : "{} {} is a good unit of its type from now on\n"),
                              report::printable(j.station->type), report::printable(j.station->serial)));
        return Exit::Ok;
      });
  add_job_argument(*c, *o);
  c->add_flag("--off", o->off, "No longer");
}

Exit write_label(Context& context, const JobsOptions& o) {
  const Store store = existing_store(o.store);
  const job::Job j = store.job(o.job);
  if (!j.station)
    throw bad_usage(
        fmt::format("job {} is not about a station; a label goes on one. Its paper: linebench report {} "
                    "--out {}.html{}",
                    j.ref, j.ref, j.ref, store_option(o.store)));
  const auto cross = o.size.find('x');
  report::LabelSize size;
  char* end = nullptr;
  size.width_mm = std::strtod(o.size.c_str(), &end);
  size.height_mm = cross == std::string::npos ? 0 : std::strtod(o.size.c_str() + cross + 1, nullptr);
  if (!(size.width_mm >= 20 && size.width_mm <= 300 && size.height_mm >= 10 && size.height_mm <= 300))
    throw bad_usage(fmt::format("--size {}: give width x height in mm, such as 62x29", o.size));
  check_new_file(o.out, o.replace);
  capture::store_text(o.out, report::label_page(j, size));
  if (context.json) {
    print_document("jobs label", {{"job", job::job_to_json(j)}, {"label", o.out}});
  } else {
    print_text(fmt::format("label of {}: {}\n", j.ref, o.out));
  }
  return Exit::Ok;
}

void add_files(CLI::App& jobs, Context& context, const Options& o) {
  CLI::App* c = command(jobs, context, o, "export", "Jobs as JSON, or their readings as CSV",
                        [](Context&, const JobsOptions& p) { return export_jobs(p); });
  c->add_option("JOB", o->jobs, "Which; without any, all");
  c->add_option("--out", o->out, "File, .json or .csv")->required();
  c->add_flag("--replace", o->replace, "Replace the file if it is there");

  c = command(jobs, context, o, "label", "A label to print for a station that was tested", write_label);
  add_job_argument(*c, *o);
  c->add_option("--out", o->out, "The page, .html")->required();
  c->add_option("--size", o->size, "Width x height in mm")->capture_default_str();
  c->add_flag("--replace", o->replace, "Replace the page if it is there");

  c = command(jobs, context, o, "copy", "The whole store as one file", [](Context&, const JobsOptions& p) {
    existing_store(p.store).copy_to(p.out);
    print_text(fmt::format("the job store was copied to {}\n", p.out));
    return Exit::Ok;
  });
  c->add_option("--out", o->out, "The new file")->required();

  c = command(jobs, context, o, "import", "Take in what another laptop's store has and this one has not",
              merge);
  c->add_option("FILE", o->file, "The other store, or a copy of it")->required();
}

}  // namespace

void add_jobs(CLI::App& app, Context& context) {
  auto o = std::make_shared<JobsOptions>();
  CLI::App* jobs = app.add_subcommand("jobs", "Stored work: find it, show it, take it elsewhere");
  jobs->require_subcommand(1);
  jobs->fallthrough();
  jobs->add_option("--store", o->store, "The job store; without it this user's own");

  CLI::App* c = command(*jobs, context, o, "list", "Jobs, newest first", list);
  c->add_option("--text", o->query.text, "In title, complaint, result or a note");
  c->add_option("--site", o->query.site, "In the site's name");
  c->add_option("--serial", o->query.serial, "In the station's serial number");
  c->add_option("--fault", o->query.fault, "In a finding, or in a reading that was out of its limit");
  c->add_option("--since", o->query.since, "Opened on or after this day, 2026-11-01")->check(wrong_day);
  c->add_option("--until", o->query.until, "Opened on or before this day")->check(wrong_day);
  c->add_option("--kind", o->kind, "site, station or feed");
  c->add_option("--state", o->state, "open or done")->check(CLI::IsMember({"open", "done"}));

  c = command(*jobs, context, o, "show", "One job", show_job);
  add_job_argument(*c, *o);
  add_jobs_compare(*jobs, context, o->store);
  add_changes(*jobs, context, o);
  add_files(*jobs, context, o);
}

void add_report(CLI::App& app, Context& context) {
  auto o = std::make_shared<JobsOptions>();
  CLI::App* c = command(app, context, o, "report", "A job's paper: one page to print or send", write_report);
  add_job_argument(*c, *o);
  c->add_option("--out", o->out, "The page, .html")->required();
  c->add_option("--store", o->store, "The job store; without it this user's own");
  c->add_flag("--replace", o->replace, "Replace the page if it is there");
  c->add_flag("--all", o->all, "Every reading and plot of every capture");
}

}  // namespace linebench::app
