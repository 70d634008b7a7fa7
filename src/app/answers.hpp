// Who answers a guided job's steps: a person at a terminal, a pipe, or a folder of files. The job's code is
// the same for all.
#pragma once

#include <filesystem>
#include <linebench/check/step.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "check_record.hpp"
#include "commands.hpp"

namespace linebench::app {

/// What came back from a step.
struct Reply {
  enum class Kind { Answer, Record, Keep, Back, Change, Note, Leave } kind = Kind::Leave;
  std::string text{};     ///< Answer: in stored form (a file for a capture); Change: the key; Note: the note
  std::string refused{};  ///< what was metered and typed before, and is no value of this kind
};

class Answers {
 public:
  Answers() = default;
  Answers(const Answers&) = delete;
  Answers& operator=(const Answers&) = delete;
  virtual ~Answers() = default;
  /// Waits for an answer to a step that was shown. @param route the steps before, for `change`.
  virtual Reply reply(const check::Step& step, const check::Route& route) = 0;
  /// After something that took a while: what was typed meanwhile answers nothing, or an Enter too many would
  /// send the next tone into a plug that was not moved yet.
  virtual void forget_typed() {}
  /// Whether a file that could not be used may be asked for again.
  [[nodiscard]] virtual bool can_try_again() const = 0;
};

/// The text of "note TEXT"; nothing for any other line.
[[nodiscard]] std::optional<std::string> note_in(const std::string& line);

/// Lines of standard input. `back`, `change`, `note TEXT` and `stop` are understood at every step, in
/// capitals or not; after `=` any line is the answer as it stands. Its end, or Ctrl-C, leaves the job. @param
/// devices where one was named for a capture, a bare Enter takes it in.
[[nodiscard]] std::unique_ptr<Answers> answers_from_keyboard(const check::Words& words,
                                                             const Context& context, CheckDevices devices);

/// DIR/answers.toml (answers by their key, 'skip' for a capture that is left out) and captures named
/// DIR/KEY.*. Throws Error(Unusable) for a step that has no answer there.
[[nodiscard]] std::unique_ptr<Answers> answers_from_files(const check::Words& words,
                                                          const std::filesystem::path& folder,
                                                          const Context& context);

/// The step on the screen: what is known, what is asked, cautions, drawing, what to do, choices.
/// @param number of the step; 0: it has none.
void show_step(const check::Step& step, std::size_t number, const check::Words& words,
               const Context& context);

/// A sentence for a person, wrapped to the screen, as show_text().
void show_line(const Context& context, const std::string& text);

/// To standard output; with --json, where that holds the document alone, to standard error.
void show_text(const Context& context, const std::string& text);

}  // namespace linebench::app
