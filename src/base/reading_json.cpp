#include <fmt/format.h>

#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/reading_json.hpp>
#include <nlohmann/json.hpp>

namespace linebench {
namespace {

using nlohmann::json;

json number(double v) { return std::isfinite(v) ? json(v) : json(nullptr); }

json numbers(const std::vector<double>& v) {
  json a = json::array();
  for (const double x : v) a.push_back(number(x));
  return a;
}

// A null inside a list of numbers is a value that was not finite.
std::vector<double> numbers_from(const json& j) {
  std::vector<double> v;
  v.reserve(j.size());
  for (const json& x : j) v.push_back(x.is_null() ? std::nan("") : x.get<double>());
  return v;
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

Value value_from(const json& j) {
  if (j.is_null()) return {};
  if (j.is_number()) return j.get<double>();
  if (j.is_string()) return j.get<std::string>();
  Curve c{
      .x = numbers_from(j.at("x")),
      .y = numbers_from(j.at("y")),
      .x_unit = j.value("x_unit", ""),
      .y_unit = j.value("y_unit", ""),
      .uncertainty = j.contains("uncertainty") ? numbers_from(j.at("uncertainty")) : std::vector<double>{}};
  if (c.x.size() != c.y.size() || (!c.uncertainty.empty() && c.uncertainty.size() != c.x.size())) {
    throw unusable("a curve's x, y and uncertainty differ in length");
  }
  return c;
}

std::optional<double> optional_number(const json& j, const char* key) {
  const auto it = j.find(key);
  if (it == j.end() || it->is_null()) return std::nullopt;
  return it->get<double>();
}

Verdict verdict_from(const std::string& word) {
  for (const Verdict v : {Verdict::Info, Verdict::Pass, Verdict::Fail, Verdict::Unmeasurable}) {
    if (word == to_string(v)) return v;
  }
  throw unusable(fmt::format("no verdict is called '{}'", word));
}

}  // namespace

json limit_to_json(const Limit& limit) {
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

Limit limit_from_json(const json& j) {
  Limit limit;
  limit.min = optional_number(j, "min");
  limit.max = optional_number(j, "max");
  limit.allowed = j.value("allowed", std::vector<std::string>{});
  limit.source = j.value("source", "");
  if (j.contains("mask")) {
    for (const json& p : j.at("mask")) {
      limit.mask.push_back({p.at("x").get<double>(), optional_number(p, "min"), optional_number(p, "max")});
    }
  }
  return limit;
}

json reading_to_json(const Reading& r) {
  json j = {{"id", r.id},
            {"label", r.label},
            {"value", value_json(r.value)},
            {"unit", r.unit},
            {"verdict", to_string(r.verdict)}};
  j["uncertainty"] = r.uncertainty ? number(*r.uncertainty) : json(nullptr);
  if (r.limit) j["limit"] = limit_to_json(*r.limit);
  if (!r.reason.empty()) j["reason"] = r.reason;
  if (r.at_most) j["at_most"] = number(*r.at_most);
  return j;
}

Reading reading_from_json(const json& j) {
  if (!j.is_object() || !j.contains("id") || !j.at("id").is_string()) {
    throw unusable("a reading without an id");
  }
  Reading r;
  r.id = j.at("id").get<std::string>();
  try {
    r.label = j.value("label", r.id);
    r.value = value_from(j.value("value", json(nullptr)));
    r.unit = j.value("unit", "");
    r.verdict = verdict_from(j.value("verdict", "info"));
    // A measured value that was not finite left a null behind: it cannot be used as a value again.
    if (!r.measured()) r.verdict = Verdict::Unmeasurable;
    r.uncertainty = optional_number(j, "uncertainty");
    if (j.contains("limit") && !j.at("limit").is_null()) r.limit = limit_from_json(j.at("limit"));
    r.reason = j.value("reason", "");
    r.at_most = optional_number(j, "at_most");
  } catch (const json::exception& e) {
    throw unusable(fmt::format("reading {}: {}", r.id, e.what()));
  } catch (const Error& e) {
    throw unusable(fmt::format("reading {}: {}", r.id, e.what()));
  }
  return r;
}

}  // namespace linebench
