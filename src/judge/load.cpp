// Limit sets from TOML. Strict: what the format does not know is an error.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <initializer_list>
#include <iterator>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/judge/limits.hpp>
#include <map>
#include <set>
#include <system_error>
#include <tuple>

#include "../base/toml.hpp"

namespace linebench::judge {
namespace {

namespace fs = std::filesystem;

bool names_channel(std::string_view id) {
  const std::string_view last = id.substr(id.rfind('.') + 1);
  return last == "left" || last == "right" ||
         (last.starts_with("ch") && last.size() > 2 &&
          last.find_first_not_of("0123456789", 2) == std::string_view::npos);
}

// One file being read: where errors are, and the rules for its keys.
class Reader {
 public:
  explicit Reader(std::string file) : file_(std::move(file)) {}

  [[nodiscard]] Error wrong(const toml::source_region& at, std::string_view why) const {
    return unusable(fmt::format("limit set {}, line {}: {}", file_, at.begin.line, why));
  }

  void only(const toml::table& table, std::initializer_list<std::string_view> known) const {
    for (const auto& [key, node] : table) {
      if (std::find(known.begin(), known.end(), key.str()) == known.end()) {
        throw wrong(key.source(),
                    fmt::format("unknown key \"{}\"; known here: {}", key.str(), fmt::join(known, ", ")));
      }
    }
  }

  [[nodiscard]] std::string text(const toml::table& table, std::string_view key) const {
    const toml::node* node = table.get(key);
    if (node == nullptr) throw wrong(table.source(), fmt::format("\"{}\" is missing; add it", key));
    const auto* value = node->as_string();
    if (value == nullptr || value->get().empty()) {
      throw wrong(node->source(), fmt::format("\"{}\" must be a text in quotes that is not empty", key));
    }
    return value->get();
  }

  [[nodiscard]] std::optional<double> number(const toml::table& table, std::string_view key) const {
    const toml::node* node = table.get(key);
    if (node == nullptr) return std::nullopt;
    const auto value = node->is_number() ? node->value<double>() : std::nullopt;
    if (!value || !std::isfinite(*value))
      throw wrong(node->source(), fmt::format("\"{}\" must be a number", key));
    return value;
  }

  [[nodiscard]] std::pair<std::optional<double>, std::optional<double>> range(
      const toml::table& table) const {
    const auto min = number(table, "min");
    const auto max = number(table, "max");
    if (min && max && *min > *max) {
      throw wrong(table.source(), fmt::format("min {} is above max {}; swap them", *min, *max));
    }
    return {min, max};
  }

  [[nodiscard]] bool truth(const toml::table& table, std::string_view key, bool otherwise) const {
    const toml::node* node = table.get(key);
    if (node == nullptr) return otherwise;
    if (!node->is_boolean()) throw wrong(node->source(), fmt::format("\"{}\" must be true or false", key));
    return node->value_or(otherwise);
  }

  [[nodiscard]] std::vector<std::string> words(const toml::node& node) const {
    std::vector<std::string> out;
    const auto* list = node.as_array();
    if (list != nullptr) {
      for (const auto& item : *list) {
        if (const auto* word = item.as_string()) out.push_back(word->get());
      }
    }
    if (list == nullptr || out.empty() || out.size() != list->size()) {
      throw wrong(node.source(), "\"allowed\" must be a list of words, e.g. [\"none\"]");
    }
    return out;
  }

  [[nodiscard]] std::vector<MaskPoint> mask(const toml::node& node) const {
    const auto* list = node.as_array();
    if (list == nullptr || list->size() < 2) {
      throw wrong(node.source(),
                  "\"mask\" must be a list of at least two corners, e.g. [{hz = 300, min = -3}, ...]");
    }
    std::vector<MaskPoint> out;
    for (const auto& item : *list) {
      const auto* corner = item.as_table();
      if (corner == nullptr)
        throw wrong(item.source(), "a corner of \"mask\" must be a table, e.g. {hz = 300, min = -3}");
      only(*corner, {"hz", "min", "max"});
      const auto hz = number(*corner, "hz");
      if (!hz || *hz <= 0) throw wrong(item.source(), "a corner of \"mask\" needs \"hz\" above 0");
      const auto [min, max] = range(*corner);
      if (!min && !max) throw wrong(item.source(), "a corner of \"mask\" needs \"min\" or \"max\"");
      // Two corners at one frequency make a step; a frequency going down is a slip.
      if (!out.empty() && *hz < out.back().x)
        throw wrong(item.source(), "corners of \"mask\" must go up in \"hz\"");
      out.push_back({*hz, min, max});
    }
    if (out.front().x >= out.back().x)
      throw wrong(node.source(), "\"mask\" spans no band; give corners at two frequencies");
    return out;
  }

