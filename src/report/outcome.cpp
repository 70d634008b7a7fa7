#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/outcome.hpp>
#include <linebench/report/page.hpp>

#include "page_parts.hpp"
#include "phrases.hpp"

namespace linebench::report {
namespace {

// A word each, so that nothing is told by colour or order alone.
std::string_view word_of(Weight w) {
  switch (w) {
    case Weight::Stop:
      return phrase::stop_weight;
    case Weight::Change:
      return phrase::change_weight;
    case Weight::Note:
      return "note";
    case Weight::Good:
      return "good";
  }
  return "";
}

}  // namespace

std::string outcome_text(const Outcome& o, const TerminalStyle& style) {
  const std::size_t width = std::max<std::size_t>(style.width, 40);
  const std::string word(to_string(o.mark));
  std::string out = wrapped(printable(o.headline), width, word.size() + 2, word + ": ");
  if (style.colour) {
    const char* code = o.mark == Mark::Fail ? "1;31" : o.mark == Mark::Pass ? "1;32" : "1;33";
    out.replace(0, word.size(), fmt::format("\x1b[{}m{}\x1b[0m", code, word));
  }
  for (const Point& p : o.points) {
    out += wrapped(printable(p.what), width, 8, fmt::format("{:<8}", word_of(p.weight)));
    if (!p.why.empty()) out += wrapped(printable(p.why), width, 8, std::string(8, ' '));
    if (!p.action.empty())
      out += wrapped(printable(p.action), width, 12, std::string(8, ' ') + phrase::do_this + " ");
    if (!p.caution.empty())
      out += wrapped(printable(p.caution), width, 10, std::string("  ! ") + phrase::caution + " ");
  }
  return style.unicode ? out : to_ascii(out);
}

std::string outcome_section(const Outcome& o) {
  if (o.headline.empty()) return {};
  std::string s =
      fmt::format("<section class=\"brief\"><h2>{2}</h2><p class=\"verdict {0}\"><b>{0}</b> {1}</p>",
                  to_string(o.mark), escaped(o.headline), phrase::result);
  if (!o.points.empty()) s += "<ol class=\"problems\">";
  for (const Point& p : o.points) {
    const bool against = p.weight == Weight::Stop || p.weight == Weight::Change;
    s += fmt::format("<li{}><div class=\"what\"><span class=\"tag\">{}</span> {}</div>",
                     against ? "" : " class=\"fine\"", word_of(p.weight), escaped(p.what));
    if (!p.why.empty()) s += "<p class=\"small\">" + escaped(p.why) + "</p>";
    s += paragraph("do", phrase::do_this, p.action) + paragraph("warn", phrase::caution, p.caution) + "</li>";
  }
  if (!o.points.empty()) s += "</ol>";
  return s + "</section>";
}

std::string drawing_text(const Drawing& d, const TerminalStyle& style) {
  std::string top, middle, bottom;
  const auto times = [](const char* what, std::size_t n) {
    std::string s;
    while (n-- > 0) s += what;
    return s;
  };
  for (std::size_t i = 0; i < d.parts.size(); ++i) {
    const std::string text = printable(d.parts[i]);
    const std::size_t w = text_width(text);
    if (i % 2 == 0) {
      top += "\u250c" + times("\u2500", w + 2) + "\u2510";
      middle += "\u2502 " + text + " \u2502";
      bottom += "\u2514" + times("\u2500", w + 2) + "\u2518";
    } else {
      const std::string gap = times(" ", w + 4);
      top += gap;
      middle += "\u2500 " + text + " \u2500";
      bottom += gap;
    }
  }
  std::string out;
  if (!d.title.empty()) out += wrapped(printable(d.title), std::max<std::size_t>(style.width, 40), 2, "  ");
  if (text_width(middle) + 4 <= style.width) {
    out += "    " + top + "\n    " + middle + "\n    " + bottom + "\n";
  } else {
    for (std::size_t i = 0; i < d.parts.size(); ++i) {
      out += wrapped(printable(d.parts[i]), std::max<std::size_t>(style.width, 40), 8,
                     i % 2 == 0 ? "    \u25a0 " : "    \u2502   ");
    }
  }
  return style.unicode ? out : to_ascii(out);
}

std::string drawing_html(const Drawing& d) {
  std::string s = "<figure class=\"chain\">";
  if (!d.title.empty()) s += "<figcaption>" + escaped(d.title) + "</figcaption>";
  s += "<ol>";
  for (std::size_t i = 0; i < d.parts.size(); ++i) {
    s += fmt::format("<li class=\"{}\">{}</li>", i % 2 == 0 ? "box" : "join", escaped(d.parts[i]));
  }
  return s + "</ol></figure>";
}

}  // namespace linebench::report
