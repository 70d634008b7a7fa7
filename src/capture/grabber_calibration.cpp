#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/base/json_whole.hpp>
#include <linebench/base/version.hpp>
#include <linebench/capture/grabber_calibration.hpp>
#include <nlohmann/json.hpp>

#include "calibration_files.hpp"

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* schema = "linebench-grabber/1";

fs::path folder() { return store_dir() / "grabbers"; }
fs::path file_of(const std::string& device, int lines) { return calibration_file(folder(), device, lines); }

json known_json(const Known& k) { return {{"value", k.value}, {"uncertainty", k.u}}; }
Known known_from(const json& j) { return {j.at("value").get<double>(), j.at("uncertainty").get<double>()}; }

GrabberCalibration from_json(const json& j) {
  if (j.value("schema", std::string()) != schema) throw unusable("it is of another version of the program");
  GrabberCalibration c;
  c.device = j.at("device").get<std::string>();
  const auto lines = whole_from_json(j.at("lines"), 525, 625);
  if (lines != 525 && lines != 625) throw unusable("its \"lines\" are neither 525 nor 625");
  c.lines = static_cast<int>(*lines);
  c.at = j.at("at").get<std::string>();
  for (const json& g : j.at("gain")) c.gain.push_back({g.at("white").get<double>(), known_from(g)});
  if (j.contains("saturation")) c.saturation = known_from(j.at("saturation"));
  if (j.contains("hue")) c.hue_deg = known_from(j.at("hue"));
  if (j.contains("noise")) c.noise_codes = j.at("noise").get<double>();
  if (j.contains("hum")) c.hum_percent = j.at("hum").get<double>();
  if (j.contains("follows_sync")) c.follows = known_from(j.at("follows_sync"));
  if (j.contains("response")) {
    const json& r = j.at("response");
    c.response = Curve{.x = r.at("hz").get<std::vector<double>>(),
                       .y = r.at("db").get<std::vector<double>>(),
                       .x_unit = "Hz",
                       .y_unit = "dB",
                       .uncertainty = r.at("uncertainty").get<std::vector<double>>()};
    const bool whole = c.response->x.size() >= 2 && c.response->x.size() == c.response->y.size() &&
                       c.response->x.size() == c.response->uncertainty.size() &&
                       std::is_sorted(c.response->x.begin(), c.response->x.end());
    if (!whole) throw unusable("its response is not a curve");
  }
  return c;
}

}  // namespace

std::string GrabberCalibration::name() const {
  return fmt::format("{}, {} lines, {}", device, lines, at.substr(0, 10));
}

json grabber_to_json(const GrabberCalibration& c) {
  json j = {
      {"schema", schema}, {"device", c.device}, {"lines", c.lines}, {"at", c.at}, {"gain", json::array()}};
  for (const auto& g : c.gain) {
    json entry = known_json(g.percent);
    entry["white"] = g.white;
    j["gain"].push_back(std::move(entry));
  }
  if (c.saturation) j["saturation"] = known_json(*c.saturation);
  if (c.hue_deg) j["hue"] = known_json(*c.hue_deg);
  if (c.noise_codes) j["noise"] = *c.noise_codes;
  if (c.hum_percent) j["hum"] = *c.hum_percent;
  if (c.follows) j["follows_sync"] = known_json(*c.follows);
  if (c.response)
    j["response"] = {{"hz", c.response->x}, {"db", c.response->y}, {"uncertainty", c.response->uncertainty}};
  return j;
}

fs::path store_grabber(const GrabberCalibration& c) {
  const fs::path path = file_of(c.device, c.lines);
  store_text(path, json_text(grabber_to_json(c), 2) + "\n");
  return path;
}

std::optional<GrabberCalibration> find_grabber(const std::string& device, int lines) {
  const fs::path path = file_of(device, lines);
  std::error_code ec;
  if (!fs::exists(path, ec)) return std::nullopt;
  GrabberCalibration c = load_calibration(path, from_json);
  if (c.device != device || c.lines != lines) return std::nullopt;
  return c;
}

GrabberList list_grabbers() { return load_calibrations<GrabberList>(folder(), from_json); }

int remove_grabbers(const std::string& device) {
  int removed = 0;
  std::error_code ec;
  for (const GrabberCalibration& c : list_grabbers().calibrations) {
    if (!device.empty() && c.device.starts_with(device))
      removed += fs::remove(file_of(c.device, c.lines), ec) ? 1 : 0;
  }
  return removed;
}

}  // namespace linebench::capture
