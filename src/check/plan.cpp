#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/version.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/check/plan.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/signals/recipe.hpp>
#include <map>

#include "../diagnose/toml_reader.hpp"

namespace linebench::check {
namespace {

namespace fs = std::filesystem;
using diagnose::TomlReader;

bool flag(const TomlReader& r, const toml::table& t, std::string_view key) {
  const toml::node* node = t.get(key);
  if (node == nullptr) return false;
  if (!node->is_boolean()) throw r.wrong(node->source(), fmt::format("\"{}\" must be true or false", key));
  return node->value_or(false);
}

// A slip in a name is told before the first question, not in the midst of the bench test.
void must_be_known(const TomlReader& r, const toml::table& t, const StationTest& test) {
  const auto named = [&](const char* key, const std::string& name, auto load) {
    if (name.empty()) return;
    try {
      load(name);
    } catch (const Error& e) {
      throw r.wrong(t.get(key)->source(), fmt::format("\"{}\": {}", key, e.what()));
    }
  };
  named("signal", test.signal, [](const std::string& name) {
    if (signals::load_recipe(name).kind->medium != signals::Medium::Audio)
      throw unusable(fmt::format("{} is a test picture; a station is sent a sound", name));
  });
  named("limits", test.limits, [](const std::string& name) { (void)judge::load_limit_set(name); });
}

StationTest read_test(const TomlReader& r, const toml::table& t, bool known) {
  r.only(t, {"key", "title", "signal", "seconds", "limits", "view", "optional", "steps", "cautions", "draw"});
  StationTest test;
  test.key = r.text(t, "key");
  if (test.key.find_first_of(" \t\n\v\f\r.=\"/") != std::string::npos)
    throw r.wrong(t.source(), "\"key\" must be one word without dots");
  test.title = r.text(t, "title");
  test.signal = r.text(t, "signal", false);
  test.limits = r.text(t, "limits", false);
  test.seconds = r.number(t, "seconds", 10);
  if (!(test.seconds > 0 && test.seconds <= 3600))
    throw r.wrong(t.source(), "\"seconds\" must lie in 0 to 3600");
  const std::string view = t.contains("view") ? r.text(t, "view") : "audio";
  if (view != "audio" && view != "video")
    throw r.wrong(t.source(), "\"view\" must be \"audio\" or \"video\"");
  test.video = view == "video";
  test.optional = flag(r, t, "optional");
  if (known) must_be_known(r, t, test);
  if (t.contains("steps")) test.steps = r.words(t, "steps");
  if (t.contains("cautions")) test.cautions = r.words(t, "cautions");
  if (t.contains("draw")) test.draw = r.words(t, "draw");
  if (!test.draw.empty() && test.draw.size() % 2 == 0)
    throw r.wrong(t.source(), "\"draw\" must be box, join, box, ...: odd in number");
  return test;
}

StationPlan read_plan(std::string_view text, const std::string& name, const std::string& file, bool known) {
  const TomlReader r(file);
  const toml::table root = r.parse(text);
  r.only(root, {"title", "types", "test"});
  StationPlan plan;
  plan.name = name;
  plan.text = text;
  plan.title = r.text(root, "title");
  if (root.contains("types")) plan.types = r.words(root, "types");
  const auto* tests = root.get("test") != nullptr ? root.get("test")->as_array() : nullptr;
  if (tests == nullptr || tests->empty()) throw r.wrong(root.source(), "write [[test]] above each test");
  for (const auto& node : *tests) {
    StationTest test = read_test(r, r.table(node, "[[test]]"), known);
    if (std::any_of(plan.tests.begin(), plan.tests.end(),
                    [&](const StationTest& x) { return x.key == test.key; }))
      throw r.wrong(node.source(), fmt::format("two tests have the key \"{}\"", test.key));
    plan.tests.push_back(std::move(test));
  }
  return plan;
}

}  // namespace

StationPlan parse_plan(std::string_view text, const std::string& name, const std::string& file) {
  return read_plan(text, name, file, true);
}

std::optional<StationPlan> kept_plan(const std::string& text, const std::string& name) {
  try {
    return read_plan(text, name, name, false);
  } catch (const Error&) {
    return std::nullopt;
  }
}

std::vector<StationPlan> load_plans(std::vector<std::string>* wrong) {
  std::map<std::string, StationPlan> plans;
  for (const fs::path& folder : {share_dir() / "signals/plans", store_dir() / "plans"}) {
    std::error_code ec;
    for (const auto& e : fs::directory_iterator(folder, ec)) {
      if (e.path().extension() != ".toml") continue;
      const std::string name = e.path().stem().string();
      try {
        plans[name] = parse_plan(capture::load_text(e.path()), name, e.path().string());
      } catch (const Error& error) {
        if (wrong == nullptr) throw;
        wrong->emplace_back(error.what());
      }
    }
  }
  std::vector<StationPlan> out;
  for (auto& [name, plan] : plans) out.push_back(std::move(plan));
  return out;
}

}  // namespace linebench::check
