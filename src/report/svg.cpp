#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/report/format.hpp>
#include <linebench/report/page.hpp>
#include <linebench/report/svg.hpp>

namespace linebench::report {
namespace {

// The view box, in units that are CSS pixels on a desk screen; a phone shows it at about three quarters.
constexpr double width = 480;
constexpr double left_edge = 50;
constexpr double right_edge = 468;
constexpr double top_edge = 26;
constexpr double bottom_edge = 226;
// Mean width of a 15.5 px character, the size on a phone (page_style.hpp), for the legend's layout.
constexpr double character = 8.4;

std::string short_number(double v) {
  if (std::abs(v) >= 1000) return fmt::format("{:.4g}k", v / 1000);
  return fmt::format("{:.4g}", std::abs(v) < 1e-12 ? 0.0 : v);
}

// A step of 1, 2 or 5 times a power of ten.
double nice_step(double span, int wanted) {
  const double raw = span / std::max(wanted, 1);
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double m : {1.0, 2.0, 5.0}) {
    if (raw <= m * power * 1.0001) return m * power;
  }
  return 10 * power;
}

std::string shape_path(MarkShape shape, double x, double y) {
  constexpr double r = 4.5;
  switch (shape) {
    case MarkShape::TriangleUp:
      return fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}h{:.1f}z", x, y - r, r, 2 * r, -2 * r);
    case MarkShape::TriangleDown:
      return fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}h{:.1f}z", x, y + r, r, -2 * r, -2 * r);
    case MarkShape::Diamond:
      return fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}l{:.1f} {:.1f}l{:.1f} {:.1f}z", x, y - r, r, r, -r, r,
                         -r, -r);
    case MarkShape::Cross:
      return fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}m0 {:.1f}l{:.1f} {:.1f}", x - r, y - r, 2 * r, 2 * r,
                         -2 * r, -2 * r, 2 * r);
    case MarkShape::Dot:
      break;
  }
  return fmt::format("M{:.1f} {:.1f}m-3 0a3 3 0 1 0 6 0a3 3 0 1 0 -6 0", x, y);
}

}  // namespace

Axis linear_axis(double min, double max, std::string label, int wanted) {
  Axis axis{min, max, false, std::move(label), {}};
  const double step = nice_step(max - min, wanted);
  for (double v = std::ceil(min / step - 1e-9) * step; v <= max + 1e-9 * step; v += step) {
    axis.ticks.push_back({v, short_number(v)});
  }
  return axis;
}

Axis log_axis(double min, double max, std::string label) {
  Axis axis{min, max, true, std::move(label), {}};
  const double decades = std::log10(max / min);
  for (double p = std::pow(10.0, std::floor(std::log10(min))); p <= max * 1.0001; p *= 10) {
    for (int m = 1; m < 10; ++m) {
      const double v = m * p;
      if (v < min * 0.9999 || v > max * 1.0001) continue;
      const bool numbered = m == 1 || (decades < 3.6 && (m == 2 || m == 5));
      axis.ticks.push_back({v, numbered ? short_number(v) : ""});
    }
  }
  return axis;
}

Plot::Plot(std::string id, std::string title, std::string description, Axis x, Axis y)
    : id_(std::move(id)),
      title_(std::move(title)),
      description_(std::move(description)),
      x_(std::move(x)),
      y_(std::move(y)) {}

double Plot::px(double x) const {
  const double t = x_.log ? std::log(std::max(x, 1e-30) / x_.min) / std::log(x_.max / x_.min)
                          : (x - x_.min) / (x_.max - x_.min);
  return left_edge + std::clamp(t, -2.0, 3.0) * (right_edge - left_edge);
}

double Plot::py(double y) const {
  const double t = (y - y_.min) / (y_.max - y_.min);
  return bottom_edge - std::clamp(t, -2.0, 3.0) * (bottom_edge - top_edge);
}

void Plot::line(std::span<const double> x, std::span<const double> y, std::string_view style,
                const std::string& name) {
  std::string d;
  bool pen_down = false;
  for (std::size_t i = 0; i < std::min(x.size(), y.size()); ++i) {
    if (!std::isfinite(x[i]) || !std::isfinite(y[i])) {
      pen_down = false;
      continue;
    }
    d += fmt::format("{}{:.1f} {:.1f}", pen_down ? "L" : "M", px(x[i]), py(y[i]));
    pen_down = true;
  }
  body_ += fmt::format("<path class=\"ln {}\" d=\"{}\"/>", style, d);
  if (!name.empty()) {
    legend_.push_back(
        fmt::format("<path class=\"ln {}\" d=\"M0 -4h18\"/><text x=\"23\">{}</text>", style, escaped(name)));
  }
}

