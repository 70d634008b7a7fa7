// Sound whose tops the recorder's rail cuts.
#include "gather_rail.hpp"

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <numbers>

namespace linebench::diagnose {

bool cut_at_rail(const Capture& c, const std::string& suffix) {
  const auto cut = number_of(c.readings, "audio.clip.samples" + suffix);
  const auto at = number_of(c.readings, "audio.clip.level" + suffix);
  constexpr double rail_dbfs = -0.5;  // converters and drivers stop a little below full scale
  return cut && cut->value > 0 && at && at->value > rail_dbfs;
}

std::optional<Number> level_above_rail(const Capture& c, const std::string& suffix) {
  const auto cut = number_of(c.readings, "audio.clip.samples" + suffix);
  const auto rail = number_of(c.readings, "audio.clip.level" + suffix);
  const auto samples = static_cast<double>(c.facts.frames);
  if (!cut || !rail || !(samples > 0)) return std::nullopt;
  const double share = cut->value / samples;
  constexpr double most_share = 0.9;  // twenty times too high; beyond that its height hardly changes it
  if (!(share > 0 && share < most_share)) return std::nullopt;
  const double angle = 0.5 * std::numbers::pi * share;
  constexpr double share_u = 0.02;  // rails that are not quite flat, samples beside the corners (k=2)
  const double u = 8.686 * std::tan(angle) * 0.5 * std::numbers::pi * share_u;
  return Number{rail->value - db_from_amplitude(std::cos(angle)), u};
}

}  // namespace linebench::diagnose
