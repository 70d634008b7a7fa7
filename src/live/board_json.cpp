#include <nettle/base64.h>

#include <cmath>
#include <linebench/base/reading_json.hpp>
#include <linebench/live/board.hpp>
#include <linebench/report/format.hpp>
#include <nlohmann/json.hpp>

namespace linebench::live {
namespace {

using nlohmann::json;

json shown(const Reading& r) {
  const report::Shown s = report::show_value(r);
  return {{"value", s.value}, {"uncertainty", s.uncertainty}, {"unit", s.unit}};
}

json mark_to_json(const Mark& m) {
  json out = {{"number", m.number}, {"text", m.text}, {"time_s", m.time_s}, {"at", m.at}};
  if (!m.stored.empty()) out["stored"] = m.stored;
  return out;
}

json difference_to_json(const Difference& d) {
  json out = {{"id", d.id}, {"label", d.label}, {"unit", d.unit}, {"certain", d.certain}};
  if (!d.words.empty()) {
    out["words"] = d.words;
    return out;
  }
  out["before"] = d.before;
  out["now"] = d.now;
  out["difference"] = d.difference;
  out["uncertainty"] = d.uncertainty;
  return out;
}

std::string base64(const std::vector<std::uint8_t>& bytes) {
  std::string out(BASE64_ENCODE_RAW_LENGTH(bytes.size()), '\0');
  base64_encode_raw(out.data(), bytes.size(), bytes.data());
  return out;
}

// JSON has no NaN: null stands for what was not measured.
json numbers(const std::vector<double>& values, double steps) {
  json out = json::array();
  for (const double v : values)
    out.push_back(std::isfinite(v) ? json(std::round(v * steps) / steps) : json());
  return out;
}

}  // namespace

json snapshot_to_json(const Snapshot& s) {
  json readings = json::array();
  for (const Reading& r : s.readings) {
    json one = reading_to_json(r);
    one["shown"] = shown(r);
    readings.push_back(std::move(one));
  }
  json marks = json::array();
  for (const auto& m : s.marks) marks.push_back(mark_to_json(*m));
  json changes = json::array();
  for (const Difference& d : s.differences) changes.push_back(difference_to_json(d));
  return {{"schema", "linebench/1"},
          {"command", "watch"},
          {"input", facts_to_json(s.input)},
          {"number", s.number},
          {"time_s", s.time_s},
          {"state", s.state},
          {"held", s.held},
          {"note", s.note},
          {"readings", std::move(readings)},
          {"marks", std::move(marks)},
          {"changes", std::move(changes)}};
}

json traces_to_json(const Snapshot& s, const std::vector<Track>& history) {
  json out = {{"number", s.number}, {"time_s", s.time_s}};
  json spectra = json::array();
  if (s.spectra) {
    for (const Curve& c : *s.spectra) spectra.push_back({{"x", numbers(c.x, 100)}, {"y", numbers(c.y, 10)}});
  }
  out["spectra"] = std::move(spectra);
  json tracks = json::object();
  for (const Track& t : history) tracks[t.id] = numbers(t.values, 100);
  out["history"] = {{"step_s", history_step_s}, {"tracks", std::move(tracks)}};
  if (s.picture && s.picture->width > 0) {
    out["picture"] = {{"width", s.picture->width},
                      {"height", s.picture->height},
                      {"rgb", base64(s.picture->rgb)},
                      {"row_mean", numbers(s.picture->row_mean, 100)}};
  }
  return out;
}

}  // namespace linebench::live
