#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/terminal.hpp>
#include <linebench/report/view.hpp>

#include "phrases.hpp"

namespace linebench::report {
namespace {

constexpr std::size_t least_width = 40;
constexpr std::size_t columns_from_width = 72;  // below it rows are stacked

constexpr std::size_t label_columns = 25;
constexpr std::size_t unit_columns = 6;

// The first `columns` columns; what is cut off is marked.
std::string fit(const std::string& text, std::size_t columns) {
  if (text_width(text) <= columns) return text;
  std::string out;
  std::size_t used = 0;
  for (std::size_t i = 0; i < text.size();) {
    const std::string character = text.substr(i, character_length(std::string_view(text).substr(i)));
    used += text_width(character);
    if (used > columns - 1) break;
    out += character;
    i += character.size();
  }
  return out + "~";
}

std::string padding(std::size_t columns, const std::string& text) {
  return std::string(columns - std::min(columns, text_width(text)), ' ');
}

std::string left(const std::string& text, std::size_t columns) {
  const std::string t = fit(text, columns);
  return t + padding(columns, t);
}

std::string right(const std::string& text, std::size_t columns) {
  const std::string t = fit(text, columns);
  return padding(columns, t) + t;
}

std::string trimmed(std::string line) {
  while (!line.empty() && line.back() == ' ') line.pop_back();
  return line;
}

// Stand-ins are longer than what they stand for, so they come before anything is laid out.
void make_ascii(View& v) {
  const auto all = [](std::initializer_list<std::string*> texts) {
    for (std::string* t : texts) *t = to_ascii(*t);
  };
  all({&v.headline, &v.next, &v.limit_set, &v.mains_comb});
  for (auto* list : {&v.channels, &v.facts, &v.warnings, &v.notes}) {
    for (std::string& t : *list) t = to_ascii(t);
  }
  for (Problem& p : v.problems)
    all({&p.label, &p.reading, &p.limit, &p.source, &p.meaning, &p.next, &p.remark});
  for (RowGroup& g : v.groups) {
    all({&g.title});
    for (Row& r : g.rows) {
      all({&r.label, &r.unit, &r.limit, &r.source, &r.remark});
      for (Cell& c : r.cells) all({&c.shown.value, &c.shown.uncertainty, &c.shown.unit});
    }
  }
  for (Gap& g : v.gaps) all({&g.labels, &g.reason});
}

class Table {
 public:
  Table(const Document& document, const TerminalStyle& style)
      : view_(make_view(document, style.all)), style_(style), width_(std::max(style.width, least_width)) {
    if (!style.unicode) make_ascii(view_);
  }

  std::string build() {
    headline();
    facts();
    problems();
    for (const RowGroup& group : view_.groups) rows(group);
    gaps();
    footer();
    return out_;
  }

 private:
  void line(const std::string& text = {}) { out_ += trimmed(text) + "\n"; }
  void block(const std::string& text, std::size_t indent, const std::string& first) {
    out_ += wrapped(text, width_, indent, first);
  }

  [[nodiscard]] std::string painted(std::string_view code, const std::string& text) const {
    return style_.colour ? fmt::format("\x1b[{}m{}\x1b[0m", code, text) : text;
  }
  [[nodiscard]] std::string mark_colour() const {
    return view_.mark == Mark::Fail ? "1;31" : view_.mark == Mark::Pass ? "1;32" : "1;33";
  }
  void title(const std::string& text) {
    line();
    line(painted("1", text));
  }

  void headline() {
    const std::string word(to_string(view_.mark));
    std::string text = wrapped(view_.headline, width_, word.size() + 2, word + ": ");
    if (style_.colour) text.replace(0, word.size(), painted(mark_colour(), word));
    out_ += text;
    if (!view_.next.empty()) block(view_.next, 4, phrase::do_this + std::string(" "));
  }

