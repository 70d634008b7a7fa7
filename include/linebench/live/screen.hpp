// The live measurement as text: a whole screen for a terminal, one line for a log, a summary at the end.
#pragma once

#include <linebench/live/board.hpp>
#include <string>
#include <vector>

namespace linebench::live {

struct ScreenStyle {
  std::size_t width = 80;   ///< columns; 20 is the least it is laid out for
  std::size_t height = 24;  ///< rows
  bool unicode = true;      ///< else plain ASCII
};

/// At most `height` lines, none wider than `width`, without escapes or colour; what does not fit is left out
/// from the end. The last line is `prompt`, or what the keys do where it is empty.
[[nodiscard]] std::vector<std::string> screen_lines(const Snapshot& s, const std::vector<Track>& history,
                                                    const ScreenStyle& style, const std::string& prompt);

/// One line for a log, e.g. "12.0 s  left -20.01 dBFS, hum -63.2 +/-0.4 dBFS; right ...".
[[nodiscard]] std::string log_line(const Snapshot& s);

/// At the end: how long, the span of every reading on the screen, each mark and what has changed since it.
[[nodiscard]] std::string summary_text(const Board& board, std::size_t width, bool unicode);

}  // namespace linebench::live
