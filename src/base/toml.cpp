#include "toml.hpp"

#include <algorithm>
#include <cctype>

namespace linebench {
namespace {

// The grammar of TOML 1.0 as far as what stands where; strings' insides, numbers and dates are the library's
// to judge. A text that is not built so never reaches it.
class Grammar {
 public:
  explicit Grammar(std::string_view text) : text_(text) {
    if (text_.starts_with("\xef\xbb\xbf")) at_ = 3;
  }

  void run() {
    while (!ended()) {
      blanks();
      if (now() == '[') {
        header();
      } else if (!line_ends()) {
        pair(0);
      }
      blanks();
      if (!line_ends()) refuse("a line goes on where it should end");
      next_line();
    }
  }

 private:
  [[nodiscard]] bool ended() const { return at_ >= text_.size(); }
  [[nodiscard]] char now() const { return ended() ? '\0' : text_[at_]; }
  [[nodiscard]] bool new_line() const { return text_.substr(at_).starts_with("\r\n") || now() == '\n'; }
  [[nodiscard]] bool line_ends() const { return ended() || now() == '#' || new_line(); }

  /// Says what stands here, or else what is missing.
  [[noreturn]] void refuse(const char* missing) const {
    const char c = now();
    if (static_cast<unsigned char>(c) >= 0x80)
      throw TomlError{line_, "a letter that is not plain ASCII must stand in quotes"};
    if (c == '"' || c == '\'') throw TomlError{line_, "a quote in the middle of a word"};
    if (c == ']' || c == '}') throw TomlError{line_, "a bracket closes that was not opened"};
    throw TomlError{line_, missing};
  }

  void take(char c, const char* missing) {
    if (now() != c) refuse(missing);
    ++at_;
  }

  void blanks() { at_ = std::min(text_.find_first_not_of(" \t", at_), text_.size()); }
  void next_line() {
    at_ = std::min(text_.find('\n', at_), text_.size());
    if (ended()) return;
    ++at_;
    ++line_;
  }
  void blanks_and_lines() {
    for (blanks(); !ended() && line_ends(); blanks()) next_line();
  }

  void header() {
    ++at_;
    const bool row = now() == '[';
    if (row) ++at_;
    blanks();
    const auto c = static_cast<unsigned char>(now());
    if (std::isalnum(c) == 0 && c < 0x80 && std::string_view("_-\"'").find(now()) == std::string_view::npos)
      throw TomlError{line_, "a table needs a name between its brackets"};
    key();
    take(']', "a table's name is not closed with ]");
    if (row) take(']', "a table's name is not closed with ]]");
  }

  void key() {
    for (;;) {
      if (now() == '"' || now() == '\'') {
        quoted(false);
      } else {
        word("_-", "a name is missing");
      }
      blanks();
      if (now() != '.') return;
      ++at_;
      blanks();
    }
  }

  void pair(std::size_t depth) {
    key();
    take('=', "a = is missing");
    blanks();
    value(depth);
  }

  void value(std::size_t depth) {
    constexpr std::size_t deepest = 128;
    const char c = now();
    if (c == '"' || c == '\'') {
      quoted(true);
    } else if (c == '[' || c == '{') {
      if (depth == deepest) throw TomlError{line_, "brackets are nested too deeply"};
      ++at_;
      c == '[' ? row(depth + 1) : table(depth + 1);
    } else {
      const std::size_t from = at_;
      word("+-_.:", "a value is missing");
      // A date and its time may be parted by one blank.
      if (at_ - from == 10 && text_[from + 4] == '-' && now() == ' ' && at_ + 1 < text_.size() &&
          std::isdigit(static_cast<unsigned char>(text_[at_ + 1])) != 0) {
        ++at_;
        word("+-.:", "a time is missing");
      }
    }
  }

  void row(std::size_t depth) {
    for (blanks_and_lines(); now() != ']'; blanks_and_lines()) {
      if (now() == '}') refuse("");
      value(depth);
      blanks_and_lines();
      if (now() == ',') {
        ++at_;
      } else if (now() != ']') {
        refuse("a comma or ] is missing");
      }
    }
    ++at_;
  }

  void table(std::size_t depth) {
    for (blanks(); now() != '}'; blanks()) {
      pair(depth);
      blanks();
      if (now() == ',') {
        ++at_;
      } else if (now() != '}') {
        refuse("a comma or } is missing");
      }
    }
    ++at_;
  }

  void word(std::string_view also, const char* missing) {
    const std::size_t from = at_;
    while (!ended() && (std::isalnum(static_cast<unsigned char>(now())) != 0 ||
                        also.find(now()) != std::string_view::npos))
      ++at_;
    if (at_ == from) refuse(missing);
  }

  void quoted(bool may_have_lines) {
    const char quote = now();
    const std::string three(3, quote);
    const bool lines = may_have_lines && text_.substr(at_).starts_with(three);
    at_ += lines ? 3 : 1;
    for (; !ended(); ++at_) {
      if (now() == '\n') {
        if (!lines) break;
        ++line_;
      } else if (now() == '\\' && quote == '"') {
        lines ? continued() : escaped();
      } else if (now() == quote && (!lines || text_.substr(at_).starts_with(three))) {
        at_ += lines ? 3 : 1;
        // One or two more belong to the text.
        for (int more = 0; lines && more < 2 && now() == quote; ++more) ++at_;
        return;
      }
    }
    throw TomlError{line_, "a quoted text does not end"};
  }

  void escaped() {
    if (at_ + 1 < text_.size() && text_[at_ + 1] != '\n') ++at_;
  }

  /// After a backslash in a text of several lines the library asks every letter, up to the first that is no
  /// blank, whether it is one, and does not survive most beyond ASCII.
  void continued() {
    const std::size_t next = std::min(text_.find_first_not_of(" \t\r\n", at_ + 1), text_.size());
    if (next < text_.size() && static_cast<unsigned char>(text_[next]) >= 0x80) {
      line_ += static_cast<std::size_t>(std::count(text_.begin() + at_, text_.begin() + next, '\n'));
      throw TomlError{line_,
                      "the first letter after a \\ that joins lines must be plain ASCII: break the line "
                      "elsewhere or write the letter as \\uXXXX"};
    }
    escaped();
  }

  std::string_view text_;
  std::size_t at_ = 0;
  std::size_t line_ = 1;
};

}  // namespace

void refuse_what_breaks_toml(std::string_view text) { Grammar(text).run(); }

}  // namespace linebench