  void facts() {
    std::string pieces = fmt::format("{}", fmt::join(view_.facts, dot()));
    if (!view_.limit_set.empty()) pieces += dot() + phrase::limits + view_.limit_set;
    block(pieces, 0, "");
    for (const std::string& w : view_.warnings) block(w, 9, phrase::caution_loud);
    for (const std::string& n : view_.notes) block(n, 6, phrase::note);
  }

  void problems() {
    if (view_.problems.empty()) return;
    title(phrase::out_of_limits);
    for (const Problem& p : view_.problems) {
      std::string text = wrapped(fmt::format("{}: {} (limit {}, {})", p.label, p.reading, p.limit, p.source),
                                 width_, 6, fmt::format("{:<5} ", phrase::fail));
      if (style_.colour)
        text.replace(0, std::string_view(phrase::fail).size(), painted("1;31", phrase::fail));
      out_ += text;
      if (!p.remark.empty()) block(p.remark, 6, "      ");
      block(p.meaning, 6, "      ");
      block(p.next, 10, std::string(6, ' ') + phrase::do_this + " ");
    }
  }

  // Columns: label, one a channel, unit, verdict and limit.
  void rows(const RowGroup& group) {
    title(group.title);
    const bool side_by_side = width_ >= columns_from_width && view_.channels.size() <= 2;
    for (const Row& row : group.rows) {
      if (side_by_side && fits_columns(row)) {
        columns(row);
      } else {
        stacked(row);
      }
    }
    if (!view_.mains_comb.empty() && group.title.starts_with("Hum")) {
      block(phrase::harmonics + view_.mains_comb + phrase::all_lists_them, 4, "  ");
    }
  }

  [[nodiscard]] std::string dot() const { return style_.unicode ? " \u00b7 " : " - "; }
  [[nodiscard]] std::string plus_minus() const { return style_.unicode ? "\u00b1" : "+/-"; }

  [[nodiscard]] std::string cell_text(const Cell& c) const {
    if (!c.present) return "-";
    return c.shown.uncertainty.empty() ? c.shown.value
                                       : c.shown.value + " " + plus_minus() + c.shown.uncertainty;
  }

  [[nodiscard]] std::size_t cell_columns() const { return view_.channels.size() > 1 ? 15 : 20; }
  [[nodiscard]] std::size_t value_columns() const { return cell_columns() * view_.channels.size(); }
  [[nodiscard]] std::size_t before_verdict() const {
    return 2 + label_columns + value_columns() + 2 + unit_columns;
  }

  // Nothing of a value or a limit is ever cut off; a row too wide for the columns is stacked.
  [[nodiscard]] bool fits_columns(const Row& row) const {
    const std::size_t space = row.cells.size() < view_.channels.size() ? value_columns() : cell_columns();
    const bool cells = std::all_of(row.cells.begin(), row.cells.end(),
                                   [&](const Cell& c) { return text_width(cell_text(c)) < space; });
    return cells && text_width(verdict_text(row)) + before_verdict() <= width_ &&
           text_width(row.unit) <= unit_columns;
  }

  void columns(const Row& row) {
    const std::size_t count = view_.channels.size();
    const std::size_t cell = cell_columns();
    const std::size_t values = value_columns();
    std::string text = "  " + left(row.label, label_columns);
    std::size_t used = 0;
    for (const Cell& c : row.cells) {
      // One value of a whole capture may spread over both columns.
      const std::size_t space = row.cells.size() < count ? values : cell;
      text += right(cell_text(c), space);
      used += space;
    }
    text += std::string(values - std::min(used, values), ' ');
    text += " " + left(row.unit, unit_columns) + " ";
    text += verdict_text(row);
    line(paint_verdict(row, text));
  }

  void stacked(const Row& row) {
    std::string values;
    for (std::size_t i = 0; i < row.cells.size(); ++i) {
      if (!row.cells[i].present) continue;
      if (!values.empty()) values += ", ";
      if (row.cells.size() > 1) values += view_.channels[i] + " ";
      values += cell_text(row.cells[i]);
    }
    std::string text = row.label + ": " + values + (row.unit.empty() ? "" : " " + row.unit);
    const std::string verdict = verdict_text(row);
    if (!verdict.empty()) text += "  " + verdict;
    out_ += paint_verdict(row, wrapped(text, width_, 4, "  "));
  }

