// Readings back from a document of the JSON contract.
#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/base/reading_json.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <nlohmann/json.hpp>

namespace linebench::diagnose {
namespace {

using nlohmann::json;

Capture capture_of(const json& j, const std::string& file) {
  Capture c;
  if (const auto input = j.find("input"); input != j.end() && input->is_object())
    c.facts = facts_from_json(*input);
  c.name = j.value("title", c.facts.source.empty() ? file : c.facts.source);
  for (const json& r : j.at("readings")) c.readings.push_back(reading_from_json(r));
  return c;
}

// What `read` makes of a document of this program.
template <typename Read>
auto of_document(const std::string& text, const std::string& file, Read read) {
  try {
    if (text.find_first_not_of(" \t\r\n") == std::string::npos)
      throw unusable(fmt::format("{}: is empty, no document of readings; make it with measure --json", file));
    const json j = json::parse(text);
    if (j.value("schema", std::string()) != "linebench/1")
      throw unusable(
          fmt::format("{}: not a document of this program (\"schema\" is not \"linebench/1\")", file));
    if (j.value("command", std::string()) == "compare")
      throw unusable(fmt::format(
          "{}: is a comparison, and holds only what came after; give the captures themselves", file));
    if (!j.contains("readings") && !j.contains("captures"))
      throw unusable(
          fmt::format("{}: holds no readings; make it with measure --json or diagnose --json", file));
    return read(j);
  } catch (const Error& e) {
    // Errors of a reading name its id and key, not the file.
    const std::string what = e.what();
    throw what.starts_with(file) ? e : unusable(fmt::format("{}: {}", file, what));
  } catch (const json::exception& e) {
    // The library's own words begin with its name and a number.
    std::string why = e.what();
    if (const auto end = why.find("] "); why.starts_with("[json") && end != std::string::npos)
      why = why.substr(end + 2);
    throw unusable(fmt::format(
        "{}: cannot be read as a document of readings ({}); make it with measure --json", file, why));
  }
}

}  // namespace

std::vector<Capture> captures_from_json(const std::string& text, const std::string& file) {
  return of_document(text, file, [&](const json& j) {
    std::vector<Capture> out;
    if (const auto several = j.find("captures"); several != j.end() && several->is_array()) {
      for (const json& one : *several) out.push_back(capture_of(one, file));
      return out;
    }
    out.push_back(capture_of(j, file));
    return out;
  });
}

Told told_from_json(const std::string& text, const std::string& file) {
  return of_document(text, file, [&](const json& j) {
    Told told;
    if (const auto seen = j.find("observed"); seen != j.end())
      told.observed = seen->get<std::vector<std::string>>();
    if (const auto site = j.find("site"); site != j.end()) {
      told.site.system = site->value("system", std::string());
      told.site.sides = site->value("sides", std::string());
    }
    return told;
  });
}

}  // namespace linebench::diagnose
