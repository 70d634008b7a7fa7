// TOML from anybody: the one way into the TOML library.
#pragma once

#include <toml++/toml.h>

#include <cstddef>
#include <string>
#include <string_view>

namespace linebench {

/// Why a text is no TOML, and in which line (from 1).
struct TomlError {
  std::size_t line = 0;
  std::string what;
};

/// Throws TomlError for a text that is not built as the grammar of TOML 1.0 says: the library reads past its
/// end, or stops the program, on several that are not (headers without a name, letters beyond ASCII outside
/// quotes, quotes or brackets in the middle of a word). What is inside strings, numbers and dates is its to
/// judge.
void refuse_what_breaks_toml(std::string_view text);

/// Throws TomlError, nothing else.
[[nodiscard]] inline toml::table parse_toml(std::string_view text) {
  refuse_what_breaks_toml(text);
  try {
    return toml::parse(text);
  } catch (const toml::parse_error& e) {
    throw TomlError{e.source().begin.line, std::string(e.description())};
  }
}

}  // namespace linebench