  [[nodiscard]] static std::string verdict_text(const Row& row) {
    if (row.limit.empty()) return {};
    const char* word = row.verdict == Verdict::Fail   ? phrase::fail
                       : row.verdict == Verdict::Pass ? phrase::ok
                                                      : "";
    return fmt::format("{:<5}", word) + row.limit;
  }
  [[nodiscard]] std::string paint_verdict(const Row& row, std::string text) const {
    if (!style_.colour || row.verdict != Verdict::Fail) return text;
    if (const auto at = text.rfind(phrase::fail); at != std::string::npos)
      text.replace(at, std::string_view(phrase::fail).size(), painted("1;31", phrase::fail));
    return text;
  }

  void gaps() {
    if (view_.gaps.empty()) return;
    title(phrase::could_not);
    for (const Gap& g : view_.gaps) {
      block(
          fmt::format("{}{}: {}", g.labels, g.wanted ? fmt::format(" ({})", phrase::required) : "", g.reason),
          4, "  ");
    }
  }

  void footer() {
    std::vector<std::string> sources;
    std::vector<std::pair<std::string, std::string>> remarks;  // remark, labels it belongs to
    for (const RowGroup& group : view_.groups) {
      for (const Row& row : group.rows) {
        if (!row.source.empty() && std::find(sources.begin(), sources.end(), row.source) == sources.end()) {
          sources.push_back(row.source);
        }
        if (row.remark.empty() || row.verdict == Verdict::Fail) continue;
        const auto same = std::find_if(remarks.begin(), remarks.end(),
                                       [&](const auto& r) { return r.first == row.remark; });
        if (same == remarks.end()) {
          remarks.emplace_back(row.remark, row.label);
        } else {
          same->second += ", " + row.label;
        }
      }
    }
    if (!remarks.empty()) title(phrase::remarks);
    for (const auto& [remark, labels] : remarks) block(labels + ": " + remark, 4, "  ");
    line();
    if (!sources.empty()) block(fmt::format(phrase::limits_from, fmt::join(sources, "; ")), 2, "");
    block(plus_minus() + phrase::uncertainty_is, 2, "");
  }

  View view_;
  TerminalStyle style_;
  std::size_t width_;
  std::string out_;
};

}  // namespace

std::string terminal_table(const Document& document, const TerminalStyle& style) {
  return Table(document, style).build();
}

std::string wrapped(const std::string& text, std::size_t width, std::size_t indent,
                    const std::string& first) {
  std::string out;
  std::string current = first;
  bool fresh = true;  // nothing but the indent on this line yet
  const auto flush = [&] {
    out += trimmed(current) + "\n";
    current = std::string(indent, ' ');
    fresh = true;
  };
  std::size_t at = 0;
  while (at < text.size()) {
    std::size_t end = text.find(' ', at);
    if (end == std::string::npos) end = text.size();
    std::string word = text.substr(at, end - at);
    at = end + 1;
    if (word.empty()) continue;
    if (!fresh && text_width(current) + 1 + text_width(word) > width) flush();
    while (text_width(current) + (fresh ? 0 : 1) + text_width(word) > width) {  // longer than a line: cut it
      const std::size_t space = width - std::min(width - 1, text_width(current));
      std::size_t bytes = character_length(word);
      std::size_t used = text_width(word.substr(0, bytes));
      while (bytes < word.size()) {
        const std::size_t next = character_length(std::string_view(word).substr(bytes));
        used += text_width(word.substr(bytes, next));
        if (used > space) break;
        bytes += next;
      }
      current += word.substr(0, bytes);
      word.erase(0, bytes);
      flush();
    }
    if (word.empty()) continue;
    current += (fresh ? "" : " ") + word;
    fresh = false;
  }
  if (!fresh || out.empty()) out += trimmed(current) + "\n";
  return out;
}

}  // namespace linebench::report
