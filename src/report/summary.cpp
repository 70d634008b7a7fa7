#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/summary.hpp>
#include <linebench/report/view.hpp>

#include "phrases.hpp"

namespace linebench::report {
namespace {

std::string padded(std::string text, std::size_t columns) {
  const std::size_t have = text_width(text);
  if (have < columns) text.append(columns - have, ' ');
  return text;
}

const char* colour_of(Mark mark) {
  return mark == Mark::Fail ? "1;31" : mark == Mark::Pass ? "1;32" : "1;33";
}

std::string name_of(const PageSection& s, const TerminalStyle& style) {
  const std::string name = printable(s.title.empty() ? s.document.input.source : s.title);
  return style.unicode ? name : to_ascii(name);
}

}  // namespace

std::string terminal_summary(const std::string& title, const std::vector<PageSection>& sections,
                             const TerminalStyle& style) {
  constexpr std::size_t verdict_columns = 12;
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  std::size_t name_columns = 8;
  for (const auto& s : sections) name_columns = std::max(name_columns, text_width(name_of(s, style)) + 2);
  const bool one_line = width >= verdict_columns + name_columns + 30;
  std::string out;
  std::size_t failed = 0, open = 0;
  for (const auto& s : sections) {
    const View view = make_view(s.document, false);
    failed += view.mark == Mark::Fail ? 1 : 0;
    open += view.mark == Mark::Incomplete ? 1 : 0;
    const std::string word(to_string(view.mark));
    const std::string finding = style.unicode ? finding_of(view) : to_ascii(finding_of(view));
    std::string text;
    if (one_line) {
      text = wrapped(finding, width, verdict_columns + name_columns,
                     padded(word, verdict_columns) + padded(name_of(s, style), name_columns));
    } else {
      text = wrapped(name_of(s, style), width, 4, padded(word, verdict_columns)) +
             wrapped(finding, width, 4, "    ");
    }
    if (style.colour)
      text.replace(0, word.size(), fmt::format("\x1b[{}m{}\x1b[0m", colour_of(view.mark), word));
    out += text;
  }
  std::string head =
      fmt::format(phrase::captures_out, style.unicode ? printable(title) : to_ascii(printable(title)), failed,
                  sections.size());
  if (open > 0) head += fmt::format(", {} incomplete", open);
  out = wrapped(head, width, 2, "") + "\n" + out;
  return out;
}

}  // namespace linebench::report
