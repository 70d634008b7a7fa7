// A small drawing helper for plots as inline SVG: axes, lines, bands, marks. Colours come from classes of the
// page's style sheet, so that one drawing serves light, dark and paper.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::report {

struct Tick {
  double at = 0;
  std::string text{};  ///< empty: a grid line without a number
};

struct Axis {
  double min = 0;
  double max = 1;
  bool log = false;
  std::string label{};
  std::vector<Tick> ticks{};
};

/// Ticks at 1, 2 or 5 times a power of ten, about `wanted` of them; the ends are kept as given. min < max.
[[nodiscard]] Axis linear_axis(double min, double max, std::string label, int wanted = 6);
/// A frequency axis: numbers at 1-2-5 steps ("20", "1k"), 0 < min < max.
[[nodiscard]] Axis log_axis(double min, double max, std::string label);

/// Shapes of marks; a shape goes with each kind of event so that colour is never alone.
enum class MarkShape { Dot, TriangleUp, TriangleDown, Diamond, Cross };

/// A plot of fixed proportions in a view box; texts are escaped here.
class Plot {
 public:
  /// @param id unique on the page, letters, digits and dashes. @param title, description read out by screen
  /// readers.
  Plot(std::string id, std::string title, std::string description, Axis x, Axis y);

  /// A line through the points; it breaks where a value is not finite. @param style class name, e.g. "s0".
  /// @param name in the legend; empty: not in the legend.
  void line(std::span<const double> x, std::span<const double> y, std::string_view style,
            const std::string& name = {});
  /// The area between two curves over the same x.
  void band(std::span<const double> x, std::span<const double> low, std::span<const double> high,
            std::string_view style, const std::string& name = {});
  /// A thin line over the whole height (or width).
  void vertical(double x, std::string_view style);
  void horizontal(double y, std::string_view style);
  /// A mark; `y` beyond the axis is put on its edge. @param text beside it, may be empty.
  void mark(double x, double y, MarkShape shape, std::string_view style, const std::string& text = {});
  /// A legend entry for marks.
  void legend_mark(MarkShape shape, std::string_view style, const std::string& name);

  [[nodiscard]] std::string svg() const;

 private:
  [[nodiscard]] double px(double x) const;
  [[nodiscard]] double py(double y) const;

  std::string id_, title_, description_;
  Axis x_, y_;
  std::string body_;
  std::vector<std::string> legend_;
};

}  // namespace linebench::report
