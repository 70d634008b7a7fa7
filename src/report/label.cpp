#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/label.hpp>
#include <linebench/report/page.hpp>
#include <vector>

#include "phrases.hpp"

namespace linebench::report {
namespace {

constexpr double letter = 0.7;     // of the font's size, the width of a letter, capitals among them
constexpr double line_gap = 1.15;  // of the font's size, from line to line
constexpr double least_mm = 1.4;   // 4 pt: what is printed smaller is not read
constexpr double usual_least_mm = 2.2;

double lines_of(const std::string& text, double font_mm, double width_mm) {
  return std::ceil(letter * font_mm * static_cast<double>(text_width(text)) / width_mm);
}

// As large as fits, in one line each where that is still read with ease.
double font_for(const std::vector<std::string>& lines, const std::string& small, const LabelSize& size) {
  const double width_mm = size.width_mm - 4, height_mm = size.height_mm - 3;
  std::size_t longest = 12;
  for (const std::string& line : lines) longest = std::max(longest, text_width(line));
  double font = std::min(size.height_mm / 6.5,
                         std::max(usual_least_mm, width_mm / (letter * static_cast<double>(longest))));
  for (; font >= least_mm; font *= 0.97) {
    const double small_mm = std::min(font, usual_least_mm);
    double needed = line_gap * small_mm * lines_of(small, small_mm, width_mm);
    for (const std::string& line : lines) needed += line_gap * font * lines_of(line, font, width_mm);
    if (needed <= height_mm) return font;
  }
  throw bad_usage(fmt::format("what a label says does not fit on {:g} x {:g} mm; give a larger --size",
                              size.width_mm, size.height_mm));
}

}  // namespace

std::string label_page(const job::Job& job, const LabelSize& size) {
  const std::string name = job.station ? job.station->type : job.title;
  const std::string serial = job.station ? job.station->serial : "";
  const std::string result = job.done ? job.outcome : phrase::job_open;
  const std::string small = job.changed_at.substr(0, 10) + " \u00b7 job " + job.ref;
  const double font_mm = font_for({name, serial, result}, small, size);
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title><style>"
      "@page{{size:{1}mm {2}mm;margin:0}}*{{box-sizing:border-box}}"
      "body{{margin:0;width:{1}mm;height:{2}mm;padding:1.5mm 2mm;background:#fff;color:#000;"
      "font:{3:.2f}mm/1.15 \"Liberation Sans\",Arial,sans-serif;overflow-wrap:anywhere}}"
      "p{{margin:0}}.result{{font-weight:700;text-transform:uppercase}}.small{{font-size:{7:.2f}mm}}"
      "</style></head><body><p>{4}</p>{5}<p class=\"result\">{6}</p>"
      "<p class=\"small\">{8}</p></body></html>\n",
      escaped(job.ref), size.width_mm, size.height_mm, font_mm, escaped(name), escaped(serial),
      escaped(result), std::min(font_mm, usual_least_mm), escaped(small));
}

}  // namespace linebench::report
