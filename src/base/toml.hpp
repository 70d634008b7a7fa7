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

/// Throws TomlError for what the library does not survive: a table header without a name, letters beyond
/// ASCII outside quotes and comments, a quote in the middle of a word, brackets that do not belong together.
/// TOML has none of them.
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
