#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/signals/level.hpp>
#include <numbers>
#include <utility>

namespace linebench::signals {
namespace {

constexpr std::array<std::pair<std::string_view, LevelUnit>, 3> unit_names = {
    {{"dBFS", LevelUnit::Dbfs}, {"dBu", LevelUnit::Dbu}, {"dBV", LevelUnit::Dbv}}};

bool same_ignoring_case(std::string_view a, std::string_view b) {
  return std::ranges::equal(
      a, b, [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

double reference_v(LevelUnit unit) { return unit == LevelUnit::Dbu ? dbu_reference_v : dbv_reference_v; }

}  // namespace

Level parse_level(std::string_view text) {
  const std::string copy(text);
  const auto wrong = [&] {
    return bad_usage(fmt::format(
        "level '{}': not a level; write a number and its unit, such as -20dBFS, +4dBu or -10dBV", copy));
  };
  char* end = nullptr;
  const double value = std::strtod(copy.c_str(), &end);
  constexpr double most_db = 1000;  // beyond it no voltage is left that a number can hold
  if (end == copy.c_str() || !(std::abs(value) <= most_db)) throw wrong();
  std::string_view unit(end);
  while (!unit.empty() && unit.front() == ' ') unit.remove_prefix(1);
  for (const auto& [name, kind] : unit_names) {
    if (same_ignoring_case(unit, name)) return {value, kind};
  }
  throw wrong();
}

std::string to_string(const Level& level) {
  const auto* const found =
      std::ranges::find(unit_names, level.unit, &std::pair<std::string_view, LevelUnit>::second);
  return fmt::format("{:+.1f} {}", level.value, found->first);
}

double resolve_dbfs(const Level& level, std::optional<double> full_scale_v) {
  if (level.unit == LevelUnit::Dbfs) return level.value;
  if (!full_scale_v) {
    throw bad_usage(fmt::format(
        "level {}: needs the output's full scale in volts; give --full-scale VOLTS (peak), calibrate "
        "the device, or give the level in dBFS",
        to_string(level)));
  }
  if (!std::isfinite(*full_scale_v) || *full_scale_v <= 0) {
    throw bad_usage(
        fmt::format("full scale {} V: must be a voltage above 0; measure it at the output", *full_scale_v));
  }
  const double peak_v = reference_v(level.unit) * amplitude_from_db(level.value) * std::numbers::sqrt2;
  return db_from_amplitude(peak_v / *full_scale_v);
}

std::string caution_for(double dbfs) {
  if (!(dbfs > caution_above_dbfs)) return {};
  return fmt::format(
      "Caution: {:.1f} dBFS can be loud. Turn the amplifier down, take headsets off, and tell the people "
      "near "
      "the loudspeakers before it is sent; then bring the volume up slowly.",
      dbfs);
}

}  // namespace linebench::signals
