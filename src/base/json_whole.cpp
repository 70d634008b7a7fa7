#include <cmath>
#include <linebench/base/json_whole.hpp>
#include <nlohmann/json.hpp>

namespace linebench {

std::optional<std::int64_t> whole_from_json(const nlohmann::json& j, std::int64_t least, std::int64_t most) {
  std::int64_t v = 0;
  if (j.is_number_unsigned()) {
    if (j.get<std::uint64_t>() > static_cast<std::uint64_t>(INT64_MAX)) return std::nullopt;
    v = j.get<std::int64_t>();
  } else if (j.is_number_integer()) {
    v = j.get<std::int64_t>();
  } else if (j.is_number_float()) {
    const double d = j.get<double>();
    if (!(std::abs(d) < 0x1p63) || d != std::floor(d)) return std::nullopt;
    v = static_cast<std::int64_t>(d);
  } else {
    return std::nullopt;
  }
  if (v < least || v > most) return std::nullopt;
  return v;
}

}  // namespace linebench
