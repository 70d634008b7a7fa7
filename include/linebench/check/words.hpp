// All that a guided job says to a person, in one file a language: signals/words/check.LANGUAGE.toml. The
// program speaks in keys; a translator needs nothing else.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::check {

struct Choice {
  std::string word;  ///< what is stored and may be typed
  std::string text;
  std::string keeps{};  ///< stored with the answer, under its key and kept_text; empty: nothing
};
inline constexpr std::string_view kept_text = ".text";

/// What is asked at one step.
struct Question {
  std::string ask;
  std::string title;              ///< in a few words, for lists of answers
  std::vector<std::string> help;  ///< steps to be done before the answer, in order
  std::vector<std::string> cautions;
  std::vector<Choice> choices;    ///< empty: a text or a number is wanted
  std::string otherwise;          ///< the answer of a bare Enter; empty: none
  std::vector<std::string> draw;  ///< box, join, box, ...
};

/// What to say of a reading that is out of its limit in a programme feed.
struct Advice {
  bool stop = false;  ///< no change at the receiving end helps
  std::string why, action, caution;
};

/// Values put into a text at "{name}".
using Values = std::vector<std::pair<std::string, std::string>>;

class Words {
 public:
  /// The shipped words of this language. Throws Error(Usage) for a language there are no words of, naming
  /// those there are; Error(Unusable) for a file that is not right: file, line, key.
  [[nodiscard]] static Words load(const std::string& language);
  [[nodiscard]] static Words parse(std::string_view text, const std::string& file);

  /// Throws std::logic_error for a key that has no words: a mistake of the program.
  [[nodiscard]] const Question& question(std::string_view key) const;
  [[nodiscard]] const Question* find_question(std::string_view key) const;
  [[nodiscard]] std::string text(std::string_view key, const Values& values = {}) const;
  /// "ID.high", "ID.low" before "ID", but "ID.missing" and "ID.doubtful" alone; nullptr when nothing is said
  /// of it.
  [[nodiscard]] const Advice* advice(std::string_view id, std::string_view side) const;

  /// "{name}" replaced by its value; what has no value is left as it stands.
  [[nodiscard]] static std::string filled(std::string text, const Values& values);

 private:
  std::map<std::string, Question, std::less<>> questions_;
  std::map<std::string, std::string, std::less<>> texts_;
  std::map<std::string, Advice, std::less<>> advice_;
};

}  // namespace linebench::check
