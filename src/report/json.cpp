#include <linebench/base/reading_json.hpp>
#include <linebench/report/document.hpp>
#include <nlohmann/json.hpp>

namespace linebench::report {

using nlohmann::json;

json to_json(const Document& document) {
  json readings = json::array();
  for (const Reading& r : document.readings) readings.push_back(reading_to_json(r));
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
