// What a command hands to a person or a script: one document, shown as JSON, as a table or as a page.
#pragma once

#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace linebench::report {

struct Document {
  std::string command;  ///< "measure", "loop", ...
  CaptureFacts input;
  std::string verdict;    ///< "pass", "fail", "incomplete"
  std::string limit_set;  ///< what it was judged by; empty: not judged
  Readings readings;
  std::string caveat{};  ///< what makes the verdict speak of something else than the path; said first
  std::vector<std::string> missing{};  ///< ids that leave the verdict "incomplete" (judge::missing)
};

/// The document of the JSON contract ("linebench/1").
[[nodiscard]] nlohmann::json to_json(const Document& document);

}  // namespace linebench::report
