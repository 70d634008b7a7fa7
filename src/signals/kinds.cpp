#include <fmt/format.h>

#include <algorithm>
#include <linebench/signals/kinds.hpp>
#include <linebench/signals/video_recipe.hpp>

#include "audio_kinds.hpp"
#include "near_names.hpp"

namespace linebench::signals {

const ParameterSpec* SignalKind::find(std::string_view key) const {
  const auto found = std::ranges::find(parameters, key, &ParameterSpec::key);
  return found == parameters.end() ? nullptr : &*found;
}

std::string to_string(const ParameterValue& value) {
  struct Words {
    std::string operator()(double v) const { return fmt::format("{:g}", v); }
    std::string operator()(bool v) const { return v ? "yes" : "no"; }
    std::string operator()(const std::string& v) const { return v; }
    std::string operator()(const std::vector<double>& v) const {
      return fmt::format("{:g}", fmt::join(v, ", "));
    }
    std::string operator()(const std::vector<std::string>& v) const { return comma_list(v); }
  };
  return std::visit(Words{}, value);
}

std::span<const SignalKind* const> all_kinds() {
  static const std::vector<const SignalKind*> kinds = [] {
    std::vector<const SignalKind*> all;
    for (const AudioKind& a : audio_kinds()) all.push_back(&a.kind);
    all.push_back(&test_picture_kind());
    return all;
  }();
  return kinds;
}

const SignalKind* find_signal_kind(std::string_view name) {
  const auto kinds = all_kinds();
  const auto found = std::ranges::find(kinds, name, [](const SignalKind* k) { return k->name; });
  return found == kinds.end() ? nullptr : *found;
}

}  // namespace linebench::signals
