// Readings back from a document of the JSON contract.
#include <fmt/format.h>

#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <nlohmann/json.hpp>

namespace linebench::diagnose {
namespace {

using nlohmann::json;

std::optional<double> optional_number(const json& j, const char* key) {
  const auto it = j.find(key);
  return it != j.end() && it->is_number() ? std::optional(it->get<double>()) : std::nullopt;
}

std::vector<double> numbers(const json& j) {
  std::vector<double> out;
  for (const json& v : j) out.push_back(v.is_number() ? v.get<double>() : std::nan(""));
  return out;
}

Reading reading_of(const json& j) {
  Reading r;
  r.id = j.at("id").get<std::string>();
  r.label = j.value("label", label_of(r.id));
  r.unit = j.value("unit", std::string());
  r.reason = j.value("reason", std::string());
  r.uncertainty = optional_number(j, "uncertainty");
  r.at_most = optional_number(j, "at_most");
  const json value = j.value("value", json());
  if (value.is_number()) {
    r.value = value.get<double>();
  } else if (value.is_string()) {
    r.value = value.get<std::string>();
  } else if (value.is_object()) {
    r.value = Curve{numbers(value.at("x")), numbers(value.at("y")), value.value("x_unit", std::string()),
                    value.value("y_unit", std::string())};
  } else {
    r.verdict = Verdict::Unmeasurable;
  }
  return r;
}

Capture capture_of(const json& j, const std::string& file) {
  Capture c;
  if (const auto input = j.find("input"); input != j.end() && input->is_object())
    c.facts = facts_from_json(*input);
  c.name = j.value("title", c.facts.source.empty() ? file : c.facts.source);
  for (const json& r : j.at("readings")) c.readings.push_back(reading_of(r));
  return c;
}

}  // namespace

std::vector<Capture> captures_from_json(const std::string& text, const std::string& file) {
  try {
    const json j = json::parse(text);
    if (j.value("schema", std::string()) != "linebench/1")
      throw unusable(
          fmt::format("{}: not a document of this program (\"schema\" is not \"linebench/1\")", file));
    std::vector<Capture> out;
    if (const auto several = j.find("captures"); several != j.end() && several->is_array()) {
      for (const json& one : *several) out.push_back(capture_of(one, file));
      return out;
    }
    out.push_back(capture_of(j, file));
    return out;
  } catch (const json::exception& e) {
    throw unusable(fmt::format(
        "{}: cannot be read as a document of readings ({}); make it with measure --json", file, e.what()));
  }
}

}  // namespace linebench::diagnose
