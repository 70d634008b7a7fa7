// What the program says. Standard error may be closed or full; that must never end a measurement, so these do
// not throw. Standard output is the result: print_text() throws where it cannot be written.
#pragma once

#include <fmt/format.h>

#include <string>
#include <utility>

namespace linebench::app {

/// Standard streams that the caller closed get a place holder, so that no file that is opened later takes
/// their number and is written into. Output then fails as it should. Call before anything else.
void hold_standard_streams();

/// Text to standard error as it stands; what cannot be written is lost.
void say_text(const std::string& text);

/// The same, formatted. Names from outside are to be made printable first (report::printable).
template <typename... T>
void say(fmt::format_string<T...> pattern, T&&... values) {
  say_text(fmt::format(pattern, std::forward<T>(values)...));
}

/// Writes all of the text to standard output. A reader that went away (a pager that was left) is no error:
/// what it wanted to see it has seen. Throws Error(Unusable) when it cannot be written for any other reason.
void print_text(const std::string& text);

/// The same, formatted.
template <typename... T>
void print(fmt::format_string<T...> pattern, T&&... values) {
  print_text(fmt::format(pattern, std::forward<T>(values)...));
}

}  // namespace linebench::app
