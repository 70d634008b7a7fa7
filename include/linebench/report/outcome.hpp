// What a job came to: one line, and each reason with what to do about it; and how things were connected.
// Shown on the terminal and on the page alike.
#pragma once

#include <linebench/report/terminal.hpp>
#include <linebench/report/view.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// How much a reason counts: against the whole, against it until something is changed, to be known, for it.
enum class Weight { Stop, Change, Note, Good };

struct Point {
  Weight weight = Weight::Note;
  std::string what;      ///< with its figures: "Hum, left: -52.1 dBFS (max -80)"
  std::string why{};     ///< what it means
  std::string action{};  ///< what to do
  std::string caution{};
};

struct Outcome {
  Mark mark = Mark::Measured;
  std::string headline;
  std::vector<Point> points{};  ///< what counts most first
};

/// Ends with a newline; lines as wide as terminal_table()'s.
[[nodiscard]] std::string outcome_text(const Outcome& outcome, const TerminalStyle& style);
/// A section of the page; empty for an outcome without a headline.
[[nodiscard]] std::string outcome_section(const Outcome& outcome);

/// Things in a row, each joined to the next: box, join, box, join, box.
struct Drawing {
  std::string title{};
  std::vector<std::string> parts;  ///< odd in number: boxes at 0, 2, 4; joins between
};

/// Side by side where they fit, else one below the other.
[[nodiscard]] std::string drawing_text(const Drawing& drawing, const TerminalStyle& style);
/// A list that reads in order without a style sheet; boxes wrap on a narrow screen.
[[nodiscard]] std::string drawing_html(const Drawing& drawing);

}  // namespace linebench::report
