// Reads a recipe file and checks it against the table of kinds. The only place of this part that knows TOML.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <linebench/base/error.hpp>
#include <linebench/signals/recipe.hpp>

#include "../base/toml.hpp"
#include "near_names.hpp"

namespace linebench::signals {
namespace {

namespace fs = std::filesystem;

/// Says what is wrong, always in the same order: file, line, what, what to do.
class Complaint {
 public:
  explicit Complaint(const fs::path& file) : file_(file.string()) {}
  [[nodiscard]] Error operator()(const toml::node& at, const std::string& what) const {
    return line(at.source().begin.line, what);
  }
  [[nodiscard]] Error line(toml::source_index line, const std::string& what) const {
    return unusable(line > 0 ? fmt::format("recipe {}, line {}: {}", file_, line, what)
                             : fmt::format("recipe {}: {}", file_, what));
  }

 private:
  std::string file_;
};

std::string_view type_name(const ParameterValue& v) {
  constexpr std::string_view names[] = {"a number", "true or false", "a text in quotes", "a list of numbers",
                                        "a list of texts"};
  return names[v.index()];
}

template <typename T>
std::optional<std::vector<T>> list_of(const toml::array& array) {
  std::vector<T> out;
  for (const toml::node& n : array) {
    const auto v = n.value<T>();
    if (!v || (std::is_same_v<T, double> && !n.is_number())) return std::nullopt;
    out.push_back(*v);
  }
  return out;
}

/// The node's value as the type of the specimen; nothing when it has another type.
std::optional<ParameterValue> convert(const toml::node& node, const ParameterValue& specimen) {
  if (std::holds_alternative<double>(specimen) && node.is_number()) return node.value<double>();
  if (std::holds_alternative<bool>(specimen) && node.is_boolean()) return node.value<bool>();
  if (std::holds_alternative<std::string>(specimen) && node.is_string()) return node.value<std::string>();
  if (const toml::array* array = node.as_array()) {
    if (std::holds_alternative<std::vector<double>>(specimen)) return list_of<double>(*array);
    if (std::holds_alternative<std::vector<std::string>>(specimen)) return list_of<std::string>(*array);
  }
  return std::nullopt;
}

std::string unit_suffix(std::string_view unit) { return unit.empty() ? "" : fmt::format(" {}", unit); }

void check_range(double v, const ParameterSpec& spec, const toml::node& at, const Complaint& complain) {
  const bool in_range = v >= spec.min && v <= spec.max && std::isfinite(v);
  if (in_range && spec.whole && v != std::floor(v)) {
    throw complain(at, fmt::format("'{}' is {}, but must be a whole number", spec.key, v));
  }
  if (in_range) return;
  throw complain(at, fmt::format("'{}' is {}, but must be a number from {} to {}{}", spec.key, v, spec.min,
                                 spec.max, unit_suffix(spec.unit)));
}

ParameterValue read_parameter(const toml::node& node, const ParameterSpec& spec, const Complaint& complain) {
  std::optional<ParameterValue> value = convert(node, spec.type_of);
  if (!value)
    throw complain(node,
                   fmt::format("'{}' ({}) must be {}", spec.key, spec.meaning, type_name(spec.type_of)));
  if (const auto* number = std::get_if<double>(&*value)) check_range(*number, spec, node, complain);
  if (const auto* list = std::get_if<std::vector<double>>(&*value)) {
    for (const double v : *list) check_range(v, spec, node, complain);
  }
  if (const auto* text = std::get_if<std::string>(&*value)) {
    if (!spec.allowed.empty() && std::ranges::find(spec.allowed, *text) == spec.allowed.end()) {
      throw complain(node, fmt::format("'{}' is '{}', but must be one of {}", spec.key, *text,
                                       comma_list({spec.allowed.begin(), spec.allowed.end()})));
    }
  }
  return std::move(*value);
}

std::string hint(std::string_view key, const std::vector<std::string>& known) {
  const auto near = near_names(key, known);
  return near.empty() ? fmt::format("known here: {}", comma_list(known))
                      : fmt::format("did you mean {}?", comma_list(near));
}

const std::vector<std::string>& top_keys() {
  static const std::vector<std::string> keys = {"name", "title", "purpose", "source", "kind", "parameters"};
  return keys;
}

std::string read_text(const toml::table& table, const std::string& key, const Complaint& complain) {
  const toml::node* node = table.get(key);
  if (node == nullptr) throw complain(table, fmt::format("'{}' is missing; add {} = \"...\"", key, key));
  auto text = node->value<std::string>();
  if (!node->is_string() || text->empty())
    throw complain(*node, fmt::format("'{}' must be a text in quotes, not empty", key));
  return *text;
}

void check_name(const std::string& name, const fs::path& file, const toml::node& at,
                const Complaint& complain) {
  const bool plain = std::ranges::all_of(
      name, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '.'; });
  if (!plain) throw complain(at, fmt::format("name '{}': use small letters, digits and '-' only", name));
  if (name != file.stem().string()) {
    throw complain(at, fmt::format("name '{}' is not the file's; write name = \"{}\" or rename the file",
                                   name, file.stem().string()));
  }
}

const SignalKind& read_kind(const toml::table& table, const Complaint& complain) {
  const std::string name = read_text(table, "kind", complain);
  if (const SignalKind* kind = find_signal_kind(name)) return *kind;
  std::vector<std::string> known;
  for (const SignalKind* k : all_kinds()) known.emplace_back(k->name);
  throw complain(*table.get("kind"), fmt::format("kind '{}' is unknown; {}", name, hint(name, known)));
}

void read_parameters(Recipe& recipe, const toml::table& table, const toml::table& top,
                     const Complaint& complain) {
  std::vector<std::string> known;
  for (const ParameterSpec& spec : recipe.kind->parameters) known.emplace_back(spec.key);
  for (const auto& [key, node] : table) {
    const ParameterSpec* spec = recipe.kind->find(key.str());
    if (spec == nullptr) {
      throw complain(node, fmt::format("a signal of kind '{}' has no parameter '{}'; {}", recipe.kind->name,
                                       key.str(), hint(key.str(), known)));
    }
    recipe.parameters.emplace(std::string(key.str()), read_parameter(node, *spec, complain));
  }
  for (const ParameterSpec& spec : recipe.kind->parameters) {
    if (recipe.has(spec.key) || spec.optional) continue;
    if (!spec.fallback) {
      throw complain(
          table.empty() ? static_cast<const toml::node&>(top) : table,
          fmt::format("parameter '{}' ({}) is missing; add it under [parameters]", spec.key, spec.meaning));
    }
    recipe.parameters.emplace(std::string(spec.key), *spec.fallback);
  }
}

toml::table parse(const fs::path& file, const Complaint& complain) {
  std::ifstream in(file, std::ios::binary);
  std::error_code ec;
  if (!in || fs::is_directory(file, ec))
    throw complain.line(0, "cannot be read; check the path and its permissions");
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  try {
    return parse_toml(text);
  } catch (const TomlError& e) {
    throw complain.line(static_cast<toml::source_index>(e.line),
                        fmt::format("not valid TOML: {}; correct that line", e.what));
  }
}

}  // namespace

Recipe read_recipe(const fs::path& file) {
  const Complaint complain(file);
  const toml::table table = parse(file, complain);
  for (const auto& [key, node] : table) {
    if (std::ranges::find(top_keys(), key.str()) == top_keys().end()) {
      throw complain(node, fmt::format("unknown key '{}'; {}", key.str(), hint(key.str(), top_keys())));
    }
  }
  Recipe recipe;
  recipe.path = file;
  recipe.name = read_text(table, "name", complain);
  check_name(recipe.name, file, *table.get("name"), complain);
  recipe.title = read_text(table, "title", complain);
  recipe.purpose = read_text(table, "purpose", complain);
  recipe.source = read_text(table, "source", complain);
  recipe.kind = &read_kind(table, complain);
  const toml::node* parameters = table.get("parameters");
  if (parameters != nullptr && !parameters->is_table()) {
    throw complain(*parameters, "'parameters' must be a table: a line [parameters] with its values under it");
  }
  // Looked at where it stands: a copy would lose its line numbers.
  static const toml::table none;
  read_parameters(recipe, parameters != nullptr ? *parameters->as_table() : none, table, complain);
  return recipe;
}

}  // namespace linebench::signals
