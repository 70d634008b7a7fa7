#include <cmath>
#include <linebench/report/document.hpp>
#include <nlohmann/json.hpp>

namespace linebench::report {
namespace {

using nlohmann::json;

// JSON has no infinity or NaN; a bound or value that is not finite stands as null.
json number(double v) { return std::isfinite(v) ? json(v) : json(nullptr); }

json numbers(const std::vector<double>& v) {
  json a = json::array();
  for (const double x : v) a.push_back(number(x));
  return a;
}

json value_json(const Value& value) {
  if (const auto* d = std::get_if<double>(&value)) return number(*d);
  if (const auto* s = std::get_if<std::string>(&value)) return *s;
  if (const auto* c = std::get_if<Curve>(&value)) {
    json j = {{"x", numbers(c->x)}, {"y", numbers(c->y)}, {"x_unit", c->x_unit}, {"y_unit", c->y_unit}};
    if (!c->uncertainty.empty()) j["uncertainty"] = numbers(c->uncertainty);
    return j;
  }
  return nullptr;
}

json limit_json(const Limit& limit) {
  json j = {{"source", limit.source}};
  if (limit.min) j["min"] = number(*limit.min);
  if (limit.max) j["max"] = number(*limit.max);
  if (!limit.allowed.empty()) j["allowed"] = limit.allowed;
  for (const MaskPoint& p : limit.mask) {
    json corner = {{"x", p.x}};
    if (p.min) corner["min"] = *p.min;
    if (p.max) corner["max"] = *p.max;
    j["mask"].push_back(corner);
  }
  return j;
}

json reading_json(const Reading& r) {
  json j = {{"id", r.id},
            {"label", r.label},
            {"value", value_json(r.value)},
            {"unit", r.unit},
            {"verdict", to_string(r.verdict)}};
  j["uncertainty"] = r.uncertainty ? number(*r.uncertainty) : json(nullptr);
  if (r.limit) j["limit"] = limit_json(*r.limit);
  if (!r.reason.empty()) j["reason"] = r.reason;
  if (r.at_most) j["at_most"] = number(*r.at_most);
  return j;
}

}  // namespace

json to_json(const Document& document) {
  json readings = json::array();
  for (const Reading& r : document.readings) readings.push_back(reading_json(r));
  json j = {{"schema", "linebench/1"},
            {"command", document.command},
            {"input", facts_to_json(document.input)},
            {"verdict", document.verdict},
            {"readings", std::move(readings)},
            {"findings", json::array()}};
  if (!document.limit_set.empty()) j["limit_set"] = document.limit_set;
  if (!document.missing.empty()) j["missing"] = document.missing;
  return j;
}

}  // namespace linebench::report
