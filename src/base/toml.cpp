#include "toml.hpp"

#include <algorithm>
#include <cctype>

namespace linebench {
namespace {

// Walks through a text as far as strings, comments and brackets go; the library judges all else.
class Walk {
 public:
  explicit Walk(std::string_view text) : text_(text) {
    if (text_.starts_with("\xef\xbb\xbf")) at_ = 3;
  }

  void run() {
    while (at_ < text_.size()) {
      const char c = text_[at_];
      if (c == '\n') {
        ++line_;
        fresh_ = true;
        header_ = false;
        ++at_;
        continue;
      }
      if (c == '#') {
        at_ = std::min(text_.find('\n', at_), text_.size());
        continue;
      }
      if (c == '"' || c == '\'') {
        if (at_ > 0 && std::string_view(" \t\n=,[{.\xbf").find(text_[at_ - 1]) == std::string_view::npos)
          throw TomlError{line_, "a quote in the middle of a word"};
        skip_string(c);
      } else if (static_cast<unsigned char>(c) >= 0x80) {
        throw TomlError{line_, "a letter that is not plain ASCII must stand in quotes"};
      } else if (c == '[' && fresh_ && open_.empty()) {
        check_header();
        header_ = true;
        ++at_;
      } else {
        if (!header_) follow_bracket(c);
        ++at_;
      }
      if (c != ' ' && c != '\t') fresh_ = false;
    }
  }

 private:
  void skip_string(char quote) {
    const std::string three(3, quote);
    const bool lines = text_.substr(at_).starts_with(three);
    at_ += lines ? 3 : 1;
    while (at_ < text_.size()) {
      const char c = text_[at_];
      if (c == '\n') {
        if (!lines) return;  // the library says that it does not end
        ++line_;
      }
      if (c == '\\' && quote == '"' && at_ + 1 < text_.size() && text_[at_ + 1] != '\n') {
        at_ += 2;
      } else if (c == quote && (!lines || text_.substr(at_).starts_with(three))) {
        at_ += lines ? 3 : 1;
        return;
      } else {
        ++at_;
      }
    }
  }

  void follow_bracket(char c) {
    constexpr std::size_t deepest = 128;
    if (c == '[' || c == '{') {
      if (open_.size() == deepest) throw TomlError{line_, "brackets are nested too deeply"};
      open_ += c;
    } else if (c == ']' || c == '}') {
      if (open_.empty() || open_.back() != (c == ']' ? '[' : '{'))
        throw TomlError{line_, "a bracket closes that was not opened"};
      open_.pop_back();
    }
  }

  void check_header() const {
    const auto skip = [&](std::size_t at) { return text_.find_first_not_of(" \t", at); };
    std::size_t at = skip(at_ + 1);
    if (at < text_.size() && text_[at] == '[') at = skip(at + 1);
    if (at >= text_.size()) return;
    const auto c = static_cast<unsigned char>(text_[at]);
    if (std::isalnum(c) != 0 || c == '_' || c == '-' || c == '"' || c == '\'' || c == ']') return;
    throw TomlError{line_, "a table needs a name between its brackets"};
  }

  std::string_view text_;
  std::size_t at_ = 0;
  std::size_t line_ = 1;
  std::string open_;     // brackets of a value
  bool fresh_ = true;    // nothing but blanks so far in this line
  bool header_ = false;  // the rest of the line of a table header
};

}  // namespace

void refuse_what_breaks_toml(std::string_view text) { Walk(text).run(); }

}  // namespace linebench
