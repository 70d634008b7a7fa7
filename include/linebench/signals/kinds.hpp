// What kinds of signal there are and which parameters each takes: the one table that recipe files are checked
// against and that `signals show` explains from.
#pragma once

#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace linebench::signals {

enum class Medium { Audio, Video };

/// A parameter's value: its alternative is its type.
using ParameterValue = std::variant<double, bool, std::string, std::vector<double>, std::vector<std::string>>;

/// One parameter of a kind. Its type is that of `type_of`; a parameter without `fallback` must stand in the
/// recipe unless it is optional.
struct ParameterSpec {
  std::string_view key;
  std::string_view unit;     ///< "" for pure numbers and text
  std::string_view meaning;  ///< a few words for a person
  ParameterValue type_of = 0.0;
  std::optional<ParameterValue> fallback = std::nullopt;
  bool optional = false;                                  ///< may be left out though it has no fallback
  double min = -std::numeric_limits<double>::infinity();  ///< of a number, or of each number in a list
  double max = std::numeric_limits<double>::infinity();
  bool whole = false;                          ///< a number without a fraction
  std::vector<std::string_view> allowed = {};  ///< of a text; empty: any
};

/// For a person: "1000", "yes", "white", "300, 400".
[[nodiscard]] std::string to_string(const ParameterValue& value);

struct SignalKind {
  std::string_view name;
  Medium medium = Medium::Audio;
  std::string_view meaning;  ///< one sentence
  std::vector<ParameterSpec> parameters;

  /// nullptr when the kind has no such parameter.
  [[nodiscard]] const ParameterSpec* find(std::string_view key) const;
};

/// All kinds, audio first. (Another medium's kinds join in src/signals/kinds.cpp.)
[[nodiscard]] std::span<const SignalKind* const> all_kinds();

/// nullptr when unknown.
[[nodiscard]] const SignalKind* find_signal_kind(std::string_view name);

}  // namespace linebench::signals
