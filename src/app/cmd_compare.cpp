#include <fmt/format.h>

#include <linebench/base/facts.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/diagnose/compare.hpp>
#include <linebench/report/document.hpp>
#include <linebench/report/findings.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "measure_any.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

struct CompareOptions {
  std::string before, after, did;
  bool all = false;
  AnyOptions any;
};

diagnose::Capture only_one(const std::string& file, const AnyOptions& any, const Context& context) {
  auto captures = measure_any(file, any, context);
  if (captures.size() != 1)
    throw bad_usage(fmt::format("compare {}: holds {} captures; give one", file, captures.size()));
  return std::move(captures.front());
}

Exit run_compare(Context& context, const CompareOptions& o) {
  const diagnose::FaultBook book = diagnose::load_fault_book();
  const diagnose::Capture before = only_one(o.before, o.any, context);
  const diagnose::Capture after = only_one(o.after, o.any, context);
  if (context.stop) return Exit::Interrupted;
  const diagnose::Comparison c = diagnose::compare(book, before, after, o.did, site_of(o.any));
  if (c.changes.empty())
    throw unusable(
        fmt::format("{} and {}: no reading in common; compare captures of one kind", o.before, o.after));
  if (!context.json) {
    print_text(report::comparison_table(c, terminal_style(o.all)));
    return Exit::Ok;
  }
  report::Document document;
  document.command = "compare";
  document.input = after.facts;
  document.verdict = "pass";
  document.readings = after.readings;
  nlohmann::json j = report::to_json(document);
  j["before"] = {{"input", facts_to_json(before.facts)}};
  j["comparison"] = report::comparison_to_json(c);
  print_text(json_text(j, 2) + "\n");
  return Exit::Ok;
}

}  // namespace

void add_compare(CLI::App& app, Context& context) {
  auto o = std::make_shared<CompareOptions>();
  CLI::App* c = app.add_subcommand("compare", "What changed between two captures, and whether it is certain");
  c->add_option("BEFORE", o->before, "The capture before")->required();
  c->add_option("AFTER", o->after, "The capture after")->required();
  c->add_option("--did", o->did, "What was done in between, for the record");
  c->add_flag("--all", o->all, "List what stayed the same too");
  add_any_options(*c, o->any);
  c->callback([&context, o] { context.action = [&context, o] { return run_compare(context, *o); }; });
}

}  // namespace linebench::app
