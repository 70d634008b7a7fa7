// A plot as data, drawn as SVG for the page or in pixels for a PNG: one description, so that both show the
// same.
#pragma once

#include <linebench/report/svg.hpp>
#include <linebench/signals/drawing.hpp>
#include <string>
#include <vector>

namespace linebench::report {

struct ChartSeries {
  std::vector<double> x{}, y{};
  std::string style = "s0";  ///< s0, s1, mask, rail of the page's style sheet; "thin" after it
  std::string name{};        ///< in the legend
};

struct ChartMark {
  double x = 0;
  double y = 0;
  std::string text{};
};

struct Chart {
  std::string title{};
  std::string description{};
  std::string caption{};
  Axis x{};
  Axis y{};
  std::vector<ChartSeries> series{};
  std::vector<ChartMark> marks{};
  std::string marks_name{};  ///< in the legend
};

/// As a figure of the page. @param id unique on it.
[[nodiscard]] std::string chart_figure(const Chart& chart, const std::string& id);

/// All charts below one another.
[[nodiscard]] signals::Drawing draw_charts(const std::string& title, const std::vector<Chart>& charts);

/// What one unit of height is in units of width on a plot of this shape: for equal scales on both axes.
inline constexpr double chart_aspect = 418.0 / 200.0;

}  // namespace linebench::report
