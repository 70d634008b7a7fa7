// jobs compare: what changed from one job to another, place by place.
#include <fmt/format.h>

#include <linebench/base/json_text.hpp>
#include <linebench/check/job_compare.hpp>
#include <linebench/job/export.hpp>
#include <linebench/report/findings.hpp>
#include <linebench/report/format.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "check_paper.hpp"
#include "commands.hpp"
#include "jobs_store.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

using nlohmann::json;

struct CompareOptions {
  std::string before, after;
  bool all = false;
};

std::string station_name(const job::Job& j) {
  return j.station ? fmt::format("{} {}", j.station->type, j.station->serial) : std::string();
}

std::string head_line(const check::Words& words, const char* key, const job::Job& j) {
  return words.text(key, {{"ref", j.ref},
                          {"day", j.opened_at.substr(0, 10)},
                          {"title", j.title},
                          {"result", j.done ? j.outcome : words.text("jobs-open")}});
}

std::string text_of(const check::JobsCompared& c, const job::Job& b, const job::Job& a,
                    const check::Words& words, const report::TerminalStyle& style) {
  std::string out;
  const auto line = [&](const std::string& text, std::size_t indent) {
    out += report::wrapped(report::printable(text), std::max<std::size_t>(style.width, 40), indent, "");
  };
  line(head_line(words, "jobs-before", b), 8);
  if (a.uid != b.uid) line(head_line(words, "jobs-after", a), 8);
  if (station_name(a) != station_name(b))
    line(words.text("jobs-other-station", {{"before", station_name(b)}, {"after", station_name(a)}}), 2);
  for (const check::PlaceCompared& p : c.places) {
    const std::string verdicts = p.before_verdict == p.after_verdict
                                     ? p.after_verdict
                                     : fmt::format("{} -> {}", p.before_verdict, p.after_verdict);
    out += "\n";
    line(fmt::format("{}: {}", p.place, verdicts), 2);
    out += report::changes_text(p.comparison, style);
  }
  if (c.places.empty()) {
    out += "\n";
    line(words.text(a.uid == b.uid ? "jobs-once" : "jobs-nothing-common"), 0);
  }
  for (const std::string& p : c.only_before) line(words.text("jobs-only-before", {{"place", p}}), 2);
  for (const std::string& p : c.only_after) line(words.text("jobs-only-after", {{"place", p}}), 2);
  return style.unicode ? out : report::to_ascii(out);
}

json json_of(const check::JobsCompared& c, const job::Job& b, const job::Job& a) {
  json places = json::array();
  for (const check::PlaceCompared& p : c.places) {
    places.push_back({{"place", p.place},
                      {"verdict", {{"before", p.before_verdict}, {"after", p.after_verdict}}},
                      {"comparison", report::comparison_to_json(p.comparison)}});
  }
  return {{"schema", "linebench/1"},      {"command", "jobs compare"},   {"before", job::job_to_json(b)},
          {"after", job::job_to_json(a)}, {"places", std::move(places)}, {"only_before", c.only_before},
          {"only_after", c.only_after}};
}

Exit run_compare(const Context& context, const CompareOptions& o, const std::string& store_named) {
  const job::Store store = existing_store(store_named);
  const job::Job before = store.job(o.before);
  const job::Job after = o.after.empty() ? before : store.job(o.after);
  if (before.kind != after.kind)
    throw bad_usage(fmt::format("{} is a {} job and {} a {} job; compare two of a kind", before.ref,
                                to_string(before.kind), after.ref, to_string(after.kind)));
  const check::Knowledge k = knowledge_for(after.kind, true);
  const diagnose::FaultBook book = diagnose::load_fault_book();
  const check::JobsCompared c = check::compare_jobs(book, check::load_work(store, before),
                                                    check::load_work(store, after), {k.profile.system});
  if (context.json) {
    print_text(json_text(json_of(c, before, after), 2) + "\n");
  } else {
    print_text(text_of(c, before, after, k.words, terminal_style(o.all)));
  }
  return Exit::Ok;
}

}  // namespace

void add_jobs_compare(CLI::App& jobs, Context& context, const std::string& store) {
  auto o = std::make_shared<CompareOptions>();
  CLI::App* c = jobs.add_subcommand(
      "compare", "What changed from one job to another, or within one, and whether it is certain");
  c->add_option("BEFORE", o->before, "The earlier job: its name, the end of it, or `last`")->required();
  c->add_option("AFTER", o->after,
                "The later one; without it the first captures of the job are compared with its last");
  c->add_flag("--all", o->all, "List what stayed the same too");
  c->callback([&context, o, &store] {
    context.action = [&context, o, &store] { return run_compare(context, *o, store); };
  });
}

}  // namespace linebench::app