void Plot::band(std::span<const double> x, std::span<const double> low, std::span<const double> high,
                std::string_view style, const std::string& name) {
  const std::size_t n = std::min({x.size(), low.size(), high.size()});
  if (n == 0) return;
  std::string d;
  for (std::size_t i = 0; i < n; ++i)
    d += fmt::format("{}{:.1f} {:.1f}", i > 0 ? "L" : "M", px(x[i]), py(high[i]));
  for (std::size_t i = n; i-- > 0;) d += fmt::format("L{:.1f} {:.1f}", px(x[i]), py(low[i]));
  body_ += fmt::format("<path class=\"bd {}\" d=\"{}z\"/>", style, d);
  if (!name.empty()) {
    legend_.push_back(fmt::format("<path class=\"bd {}\" d=\"M0 -9h18v10h-18z\"/><text x=\"23\">{}</text>",
                                  style, escaped(name)));
  }
}

void Plot::vertical(double x, std::string_view style) {
  body_ += fmt::format("<path class=\"ln {}\" d=\"M{:.1f} {}V{}\"/>", style, px(x), top_edge, bottom_edge);
}

void Plot::horizontal(double y, std::string_view style) {
  body_ += fmt::format("<path class=\"ln {}\" d=\"M{} {:.1f}H{}\"/>", style, left_edge, py(y), right_edge);
}

void Plot::mark(double x, double y, MarkShape shape, std::string_view style, const std::string& text) {
  const double at_x = px(x);
  const double at_y = std::clamp(py(y), top_edge + 6, bottom_edge - 6);
  body_ += fmt::format("<path class=\"mk {}\" d=\"{}\"/>", style, shape_path(shape, at_x, at_y));
  if (!text.empty()) {
    body_ += fmt::format("<text class=\"mt\" x=\"{:.1f}\" y=\"{:.1f}\">{}</text>", at_x,
                         std::max(at_y - 7, top_edge + 10), escaped(text));
  }
}

void Plot::legend_mark(MarkShape shape, std::string_view style, const std::string& name) {
  legend_.push_back(fmt::format("<path class=\"mk {}\" d=\"{}\"/><text x=\"16\">{}</text>", style,
                                shape_path(shape, 6, -4), escaped(name)));
}

std::string Plot::svg() const {
  // The legend runs under the axis and takes another line where it does not fit.
  std::string legend;
  double at = left_edge;
  double below = bottom_edge + 33;
  for (const std::string& entry : legend_) {
    const auto open = entry.find("\">", entry.find("<text"));
    const auto close = entry.find("</text>");
    const double space =
        36 + character * static_cast<double>(text_width(entry.substr(open + 2, close - open - 2)));
    if (at > left_edge && at + space > right_edge - 20) {
      at = left_edge;
      below += 17;
    }
    legend += fmt::format("<g class=\"lg\" transform=\"translate({:.0f} {:.0f})\">{}</g>", at, below, entry);
    at += space;
  }
  const double height = below + 11;
  std::string s = fmt::format(
      "<svg class=\"plot\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{}-t {}-d\">"
      "<title id=\"{}-t\">{}</title><desc id=\"{}-d\">{}</desc>"
      "<clipPath id=\"{}-c\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/></clipPath>",
      width, height, id_, id_, id_, escaped(title_), id_, escaped(description_), id_, left_edge, top_edge,
      right_edge - left_edge, bottom_edge - top_edge);
  s += fmt::format("<rect class=\"pl\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>", left_edge, top_edge,
                   right_edge - left_edge, bottom_edge - top_edge);
  for (const Tick& t : x_.ticks) {
    const double x = px(t.at);
    s += fmt::format("<path class=\"{}\" d=\"M{:.1f} {}V{}\"/>", t.text.empty() ? "gm" : "gr", x, top_edge,
                     bottom_edge);
    if (!t.text.empty()) {
      s += fmt::format("<text class=\"tx\" x=\"{:.1f}\" y=\"{}\">{}</text>", x, bottom_edge + 15,
                       escaped(t.text));
    }
  }
  for (const Tick& t : y_.ticks) {
    const double y = py(t.at);
    s += fmt::format("<path class=\"gr\" d=\"M{} {:.1f}H{}\"/>", left_edge, y, right_edge);
    s += fmt::format("<text class=\"ty\" x=\"{}\" y=\"{:.1f}\">{}</text>", left_edge - 6, y + 4,
                     escaped(t.text));
  }
  s += fmt::format("<text class=\"tu\" x=\"{}\" y=\"{}\">{}</text>", 4, 15, escaped(y_.label));
  s += fmt::format("<text class=\"tr\" x=\"{}\" y=\"{}\">{}</text>", right_edge, bottom_edge + 33,
                   escaped(x_.label));
  s += fmt::format("<g clip-path=\"url(#{}-c)\">{}</g>", id_, body_);
  return s + legend + "</svg>";
}

}  // namespace linebench::report
