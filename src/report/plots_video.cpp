#include "plots_video.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_colour.hpp>
#include <numbers>

#include "chart.hpp"
#include "phrases.hpp"

namespace linebench::report {
namespace {

using measure::VideoTraces;
using standards::VideoStandard;

const VideoStandard& standard_of(const VideoTraces& t) {
  if (t.lines == 625) return standards::video_625;
  return t.setup ? standards::video_525 : standards::video_525_no_setup;
}

// The standard's levels as lines over the whole width, one entry in the legend.
void add_levels(Chart& c, const VideoStandard& s) {
  std::string names = fmt::format(phrase::standard_sync, s.sync_mv.nominal);
  std::vector<double> levels = {s.sync_mv.nominal, 0.0, s.white_mv.nominal};
  if (s.black_mv.nominal > 0) {
    levels.push_back(s.black_mv.nominal);
    names += fmt::format(phrase::standard_black, s.black_mv.nominal);
  }
  names += fmt::format(phrase::standard_white, s.white_mv.nominal);
  for (const double mv : levels) {
    c.series.push_back({{c.x.min, c.x.max}, {mv, mv}, "mask", names});
    names.clear();
  }
}

// Range of all lines and the standard's levels, in whole steps.
Axis level_axis(const std::vector<VideoTraces::Line>& lines, const VideoStandard& s) {
  double low = s.sync_mv.nominal;
  double high = s.white_mv.nominal;
  for (const auto& l : lines) {
    for (const double v : l.mv) low = std::min(low, v), high = std::max(high, v);
  }
  constexpr double step = 100;
  return linear_axis(std::floor((low - 40) / step) * step, std::ceil((high + 40) / step) * step, "mV", 8);
}

Chart line_chart(const VideoTraces& t, const VideoTraces::Line& line) {
  const VideoStandard& s = standard_of(t);
  Chart c;
  c.title = line.number > 0 ? fmt::format(phrase::line_n, line.number) : phrase::one_line;
  c.description = phrase::line_axes;
  c.caption = phrase::line_caption;
  c.x = linear_axis(line.us.front(), line.us.back(), "us", 7);
  c.y = level_axis({line}, s);
  add_levels(c, s);
  c.series.push_back({line.us, line.mv, "s0 thin", phrase::as_received});
  return c;
}

Chart overlay_chart(const VideoTraces& t) {
  const VideoStandard& s = standard_of(t);
  Chart c;
  c.title = fmt::format(phrase::overlay, t.overlaid.size());
  c.description = phrase::overlay_axes;
  c.x = linear_axis(t.overlaid.front().us.front(), t.overlaid.front().us.back(), "us", 7);
  c.y = level_axis(t.overlaid, s);
  add_levels(c, s);
  for (const auto& l : t.overlaid) c.series.push_back({l.us, l.mv, "s0 thin", ""});
  return c;
}

std::string bars_form(const Document& d) {
  const Reading* r = find_reading(d.readings, "video.bars.kind");
  return r != nullptr && std::holds_alternative<std::string>(r->value) ? r->text() : std::string();
}

// Where the colours of recognised bars belong, by the standard's matrix.
void add_bar_marks(Chart& c, const Document& d, const VideoStandard& s) {
  const std::string kind = bars_form(d);
  const standards::BarForm* form = nullptr;
  for (const auto* f : {&standards::bars_100_0_75_0, &standards::bars_100, &standards::bars_75}) {
    if (kind == f->name) form = f;
  }
  if (form == nullptr) return;
  for (std::size_t i = 1; i < 7; ++i) {
    const auto colour = standards::composite_colour(s, standards::bar_rgb(*form, static_cast<int>(i)));
    const double angle = colour.phase_deg * std::numbers::pi / 180;
    c.marks.push_back({0.5 * colour.chroma_pp_mv * std::cos(angle),
                       0.5 * colour.chroma_pp_mv * std::sin(angle), std::string(standards::bar_names[i])});
  }
  c.marks_name = phrase::bars_belong;
}

Chart vector_chart(const Document& d, const VideoTraces& t) {
  const VideoStandard& s = standard_of(t);
  Chart c;
  c.title = phrase::chrominance;
  c.description = phrase::chrominance_axes;
  c.caption = fmt::format(phrase::chrominance_caption, t.lines == 625 ? phrase::v_switch_undone : "");
  double reach = 150;
  for (const auto& v : t.chroma) reach = std::max(reach, std::abs(v));
  add_bar_marks(c, d, s);
  for (const ChartMark& m : c.marks) reach = std::max(reach, std::hypot(m.x, m.y));
  reach = std::ceil(1.15 * reach / 50) * 50;
  c.x = linear_axis(-reach * chart_aspect, reach * chart_aspect, "U (B-Y), mV", 10);
  c.y = linear_axis(-reach, reach, "V (R-Y), mV", 6);
  c.series.push_back({{-reach * chart_aspect, reach * chart_aspect}, {0, 0}, "rail", ""});
  c.series.push_back({{0, 0}, {-reach, reach}, "rail", ""});
  ChartSeries path;
  path.style = "s0 thin";
  path.name = phrase::along_lines;
  for (const auto& v : t.chroma) {
    path.x.push_back(v.real());
    path.y.push_back(v.imag());
  }
  c.series.push_back(std::move(path));
  c.series.push_back({{0, t.burst.real()}, {0, t.burst.imag()}, "s1", phrase::plot_burst});
  return c;
}

Chart spectrum_chart(const VideoTraces& t) {
  Chart c;
  c.title = phrase::spectrum;
  c.description = phrase::line_spectrum_axes;
  c.caption = phrase::line_spectrum_caption;
  std::vector<double> mhz = t.spectrum.x;
  for (double& v : mhz) v *= 1e-6;
  const auto [low, high] = std::minmax_element(t.spectrum.y.begin(), t.spectrum.y.end());
  c.x = linear_axis(0, std::min(mhz.back(), 15.0), "MHz", 8);
  c.y = linear_axis(std::max(-120.0, std::floor(*low / 10) * 10), std::ceil(*high / 10) * 10, "dB", 6);
  c.series.push_back({std::move(mhz), t.spectrum.y, "s0 thin", ""});
  return c;
}

std::vector<Chart> charts_of(const Document& d, const VideoTraces& t) {
  std::vector<Chart> out;
  for (const auto& line : t.chosen) {
    if (line.us.size() > 1) out.push_back(line_chart(t, line));
  }
  if (!t.overlaid.empty()) out.push_back(overlay_chart(t));
  if (t.chroma.size() > 1) out.push_back(vector_chart(d, t));
  if (t.spectrum.x.size() > 8) out.push_back(spectrum_chart(t));
  return out;
}

}  // namespace

std::string video_plots_html(const Document& document, const VideoTraces& traces,
                             const std::string& id_prefix) {
  std::string out;
  int n = 0;
  for (const Chart& c : charts_of(document, traces))
    out += chart_figure(c, fmt::format("{}-v{}", id_prefix, n++));
  return out;
}

signals::Drawing draw_video(const Document& document, const VideoTraces& traces) {
  return draw_charts(document.input.source, charts_of(document, traces));
}

}  // namespace linebench::report
