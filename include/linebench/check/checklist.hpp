// What is done before and after the work: signals/checklists/KIND.toml, or the user's own of that name in
// store_dir()/checklists.
//   [[item]]
//   key = "settings-saved"
//   when = "before"              # or "after"
//   text = "Settings saved before a module is swapped"
//   caution = "..."              # may be left out
#pragma once

#include <linebench/check/work.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::check {

struct ChecklistItem {
  std::string key, when, text, caution;
};
using Checklist = std::vector<ChecklistItem>;

/// Throws Error(Unusable): file, line, key.
[[nodiscard]] Checklist parse_checklist(std::string_view text, const std::string& file);
/// @param wrong where given, the user's own that is not right gives way to the shipped one, and its error is
/// put here; otherwise it throws.
[[nodiscard]] Checklist load_checklist(job::JobKind kind, std::vector<std::string>* wrong = nullptr);

/// Asks for the items of "before" or "after"; asks nothing where there are none.
void ask_checklist(Script& script, const Checklist& list, const std::string& when);

/// The marks an answer of ask_checklist() stands for, by the items' texts.
[[nodiscard]] std::vector<job::Mark> marks_of(const Checklist& list, const std::string& answer);

}  // namespace linebench::check
