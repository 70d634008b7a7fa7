// A strict reader of the book's TOML: every error says file, line, key and what to do.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <linebench/base/error.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "../base/toml.hpp"

namespace linebench::diagnose {

class TomlReader {
 public:
  explicit TomlReader(std::string file) : file_(std::move(file)) {}

  [[nodiscard]] toml::table parse(std::string_view text) const {
    try {
      return parse_toml(text);
    } catch (const TomlError& e) {
      throw unusable(fmt::format("{}, line {}: {}", file_, e.line, e.what));
    }
  }

  [[nodiscard]] Error wrong(const toml::source_region& at, std::string_view why) const {
    // The whole text has no line of its own.
    if (at.begin.line <= 1 && at.begin.column <= 1) return unusable(fmt::format("{}: {}", file_, why));
    return unusable(fmt::format("{}, line {}: {}", file_, at.begin.line, why));
  }

  void only(const toml::table& table, std::initializer_list<std::string_view> known) const {
    for (const auto& [key, node] : table) {
      if (std::find(known.begin(), known.end(), key.str()) == known.end()) {
        throw wrong(key.source(),
                    fmt::format("unknown key \"{}\"; known here: {}", key.str(), fmt::join(known, ", ")));
      }
    }
  }

  [[nodiscard]] std::string text(const toml::table& table, std::string_view key, bool required = true) const {
    const toml::node* node = table.get(key);
    if (node == nullptr) {
      if (!required) return {};
      throw wrong(table.source(), fmt::format("\"{}\" is missing; add it", key));
    }
    const auto* value = node->as_string();
    if (value == nullptr || (required && value->get().empty()))
      throw wrong(node->source(), fmt::format("\"{}\" must be a text in quotes that is not empty", key));
    return value->get();
  }

  [[nodiscard]] double number(const toml::node& node, std::string_view key) const {
    const auto value = node.is_number() ? node.value<double>() : std::nullopt;
    if (!value || !std::isfinite(*value))
      throw wrong(node.source(), fmt::format("\"{}\" must be a number", key));
    return *value;
  }
  [[nodiscard]] double number(const toml::table& table, std::string_view key,
                              std::optional<double> otherwise) const {
    const toml::node* node = table.get(key);
    if (node != nullptr) return number(*node, key);
    if (otherwise) return *otherwise;
    throw wrong(table.source(), fmt::format("\"{}\" is missing; give a number", key));
  }
  [[nodiscard]] double share(const toml::table& table, std::string_view key,
                             std::optional<double> otherwise) const {
    const double v = number(table, key, otherwise);
    if (!(v >= 0 && v <= 1))
      throw wrong(table.get(key)->source(), fmt::format("\"{}\" must lie in 0 to 1", key));
    return v;
  }

  [[nodiscard]] const toml::table& table(const toml::node& node, std::string_view what) const {
    const auto* t = node.as_table();
    if (t == nullptr) throw wrong(node.source(), fmt::format("{} must be a table", what));
    return *t;
  }

  [[nodiscard]] std::vector<std::string> words(const toml::table& table, std::string_view key) const {
    std::vector<std::string> out;
    const toml::node* node = table.get(key);
    const auto* list = node != nullptr ? node->as_array() : nullptr;
    if (list != nullptr) {
      for (const auto& item : *list) {
        if (const auto* word = item.as_string()) out.push_back(word->get());
      }
    }
    if (list == nullptr || out.empty() || out.size() != list->size())
      throw wrong(node != nullptr ? node->source() : table.source(),
                  fmt::format("\"{}\" must be a list of words", key));
    return out;
  }

 private:
  std::string file_;
};

}  // namespace linebench::diagnose
