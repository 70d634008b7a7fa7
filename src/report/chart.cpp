#include "chart.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/report/format.hpp>
#include <linebench/report/page.hpp>

namespace linebench::report {
namespace {

using signals::Colour;
using signals::DrawnText;

// The page's light colours.
constexpr Colour ink{0x17, 0x21, 0x2b};
constexpr Colour soft{0x51, 0x60, 0x6d};
constexpr Colour rule{0xd5, 0xdc, 0xe1};
constexpr Colour first{0x0a, 0x6a, 0x7c};
constexpr Colour second{0xa8, 0x43, 0x00};
constexpr Colour limit{0xab, 0x1f, 0x17};
constexpr Colour mark{0x8a, 0x2a, 0x8f};

Colour colour_of(const std::string& style) {
  if (style.starts_with("s1")) return second;
  if (style.starts_with("mask")) return limit;
  if (style.starts_with("rail")) return soft;
  return first;
}

constexpr double sheet_width = 960;
constexpr double left = 90;
constexpr double right = 930;
constexpr double head = 60;
constexpr double chart_height = 500;
constexpr double plot_top = 48;
constexpr double plot_height = (right - left) / chart_aspect;

class Sheet {
 public:
  Sheet(signals::Drawing& d, const Chart& c, double top) : d_(d), c_(c), top_(top + plot_top) {}
  void draw() {
    text(left, top_ - 28, c_.title, 15, ink, DrawnText::Anchor::Left);
    for (const Tick& t : c_.x.ticks) {
      polyline({{px(t.at), top_}, {px(t.at), top_ + plot_height}}, rule, 1);
      text(px(t.at), top_ + plot_height + 20, t.text, 11, soft, DrawnText::Anchor::Middle);
    }
    for (const Tick& t : c_.y.ticks) {
      polyline({{left, py(t.at)}, {right, py(t.at)}}, rule, 1);
      text(left - 8, py(t.at) + 5, t.text, 11, soft, DrawnText::Anchor::Right);
    }
    polyline(
        {{left, top_}, {right, top_}, {right, top_ + plot_height}, {left, top_ + plot_height}, {left, top_}},
        rule, 1);
    text(left, top_ - 8, c_.y.label, 11, soft, DrawnText::Anchor::Left);
    text(right, top_ + plot_height + 40, c_.x.label, 11, soft, DrawnText::Anchor::Right);
    double at = left;
    for (const ChartSeries& s : c_.series) {
      series(s);
      if (!s.name.empty()) at = legend(at, s.name, colour_of(s.style));
    }
    for (const ChartMark& m : c_.marks) {
      const double x = px(m.x);
      const double y = py(m.y);
      polyline({{x - 5, y}, {x + 5, y}}, mark, 2);
      polyline({{x, y - 5}, {x, y + 5}}, mark, 2);
      text(x, y - 9, m.text, 11, mark, DrawnText::Anchor::Middle);
    }
    if (!c_.marks.empty() && !c_.marks_name.empty()) legend(at, "+ " + c_.marks_name, mark);
  }

 private:
  [[nodiscard]] double px(double x) const {
    return left + (x - c_.x.min) / (c_.x.max - c_.x.min) * (right - left);
  }
  [[nodiscard]] double py(double y) const {
    const double t = (y - c_.y.min) / (c_.y.max - c_.y.min);
    return top_ + plot_height - std::clamp(t, 0.0, 1.0) * plot_height;
  }
  void polyline(std::vector<std::array<double, 2>> points, Colour colour, int width) {
    d_.lines.push_back({std::move(points), colour, width});
  }
  void text(double x, double y, const std::string& s, int size, Colour colour, DrawnText::Anchor anchor) {
    if (!s.empty()) d_.texts.push_back({x, y, to_ascii(s), size, colour, anchor});
  }
  double legend(double at, const std::string& name, Colour colour) {
    polyline({{at, top_ + plot_height + 36}, {at + 22, top_ + plot_height + 36}}, colour, 2);
    text(at + 28, top_ + plot_height + 40, name, 11, soft, DrawnText::Anchor::Left);
    return at + 48 + 8 * static_cast<double>(name.size());
  }
  // Broken where a value is not finite or lies beside the axis.
  void series(const ChartSeries& s) {
    const int width = s.style == "s0" || s.style == "s1" ? 2 : 1;
    std::vector<std::array<double, 2>> points;
    const auto flush = [&] {
      if (points.size() > 1) polyline(points, colour_of(s.style), width);
      points.clear();
    };
    for (std::size_t i = 0; i < std::min(s.x.size(), s.y.size()); ++i) {
      if (!std::isfinite(s.y[i]) || s.x[i] < c_.x.min || s.x[i] > c_.x.max) {
        flush();
        continue;
      }
      points.push_back({px(s.x[i]), py(s.y[i])});
    }
    flush();
  }

  signals::Drawing& d_;
  const Chart& c_;
  double top_;
};

}  // namespace

std::string chart_figure(const Chart& c, const std::string& id) {
  Plot plot(id, c.title, c.description, c.x, c.y);
  for (const ChartSeries& s : c.series) plot.line(s.x, s.y, s.style, s.name);
  for (const ChartMark& m : c.marks) plot.mark(m.x, m.y, MarkShape::Cross, "m0", m.text);
  if (!c.marks.empty() && !c.marks_name.empty()) plot.legend_mark(MarkShape::Cross, "m0", c.marks_name);
  std::string s = "<figure><h4>" + escaped(c.title) + "</h4>" + plot.svg();
  if (!c.caption.empty()) s += "<figcaption>" + escaped(c.caption) + "</figcaption>";
  return s + "</figure>";
}

signals::Drawing draw_charts(const std::string& title, const std::vector<Chart>& charts) {
  signals::Drawing d;
  d.width = static_cast<int>(sheet_width);
  d.height = static_cast<int>(head + chart_height * static_cast<double>(charts.size()) + 10);
  d.texts.push_back({left, 34, to_ascii(title), 18, ink, DrawnText::Anchor::Left});
  for (std::size_t i = 0; i < charts.size(); ++i)
    Sheet(d, charts[i], head + chart_height * static_cast<double>(i)).draw();
  return d;
}

}  // namespace linebench::report
