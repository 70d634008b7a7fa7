// Calibrations on disk: one JSON file for each device and rate.
#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/base/version.hpp>
#include <linebench/capture/calibration.hpp>
#include <nlohmann/json.hpp>
#include <system_error>

#include "calibration_files.hpp"

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* schema = "linebench-calibration/1";

fs::path folder() { return store_dir() / "calibrations"; }
fs::path file_of(const std::string& device, double rate_hz) {
  return calibration_file(folder(), device, std::llround(rate_hz));
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

}  // namespace

fs::path store_calibration(const Calibration& calibration) {
  const fs::path path = file_of(calibration.device, calibration.sample_rate_hz);
  store_text(path, json_text(calibration_to_json(calibration), 2) + "\n");
  return path;
}

std::optional<Calibration> find_calibration(const std::string& device, double sample_rate_hz) {
  const fs::path path = file_of(device, sample_rate_hz);
  std::error_code ec;
  if (!fs::exists(path, ec)) return std::nullopt;
  Calibration c = load_calibration(path, from_json);
  if (c.device != device || c.sample_rate_hz != sample_rate_hz) return std::nullopt;
  return c;
}

CalibrationList list_calibrations() {
  auto list = load_calibrations<CalibrationList>(folder(), from_json);
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
