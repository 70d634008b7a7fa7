// A label for the station that was tested: one small page.
#pragma once

#include <linebench/job/records.hpp>
#include <string>

namespace linebench::report {

struct LabelSize {
  double width_mm = 62;
  double height_mm = 29;
};

/// Type, serial, result, day and job as one page of that size, to be printed without margins. Everything
/// typed by people is escaped; long names are broken, never cut. Colours are black on white.
[[nodiscard]] std::string label_page(const job::Job& job, const LabelSize& size);

}  // namespace linebench::report
