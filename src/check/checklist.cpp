#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/version.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/check/checklist.hpp>

#include "../diagnose/toml_reader.hpp"

namespace linebench::check {

namespace fs = std::filesystem;

Checklist parse_checklist(std::string_view text, const std::string& file) {
  const diagnose::TomlReader r(file);
  const toml::table root = r.parse(text);
  r.only(root, {"item"});
  Checklist list;
  const auto* items = root.get("item") != nullptr ? root.get("item")->as_array() : nullptr;
  if (items == nullptr) throw r.wrong(root.source(), "write [[item]] above each item");
  for (const auto& node : *items) {
    const toml::table& t = r.table(node, "[[item]]");
    r.only(t, {"key", "when", "text", "caution"});
    ChecklistItem i{r.text(t, "key"), r.text(t, "when"), r.text(t, "text"), r.text(t, "caution", false)};
    if (i.key.find_first_of(" \t\n\v\f\r=,") != std::string::npos)
      throw r.wrong(node.source(), "\"key\" must be one word without = and commas");
    if (i.when != "before" && i.when != "after")
      throw r.wrong(node.source(), "\"when\" must be \"before\" or \"after\"");
    if (std::any_of(list.begin(), list.end(), [&](const ChecklistItem& x) { return x.key == i.key; }))
      throw r.wrong(node.source(), fmt::format("two items have the key \"{}\"", i.key));
    list.push_back(std::move(i));
  }
  return list;
}

Checklist load_checklist(job::JobKind kind, std::vector<std::string>* wrong) {
  const std::string name = std::string(job::to_string(kind)) + ".toml";
  const auto load = [](const fs::path& file) {
    return parse_checklist(capture::load_text(file), file.string());
  };
  std::error_code ec;
  if (const fs::path own = store_dir() / "checklists" / name; fs::exists(own, ec)) {
    try {
      return load(own);
    } catch (const Error& error) {
      if (wrong == nullptr) throw;
      wrong->emplace_back(error.what());
    }
  }
  return load(share_dir() / "signals/checklists" / name);
}

void ask_checklist(Script& script, const Checklist& list, const std::string& when) {
  Ask ask{.key = "checklist." + when};
  for (const ChecklistItem& i : list) {
    if (i.when != when) continue;
    ask.choices.push_back({i.key, i.text});
    if (!i.caution.empty()) ask.cautions.push_back(i.caution);
  }
  if (!ask.choices.empty()) (void)script.tick(std::move(ask));
}

std::vector<job::Mark> marks_of(const Checklist& list, const std::string& answer) {
  std::vector<job::Mark> marks;
  for (const auto& [key, state] : ticks(answer)) {
    for (const ChecklistItem& i : list) {
      if (i.key == key) marks.push_back({i.text, state, {}, {}});
    }
  }
  return marks;
}

}  // namespace linebench::check