  [[nodiscard]] LimitEntry entry(const toml::node& node) const {
    const auto* table = node.as_table();
    if (table == nullptr) throw wrong(node.source(), "\"limit\" must be a table; write [[limit]] above it");
    only(*table, {"id", "min", "max", "allowed", "mask", "under_programme", "unless", "required", "source"});
    LimitEntry e;
    e.id = text(*table, "id");
    const ReadingKind* kind = find_kind(e.id);
    // A channel suffix is refused: a limit that holds for one side only is more likely a slip than a wish.
    if (kind == nullptr || names_channel(e.id)) {
      throw wrong(
          table->get("id")->source(),
          fmt::format("no reading is called \"{}\"; ids are without .left/.right, as in the JSON", e.id));
    }
    e.limit.source = text(*table, "source");
    std::tie(e.limit.min, e.limit.max) = range(*table);
    if (const toml::node* allowed = table->get("allowed")) e.limit.allowed = words(*allowed);
    if (const toml::node* corners = table->get("mask")) e.limit.mask = mask(*corners);
    const int ways = (e.limit.min || e.limit.max ? 1 : 0) + (e.limit.allowed.empty() ? 0 : 1) +
                     (e.limit.mask.empty() ? 0 : 1);
    if (ways != 1) {
      throw wrong(table->source(),
                  fmt::format("\"{}\" needs exactly one of: min and/or max, allowed, mask", e.id));
    }
    e.required = truth(*table, "required", true);
    e.under_programme = truth(*table, "under_programme", false);
    if (e.under_programme && !e.limit.min && !e.limit.max)
      throw wrong(table->get("under_programme")->source(), "\"under_programme\" needs min or max");
    if (table->contains("unless")) {
      e.unless = text(*table, "unless");
      if (find_kind(e.unless) == nullptr || names_channel(e.unless))
        throw wrong(table->get("unless")->source(), fmt::format("no reading is called \"{}\"", e.unless));
    }
    return e;
  }

 private:
  std::string file_;
};

std::vector<fs::path> set_folders() {
  std::vector<fs::path> folders;
  try {
    folders.push_back(store_dir() / "limits");
  } catch (const Error&) {
    // A user without a home folder has no sets of their own; the shipped ones still serve.
  }
  folders.push_back(share_dir() / "signals" / "limits");
  return folders;
}

// By name; the user's own first. A folder of such a name is no set.
std::map<std::string, fs::path> set_files() {
  std::map<std::string, fs::path> files;
  for (const fs::path& folder : set_folders()) {
    std::error_code ec;
    for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
      if (it->path().extension() == ".toml" && !it->is_directory(ec))
        files.try_emplace(it->path().stem().string(), it->path());
    }
  }
  return files;
}

std::string read_text(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (!in)
    throw unusable(
        fmt::format("limit set {}: cannot be read; check the path and its permissions", path.string()));
  return text;
}

}  // namespace

LimitSet parse_limit_set(std::string_view text, const std::string& name, const std::string& file) {
  toml::table root;
  try {
    root = parse_toml(text);
  } catch (const TomlError& e) {
    throw unusable(fmt::format("limit set {}, line {}: {}", file, e.line, e.what));
  }
  const Reader reader(file);
  reader.only(root, {"title", "limit"});
  LimitSet set{name, reader.text(root, "title"), {}};
  const toml::node* limits = root.get("limit");
  const auto* list = limits != nullptr ? limits->as_array() : nullptr;
  if (list == nullptr || list->empty()) {
    throw unusable(fmt::format("limit set {}: no [[limit]] in it; add at least one", file));
  }
  std::set<std::string> seen;
  for (const auto& node : *list) {
    set.entries.push_back(reader.entry(node));
    if (!seen.insert(set.entries.back().id).second) {
      throw reader.wrong(node.source(),
                         fmt::format("\"{}\" is limited twice; keep one", set.entries.back().id));
    }
  }
  return set;
}

std::vector<std::string> limit_set_names() {
  std::vector<std::string> names;
  for (const auto& [name, file] : set_files()) names.push_back(name);
  return names;
}

LimitSetList list_limit_sets() {
  LimitSetList list;
  for (const auto& [name, file] : set_files()) {
    try {
      list.sets.push_back(parse_limit_set(read_text(file), name, file.string()));
    } catch (const Error& e) {
      list.problems.emplace_back(e.what());
    }
  }
  return list;
}

LimitSet load_limit_set(const std::string& name_or_path) {
  std::error_code ec;
  const fs::path path(name_or_path);
  if (name_or_path.find('/') != std::string::npos || path.extension() == ".toml") {
    if (!fs::is_regular_file(path, ec)) {
      throw unusable(fmt::format("limit set {}: {}; check the path", name_or_path,
                                 fs::is_directory(path, ec) ? "is a folder" : "no such file"));
    }
    return parse_limit_set(read_text(path), path.stem().string(), name_or_path);
  }
  for (const fs::path& folder : set_folders()) {
    const fs::path file = folder / (name_or_path + ".toml");
    if (!name_or_path.empty() && fs::is_regular_file(file, ec)) {
      return parse_limit_set(read_text(file), name_or_path, file.string());
    }
  }
  throw bad_usage(
      fmt::format("no limit set is called \"{}\"; there are: {}; or give the path of a .toml file",
                  name_or_path, fmt::join(limit_set_names(), ", ")));
}

}  // namespace linebench::judge
