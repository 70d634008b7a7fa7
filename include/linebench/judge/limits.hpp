// Limits: what each reading is judged by, read from TOML with the source of each, and the judging itself.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include <linebench/base/reading.hpp>

namespace linebench::judge {

struct LimitEntry {
  std::string id;  ///< reading id without channel suffix; applies to every channel of it
  Limit limit;
  bool required = true;  ///< an unmeasurable reading leaves the verdict "incomplete"
};

struct LimitSet {
  std::string name;   ///< e.g. "speech-path"
  std::string title;  ///< one line for a person
  std::vector<LimitEntry> entries;
};

/// Sets and verdicts of a whole capture.
enum class Overall { Pass, Fail, Incomplete };
[[nodiscard]] std::string_view to_string(Overall v);

/// The set with this name among the shipped and the user's, or the file at this path.
/// Throws Error(Usage) for an unknown name (listing those there are), Error(Unusable) for a file that is not right
/// (line and key named).
[[nodiscard]] LimitSet load_limit_set(const std::string& name_or_path);

/// Names of the shipped and the user's sets.
[[nodiscard]] std::vector<std::string> limit_set_names();

/// Sets limit and verdict of every reading the set speaks of. A value within its uncertainty of a limit is judged by
/// the value, and a remark says that it could be either.
void judge(Readings& readings, const LimitSet& set);

/// Fail when any reading fails; Incomplete when a required one could not be measured (unless its `at_most` already
/// shows it inside); else Pass.
[[nodiscard]] Overall overall(const Readings& readings, const LimitSet& set);

}  // namespace linebench::judge
