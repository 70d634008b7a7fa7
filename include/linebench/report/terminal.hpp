// The document as text for a terminal: verdict first, then what is out of limits, then everything else.
#pragma once

#include <linebench/report/document.hpp>
#include <string>

namespace linebench::report {

struct TerminalStyle {
  std::size_t width = 80;  ///< columns; 40 is the least it is laid out for
  bool colour = false;     ///< ANSI colour beside the words, never instead of them
  bool unicode = true;     ///< else plain ASCII
  bool all = false;        ///< every reading, each hum harmonic too
};

/// Ends with a newline. No line is wider than style.width (at least 40), colour codes not counted.
[[nodiscard]] std::string terminal_table(const Document& document, const TerminalStyle& style);

/// Breaks text at spaces into lines of at most `width` columns; a longer word is cut. Every line gets
/// `indent` spaces (counted in the width); `first` replaces the indent of the first line.
[[nodiscard]] std::string wrapped(const std::string& text, std::size_t width, std::size_t indent,
                                  const std::string& first);

}  // namespace linebench::report
