// limits list, show: the limit sets, what each asks and who says so.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/report/format.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "commands.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

using judge::LimitEntry;
using judge::LimitSet;
using nlohmann::json;

void print_json(const json& j) { print_text(json_text(j, 2) + "\n"); }

Exit list_sets(const Context& context) {
  const judge::LimitSetList list = judge::list_limit_sets();
  for (const std::string& p : list.problems) say("linebench: {}\n", report::printable(p));
  if (context.json) {
    json j = {{"schema", "linebench/1"}, {"command", "limits list"}, {"limit_sets", json::array()}};
    for (const LimitSet& s : list.sets) j["limit_sets"].push_back({{"name", s.name}, {"title", s.title}});
    j["problems"] = list.problems;
    print_json(j);
    return Exit::Ok;
  }
  std::size_t width = 4;
  for (const LimitSet& s : list.sets) width = std::max(width, report::text_width(s.name));
  print("{:{}}  {}\n", "Name", width, "What for");
  for (const LimitSet& s : list.sets) {
    const std::string name = report::printable(s.name);
    print("{}{}  {}\n", name, std::string(width - std::min(width, report::text_width(name)), ' '),
          report::printable(s.title));
  }
  return Exit::Ok;
}

std::string words_of(const LimitEntry& e) {
  Reading r = unmeasurable(e.id, "");
  r.limit = e.limit;
  std::string words = report::show_limit(r);
  const std::string unit = report::show_value([&] {
                             Reading number = r;
                             number.value = 0.0;
                             return number;
                           }())
                               .unit;
  return unit.empty() || !e.limit.allowed.empty() || !e.limit.mask.empty() ? words : words + " " + unit;
}

Exit show_set(const Context& context, const std::string& name) {
  const LimitSet set = judge::load_limit_set(name);
  if (context.json) {
    json j = {
        {"schema", "linebench/1"}, {"command", "limits show"}, {"name", set.name}, {"title", set.title}};
    for (const LimitEntry& e : set.entries) {
      json one = {{"id", e.id}, {"required", e.required}, {"source", e.limit.source}};
      if (e.limit.min) one["min"] = *e.limit.min;
      if (e.limit.max) one["max"] = *e.limit.max;
      if (!e.limit.allowed.empty()) one["allowed"] = e.limit.allowed;
      for (const MaskPoint& p : e.limit.mask) {
        json corner = {{"x", p.x}};
        if (p.min) corner["min"] = *p.min;
        if (p.max) corner["max"] = *p.max;
        one["mask"].push_back(std::move(corner));
      }
      j["limits"].push_back(std::move(one));
    }
    print_json(j);
    return Exit::Ok;
  }
  print("{}: {}\n\n", report::printable(set.name), report::printable(set.title));
  for (const LimitEntry& e : set.entries) {
    print("  {:27} {:24} {}{}\n", label_of(e.id), words_of(e), report::printable(e.limit.source),
          e.required ? " (required)" : "");
  }
  print(
      "\nRequired: the verdict stays open where it could not be measured. What the signal that was sent "
      "cannot show\n"
      "is not asked of it.\n");
  return Exit::Ok;
}

}  // namespace

void add_limits(CLI::App& app, Context& context) {
  CLI::App* command =
      app.add_subcommand("limits", "The limit sets: list them, see what each asks and who says so");
  command->require_subcommand(1);
  command->add_subcommand("list", "All limit sets and what each is for")->callback([&context] {
    context.action = [&context] { return list_sets(context); };
  });
  auto name = std::make_shared<std::string>();
  CLI::App* show = command->add_subcommand("show", "What a limit set asks");
  show->add_option("NAME", *name, "Name of the set, or the path of a .toml file")->required();
  show->callback(
      [&context, name] { context.action = [&context, name] { return show_set(context, *name); }; });
}

}  // namespace linebench::app
