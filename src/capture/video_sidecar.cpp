#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <linebench/base/error.hpp>
#include <nlohmann/json.hpp>

#include "video_readers.hpp"

namespace linebench::capture {

void check_video_rate(const std::string& source, double rate_hz, const std::string& where) {
  // An edge of 0.2 us then lies between two samples: below, widths and levels are off by more than is
  // claimed.
  constexpr double lowest = 5e6;
  constexpr double highest = 20e9;
  if (!(rate_hz > 0) || rate_hz > highest) {
    throw unusable(fmt::format("{}: {:g} samples per second ({}) cannot be right; give the rate in Hz",
                               source, rate_hz, where));
  }
  if (rate_hz < lowest) {
    throw unusable(fmt::format(
        "{}: {:g} samples per second ({}) is too slow to see line sync well; take the capture at 10 MS/s or "
        "more, or use --view lowband for a sound-card recording",
        source, rate_hz, where));
  }
}

void check_volts(const std::string& source, double scale, double offset, double most) {
  constexpr double highest_v = 1e9;
  constexpr double smallest_v = 1e-20;
  if (std::abs(scale) >= smallest_v && std::abs(scale) * most <= highest_v && std::abs(offset) <= highest_v)
    return;
  throw unusable(
      fmt::format("{}: a scale of {:g} and an offset of {:g} cannot be volts; give volts per count", source,
                  scale, offset));
}

std::filesystem::path video_sidecar_path(const std::filesystem::path& samples) {
  std::filesystem::path beside = samples;
  beside.replace_extension(".json");
  if (std::filesystem::exists(beside)) return beside;
  std::filesystem::path appended = samples;
  appended += ".json";
  return std::filesystem::exists(appended) ? appended : beside;
}

std::optional<VideoSidecar> read_video_sidecar(const std::filesystem::path& samples) {
  const std::filesystem::path path = video_sidecar_path(samples);
  std::ifstream in(path);
  if (!in) return std::nullopt;
  const nlohmann::json j = nlohmann::json::parse(in, nullptr, false);
  VideoSidecar s;
  s.path = path.filename().string();
  if (!j.is_object())
    throw unusable(
        fmt::format("{}: not a JSON object; see the README for what a sidecar holds", path.string()));
  const auto number = [&](const char* key) -> std::optional<double> {
    if (!j.contains(key) || j[key].is_null()) return std::nullopt;
    if (!j[key].is_number()) throw unusable(fmt::format("{}: \"{}\" must be a number", path.string(), key));
    return j[key].get<double>();
  };
  const auto text = [&](const char* key) -> std::optional<std::string> {
    if (!j.contains(key) || j[key].is_null()) return std::nullopt;
    if (!j[key].is_string())
      throw unusable(fmt::format("{}: \"{}\" must be a text in quotes", path.string(), key));
    return j[key].get<std::string>();
  };
  s.sample_rate_hz = number("sample_rate");
  s.unit = text("unit");
  s.format = text("format");
  s.scale = number("scale");
  s.offset = number("offset");
  s.facts = facts_from_json(j);
  if (s.unit && *s.unit != "V" && *s.unit != "mV") {
    throw unusable(fmt::format("{}: unit \"{}\" is not known; use \"V\"", path.string(), *s.unit));
  }
  if (s.unit && *s.unit == "mV") {
    if (s.scale) *s.scale *= 1e-3;
    if (s.offset) *s.offset *= 1e-3;
  }
  if (s.scale && (*s.scale == 0 || !std::isfinite(*s.scale))) {
    throw unusable(fmt::format("{}: a scale of {:g} makes every sample the same; give volts per count",
                               path.string(), *s.scale));
  }
  return s;
}

}  // namespace linebench::capture
