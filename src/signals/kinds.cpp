#include <algorithm>
#include <linebench/signals/kinds.hpp>

#include "audio_kinds.hpp"
#include <linebench/signals/video_recipe.hpp>

namespace linebench::signals {

const ParameterSpec* SignalKind::find(std::string_view key) const {
  const auto found = std::ranges::find(parameters, key, &ParameterSpec::key);
  return found == parameters.end() ? nullptr : &*found;
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
