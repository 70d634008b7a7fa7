// A comparison as text and JSON.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/report/findings.hpp>
#include <linebench/report/format.hpp>
#include <nlohmann/json.hpp>

#include "findings_words.hpp"
#include "phrases.hpp"

namespace linebench::report {
namespace {

using diagnose::Certainty;
using diagnose::Change;
using diagnose::ReadingChange;
using nlohmann::json;

constexpr std::size_t faults_shown = 5;
constexpr double worth_showing = 0.02;  // of a probability's movement

const char* change_word(Change c) {
  return c == Change::More ? "more" : c == Change::Less ? "less" : c == Change::Other ? "other" : "same";
}
const char* certainty_word(Certainty c) {
  return c == Certainty::Certain ? "certain" : c == Certainty::Likely ? "likely" : "unsure";
}

std::string change_line(const ReadingChange& c) {
  std::string s = fmt::format("{}: {} -> {}", c.label, c.before, c.after);
  if (c.change != Change::Other) {
    s += fmt::format(" ({}{:+.3g}{}{}", c.remark == "at least" ? phrase::at_least : "", c.difference,
                     c.unit.empty() ? "" : " ", difference_unit(c.unit));
    // What is counted is what it is.
    if (c.uncertainty > 0) s += fmt::format(" \u00b1{:.2g}", c.uncertainty);
    if (!c.remark.empty() && c.remark != "at least") s += ", " + c.remark;
    s += ")";
  }
  return s;
}

// Hum that is less after something was done may be so because an earth was taken off.
std::string caution_of(const diagnose::Comparison& c) {
  const bool less = std::ranges::any_of(c.changes, [](const ReadingChange& x) {
    return x.id.find(".hum.") != std::string::npos && (x.change == Change::Less || x.change == Change::Other);
  });
  return less ? phrase::earth_stays : "";
}

std::string heading(const std::string& text, const TerminalStyle& style) {
  return "\n" + (style.colour ? "\x1b[1m" + text + "\x1b[0m" : text) + "\n";
}

}  // namespace

std::string changes_text(const diagnose::Comparison& c, const TerminalStyle& style) {
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  std::string out;
  std::size_t same = 0;
  bool any = false;
  for (const ReadingChange& x : c.changes) {
    if (x.change == Change::Same) {
      ++same;
      continue;
    }
    if (!any) out += heading(phrase::changed, style);
    any = true;
    out +=
        wrapped(printable(change_line(x)), width, 11, fmt::format("  {:<7}  ", certainty_word(x.certainty)));
  }
  out +=
      wrapped(fmt::format(phrase::stayed, same, style.all ? ":" : phrase::all_lists_them + std::string(".")),
              width, 2, any ? "\n" : "");
  for (const ReadingChange& x : c.changes) {
    if (style.all && x.change == Change::Same) out += wrapped(printable(change_line(x)), width, 4, "  ");
  }
  return style.unicode ? out : to_ascii(out);
}

std::string comparison_table(const diagnose::Comparison& c, const TerminalStyle& style) {
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  std::string out = wrapped(printable(c.summary), width, 0, "");
  out += wrapped(printable(fmt::format(phrase::before_after, c.before_name, c.after_name)), width, 0, "");
  if (const std::string caution = caution_of(c); !caution.empty())
    out += wrapped(caution, width, 9, phrase::caution_loud);
  const auto title = [&](const std::string& t) { out += heading(t, style); };
  out += changes_text(c, style);
  // What cannot be set against each other moves no ranking.
  if (!c.caveat.empty()) return style.unicode ? out : to_ascii(out);
  title(phrase::to_the_ranking);
  out += fmt::format("  {:>5} -> {:>5}  {}\n", show_probability(c.nothing_before),
                     show_probability(c.nothing_after), phrase::ranking_sound);
  for (std::size_t i = 0; i < std::min(c.faults.size(), faults_shown); ++i) {
    const auto& f = c.faults[i];
    if (std::abs(f.after - f.before) < worth_showing) break;
    out += wrapped(f.label, width, 18,
                   fmt::format("  {:>5} -> {:>5}  ", show_probability(f.before), show_probability(f.after)));
  }
  return style.unicode ? out : to_ascii(out);
}

json comparison_to_json(const diagnose::Comparison& c) {
  json changes = json::array();
  for (const ReadingChange& x : c.changes) {
    json j = {{"id", x.id},
              {"label", x.label},
              {"before", x.before},
              {"after", x.after},
              {"unit", x.unit},
              {"change", change_word(x.change)},
              {"certainty", certainty_word(x.certainty)}};
    if (x.uncertainty > 0 || x.difference != 0) {
      j["difference"] = x.difference;
      j["uncertainty"] = x.uncertainty;
    }
    if (!x.remark.empty()) j["remark"] = x.remark;
    changes.push_back(std::move(j));
  }
  json faults = json::array();
  for (const auto& f : c.faults)
    faults.push_back({{"fault", f.fault}, {"label", f.label}, {"before", f.before}, {"after", f.after}});
  return {{"before", c.before_name},
          {"after", c.after_name},
          {"did", c.did},
          {"summary", c.summary},
          {"caveat", c.caveat},
          {"caution", caution_of(c)},
          {"changes", changes},
          {"faults", faults},
          {"nothing_wrong", {{"before", c.nothing_before}, {"after", c.nothing_after}}}};
}

}  // namespace linebench::report
