#include <fmt/format.h>

#include <algorithm>
#include <linebench/report/format.hpp>
#include <linebench/report/label.hpp>
#include <linebench/report/page.hpp>

#include "phrases.hpp"

namespace linebench::report {

std::string label_page(const job::Job& job, const LabelSize& size) {
  const std::string name = job.station ? job.station->type : job.title;
  const std::string serial = job.station ? job.station->serial : "";
  const std::string result = job.done ? job.outcome : phrase::job_open;
  // The longest line decides: letters of the label's font are about 0.6 of their size wide.
  const std::size_t longest =
      std::max({text_width(name), text_width(serial) + 3, text_width(result), std::size_t{12}});
  const double font_mm =
      std::clamp((size.width_mm - 4) / (0.6 * static_cast<double>(longest)), 2.2, size.height_mm / 6.5);
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title><style>"
      "@page{{size:{1}mm {2}mm;margin:0}}*{{box-sizing:border-box}}"
      "body{{margin:0;width:{1}mm;height:{2}mm;padding:1.5mm 2mm;background:#fff;color:#000;"
      "font:{3:.2f}mm/1.15 \"Liberation Sans\",Arial,sans-serif;overflow-wrap:anywhere}}"
      "p{{margin:0}}.result{{font-weight:700;text-transform:uppercase}}.small{{font-size:2.2mm}}"
      "</style></head><body><p>{4}</p>{5}<p class=\"result\">{6}</p>"
      "<p class=\"small\">{7} \u00b7 job {8}</p></body></html>\n",
      escaped(job.ref), size.width_mm, size.height_mm, font_mm, escaped(name), escaped(serial),
      escaped(result), escaped(job.changed_at.substr(0, 10)), escaped(job.ref));
}

}  // namespace linebench::report
