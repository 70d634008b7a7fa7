// Calibrations on disk: one JSON file for each device and rate.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdint>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/calibration.hpp>
#include <nlohmann/json.hpp>
#include <system_error>

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* schema = "linebench-calibration/1";

fs::path folder() { return store_dir() / "calibrations"; }

/// Readable, and different for devices whose names differ only in signs a file name cannot hold (FNV-1a).
fs::path file_of(const std::string& device, double rate_hz) {
  std::uint32_t hash = 2166136261U;
  std::string slug;
  for (const char ch : device) {
    const auto c = static_cast<unsigned char>(ch);
    hash = (hash ^ c) * 16777619U;
    if (std::isalnum(c) != 0) {
      slug += static_cast<char>(std::tolower(c));
    } else if (!slug.empty() && slug.back() != '-') {
      slug += '-';
    }
  }
  return folder() / fmt::format("{}-{:08x}-{}.json", slug.substr(0, 60), hash, std::llround(rate_hz));
}

json curve_json(const Curve& c) {
  json j = {{"x", c.x}, {"y", c.y}, {"x_unit", c.x_unit}, {"y_unit", c.y_unit}};
  if (!c.uncertainty.empty()) j["uncertainty"] = c.uncertainty;
  return j;
}

Curve curve_from(const json& j) {
  Curve c{.x = j.at("x").get<std::vector<double>>(),
          .y = j.at("y").get<std::vector<double>>(),
          .x_unit = j.at("x_unit").get<std::string>(),
          .y_unit = j.at("y_unit").get<std::string>(),
          .uncertainty = j.value("uncertainty", std::vector<double>())};
  const bool whole = !c.x.empty() && c.y.size() == c.x.size() &&
                     (c.uncertainty.empty() || c.uncertainty.size() == c.x.size());
  if (!whole || !std::is_sorted(c.x.begin(), c.x.end())) throw unusable("its response is not a curve");
  return c;
}

void put(json& j, const char* key, const std::optional<double>& v) {
  if (v) j[key] = *v;
}
std::optional<double> optional_number(const json& j, const char* key) {
  return j.contains(key) ? std::optional(j.at(key).get<double>()) : std::nullopt;
}

}  // namespace

json calibration_to_json(const Calibration& c) {
  json j = {{"schema", schema}, {"device", c.device}, {"sample_rate", c.sample_rate_hz}};
  if (!c.loop.empty()) {
    json channels = json::array();
    for (const CardLoop& l : c.loop) channels.push_back({{"gain", curve_json(l.gain)}, {"delay", l.delay_s}});
    j["loop"] = {{"at", c.loop_at}, {"output", c.loop_output}, {"channels", channels}};
  }
  if (!c.noise_dbfs.empty()) j["noise"] = {{"at", c.noise_at}, {"dbfs", c.noise_dbfs}};
  if (c.clock_error_ppm) {
    j["clock"] = {{"at", c.clock_at}, {"error_ppm", *c.clock_error_ppm}};
    put(j["clock"], "uncertainty_ppm", c.clock_uncertainty_ppm);
  }
  if (c.full_scale_v || c.output_full_scale_v) {
    j["volts"] = {{"at", c.volts_at}};
    put(j["volts"], "input_full_scale", c.full_scale_v);
    put(j["volts"], "output_full_scale", c.output_full_scale_v);
  }
  if (!c.notes.empty()) j["notes"] = c.notes;
  return j;
}

namespace {

Calibration from_json(const json& j) {
  if (j.value("schema", std::string()) != schema) throw unusable("it is of another version of the program");
  Calibration c;
  c.device = j.at("device").get<std::string>();
  c.sample_rate_hz = j.at("sample_rate").get<double>();
  if (j.contains("loop")) {
    const json& l = j.at("loop");
    c.loop_at = l.at("at").get<std::string>();
    c.loop_output = l.at("output").get<std::string>();
    for (const json& ch : l.at("channels"))
      c.loop.push_back({curve_from(ch.at("gain")), ch.at("delay").get<double>()});
  }
  if (j.contains("noise")) {
    c.noise_at = j.at("noise").at("at").get<std::string>();
    c.noise_dbfs = j.at("noise").at("dbfs").get<std::vector<double>>();
  }
  if (j.contains("clock")) {
    c.clock_at = j.at("clock").at("at").get<std::string>();
    c.clock_error_ppm = j.at("clock").at("error_ppm").get<double>();
    c.clock_uncertainty_ppm = optional_number(j.at("clock"), "uncertainty_ppm");
  }
  if (j.contains("volts")) {
    c.volts_at = j.at("volts").at("at").get<std::string>();
    c.full_scale_v = optional_number(j.at("volts"), "input_full_scale");
    c.output_full_scale_v = optional_number(j.at("volts"), "output_full_scale");
  }
  c.notes = j.value("notes", std::vector<std::string>());
  return c;
}

Calibration load(const fs::path& path) {
  std::string why = "it is damaged";
  try {
    return from_json(json::parse(load_text(path)));
  } catch (const json::exception&) {  // "it is damaged" says enough
  } catch (const Error& e) {
    why = e.what();
  }
  throw unusable(
      fmt::format("calibration {} cannot be used: {}; delete it and calibrate again", path.string(), why));
}

std::vector<fs::path> files() {
  std::vector<fs::path> list;
  std::error_code ec;
  for (const auto& entry : fs::directory_iterator(folder(), ec)) {
    if (entry.path().extension() == ".json") list.push_back(entry.path());
  }
  std::sort(list.begin(), list.end());
  return list;
}

}  // namespace

fs::path store_calibration(const Calibration& calibration) {
  const fs::path path = file_of(calibration.device, calibration.sample_rate_hz);
  store_text(path, calibration_to_json(calibration).dump(2) + "\n");
  return path;
}

std::optional<Calibration> find_calibration(const std::string& device, double sample_rate_hz) {
  const fs::path path = file_of(device, sample_rate_hz);
  std::error_code ec;
  if (!fs::exists(path, ec)) return std::nullopt;
  Calibration c = load(path);
  if (c.device != device || c.sample_rate_hz != sample_rate_hz) return std::nullopt;
  return c;
}

CalibrationList list_calibrations() {
  CalibrationList list;
  for (const fs::path& path : files()) {
    try {
      list.calibrations.push_back(load(path));
    } catch (const Error& e) {
      list.problems.emplace_back(e.what());
    }
  }
  std::sort(list.calibrations.begin(), list.calibrations.end(),
            [](const Calibration& a, const Calibration& b) {
              return a.device != b.device ? a.device < b.device : a.sample_rate_hz < b.sample_rate_hz;
            });
  return list;
}

int remove_calibrations(const std::string& device, double sample_rate_hz) {
  int removed = 0;
  std::error_code ec;
  for (const Calibration& c : list_calibrations().calibrations) {
    if (c.device != device || (sample_rate_hz > 0 && c.sample_rate_hz != sample_rate_hz)) continue;
    removed += fs::remove(file_of(c.device, c.sample_rate_hz), ec) ? 1 : 0;
  }
  return removed;
}

}  // namespace linebench::capture
