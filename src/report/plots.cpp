#include "plots.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/svg.hpp>

#include "phrases.hpp"
#include "plots_video.hpp"

namespace linebench::report {
namespace {

constexpr double lowest_hz = 20;
constexpr double highest_hz = 20000;

// Styles s0, s1 of the page: a colour and a line kind each. Channels beyond the second share the second's.
std::string series_style(std::size_t channel) { return channel == 0 ? "s0" : "s1"; }

std::string channel_name(const CaptureFacts& facts, std::size_t c) {
  const std::string suffix = channel_suffix(static_cast<int>(c), facts.channels);
  return suffix.empty() ? "" : suffix.substr(1);
}

double floor_to(double v, double step) { return std::floor(v / step) * step; }
double ceil_to(double v, double step) { return std::ceil(v / step) * step; }

// The value below which this share of the points lies.
double percentile(std::vector<double> v, double share) { return v.empty() ? 0 : dsp::quantile(v, share); }

const Reading* channel_reading(const PageSection& s, const std::string& base, std::size_t c) {
  return find_reading(s.document.readings,
                      base + channel_suffix(static_cast<int>(c), s.document.input.channels));
}

// ---- response

void draw_mask(Plot& plot, const std::vector<MaskPoint>& mask) {
  std::vector<double> x, lo, hi;
  for (const MaskPoint& p : mask) {
    x.push_back(p.x);
    lo.push_back(p.min.value_or(std::nan("")));
    hi.push_back(p.max.value_or(std::nan("")));
  }
  plot.line(x, lo, "mask", phrase::plot_limit);
  plot.line(x, hi, "mask");
}

std::string response_figure(const PageSection& section, const Reading& r, const std::string& id) {
  const Curve& c = r.curve();
  if (c.x.size() < 2 || c.x_unit != "Hz" || !(c.x.front() > 0)) return {};
  double low = -6, high = 6;
  for (std::size_t i = 0; i < c.y.size(); ++i) {
    if (!std::isfinite(c.y[i])) continue;
    low = std::min(low, c.y[i]);
    high = std::max(high, c.y[i]);
  }
  low = std::max(floor_to(low - 1, 6), high - 60);
  high = ceil_to(high + 1, 6);
  Plot plot(id, r.label, phrase::response_axes,
            log_axis(std::min(lowest_hz, c.x.front()), std::max(highest_hz, c.x.back()), "Hz"),
            linear_axis(low, high, "dB"));
  std::vector<double> lo, hi;
  for (std::size_t i = 0; i < c.y.size(); ++i) {
    const double u = i < c.uncertainty.size() ? c.uncertainty[i] : r.uncertainty.value_or(0.0);
    lo.push_back(c.y[i] - u);
    hi.push_back(c.y[i] + u);
  }
  plot.band(c.x, lo, hi, "b0", phrase::plot_uncertainty);
  if (r.limit && !r.limit->mask.empty()) draw_mask(plot, r.limit->mask);
  plot.line(c.x, c.y, "s0", phrase::plot_response);
  (void)section;
  return figure(r.label, plot.svg(), r.reason);
}

// ---- spectrum

struct Comb {
  double fundamental_hz = 0;
  std::size_t channel = 0;
};

std::optional<Comb> comb_of(const PageSection& s) {
  for (std::size_t c = 0; c < s.traces.size(); ++c) {
    const Reading* f = channel_reading(s, "audio.hum.frequency", c);
    if (f != nullptr && std::holds_alternative<double>(f->value)) return Comb{f->number(), c};
  }
  return std::nullopt;
}

// Each harmonic the hum fit found, at its own level; the strongest few numbered.
int draw_comb(Plot& plot, const PageSection& s, const Comb& comb) {
  struct Line {
    int n;
    double dbfs;
  };
  std::vector<Line> lines;
  for (int n = 1; n * comb.fundamental_hz < highest_hz; ++n) {
    const Reading* r = channel_reading(s, fmt::format("audio.hum.harmonic.{}", n), comb.channel);
    if (r != nullptr && std::holds_alternative<double>(r->value)) lines.push_back({n, r->number()});
  }
  std::stable_sort(lines.begin(), lines.end(), [](const Line& a, const Line& b) { return a.dbfs > b.dbfs; });
  constexpr std::size_t numbered = 4;
  for (std::size_t i = lines.size(); i-- > 0;) {
    plot.mark(lines[i].n * comb.fundamental_hz, lines[i].dbfs, MarkShape::Dot, "m0",
              i < numbered ? fmt::format("{}", lines[i].n) : "");
  }
  return static_cast<int>(lines.size());
}

std::string spectrum_figure(const PageSection& s, const std::string& id) {
  std::vector<double> all;
  double rate = s.document.input.sample_rate_hz;
  for (const auto& t : s.traces) all.insert(all.end(), t.spectrum.y.begin(), t.spectrum.y.end());
  if (all.size() < 8 || !(rate > 0)) return {};
  const double top = std::max(0.0, ceil_to(*std::max_element(all.begin(), all.end()), 20));
  const double bottom = std::clamp(floor_to(percentile(all, 0.05) - 5, 20), -160.0, top - 60);
  const double last_hz = std::clamp(rate / 2, 1000.0, 24000.0);
  Plot plot(id, phrase::spectrum, phrase::spectrum_axes, log_axis(lowest_hz, last_hz, "Hz"),
            linear_axis(bottom, top, "dBFS"));
  for (std::size_t c = 0; c < s.traces.size(); ++c) {
    plot.line(s.traces[c].spectrum.x, s.traces[c].spectrum.y, series_style(c) + " thin",
              channel_name(s.document.input, c));
  }
  std::string caption;
  if (const auto comb = comb_of(s)) {
    const int found = draw_comb(plot, s, *comb);
    if (found > 0) {
      plot.legend_mark(MarkShape::Dot, "m0", phrase::mains_harmonics);
      const std::string side = channel_name(s.document.input, comb->channel);
      caption =
          fmt::format(phrase::mains_comb, comb->fundamental_hz, side.empty() ? "" : " (" + side + ")", found);
    }
  }
  return figure(phrase::spectrum, plot.svg(), caption);
}

// ---- level over time

// Event times come as a curve over seconds or as words ("0.52, 1.3 s").
std::vector<double> event_times(const Reading& r) {
  if (const auto* c = std::get_if<Curve>(&r.value)) return c->x;
  std::vector<double> out;
  const auto* text = std::get_if<std::string>(&r.value);
  if (text == nullptr) return out;
  const char* p = text->data();
  const char* end = p + text->size();
  while (p < end) {
    double v = 0;
    const auto [next, ec] = std::from_chars(p, end, v);
    if (ec == std::errc()) out.push_back(v);
    p = ec == std::errc() ? next : p + 1;
  }
  return out;
}

struct EventKind {
  const char* id;
  MarkShape shape;
  const char* style;
  const char* name;
};
constexpr EventKind event_kinds[] = {
    {"audio.clip.times", MarkShape::TriangleUp, "m1", phrase::plot_clipping},
    {"audio.click.times", MarkShape::Diamond, "m2", phrase::plot_click},
    {"audio.dropout.times", MarkShape::TriangleDown, "m3", phrase::plot_dropout},
};

void draw_events(Plot& plot, const PageSection& s, double unit_s, double top, double bottom) {
  for (const EventKind& kind : event_kinds) {
    bool any = false;
    for (std::size_t c = 0; c < s.traces.size(); ++c) {
      const Reading* r = channel_reading(s, kind.id, c);
      if (r == nullptr || !r->measured()) continue;
      const auto times = event_times(*r);
      constexpr std::size_t most = 200;  // more would be a smear, and a page of megabytes
      for (std::size_t i = 0; i < std::min(times.size(), most); ++i) {
        plot.vertical(times[i] / unit_s, "ev");
        plot.mark(times[i] / unit_s, kind.shape == MarkShape::TriangleDown ? bottom : top, kind.shape,
                  kind.style);
        any = true;
      }
    }
    if (any) plot.legend_mark(kind.shape, kind.style, kind.name);
  }
}

std::string level_figure(const PageSection& s, const std::string& id) {
  std::vector<double> rms;
  double last_s = 0;
  for (const auto& t : s.traces) {
    rms.insert(rms.end(), t.level_rms.y.begin(), t.level_rms.y.end());
    if (!t.level_rms.x.empty()) last_s = std::max(last_s, t.level_rms.x.back());
  }
  if (rms.size() < 2 || !(last_s > 0)) return {};
  const double length = std::max(s.document.input.duration_s(), last_s);
  const double bottom = std::clamp(floor_to(percentile(rms, 0.02) - 6, 20), -140.0, -40.0);
  constexpr double top = 6;  // room for the marks above the rails
  const bool minutes = length > 180;
  const double unit = minutes ? 60 : 1;
  Plot plot(id, phrase::level_over_time, phrase::level_axes,
            linear_axis(0, length / unit, minutes ? "min" : "s"), linear_axis(bottom, top, "dBFS"));
  plot.horizontal(0, "rail");
  for (std::size_t c = 0; c < s.traces.size(); ++c) {
    const auto& t = s.traces[c];
    std::vector<double> x = t.level_rms.x;
    for (double& v : x) v /= unit;
    const std::string side = channel_name(s.document.input, c);
    plot.band(x, t.level_rms.y, t.level_peak.y, c == 0 ? "b0" : "b1", c == 0 ? phrase::rms_to_peak : "");
    plot.line(x, t.level_rms.y, series_style(c) + " thin", side.empty() ? "rms" : side);
  }
  draw_events(plot, s, unit, top, bottom);
  return figure(phrase::level_over_time, plot.svg(), "");
}

}  // namespace

std::string figure(const std::string& title, const std::string& svg, const std::string& caption) {
  std::string s = "<figure><h4>" + escaped(title) + "</h4>" + svg;
  if (!caption.empty()) s += "<figcaption>" + escaped(caption) + "</figcaption>";
  return s + "</figure>";
}

std::string plots_html(const PageSection& section, const std::string& id_prefix) {
  std::string out;
  int n = 0;
  for (const Reading& r : section.document.readings) {
    if (!std::holds_alternative<Curve>(r.value)) continue;
    const ReadingKind* kind = find_kind(r.id);
    if (kind == nullptr || kind->id != "audio.response") continue;
    out += response_figure(section, r, fmt::format("{}-r{}", id_prefix, n++));
  }
  out += spectrum_figure(section, id_prefix + "-s");
  out += level_figure(section, id_prefix + "-l");
  if (section.video) out += video_plots_html(section.document, *section.video, id_prefix);
  if (section.picture) out += picture_figures(section, id_prefix);
  return out.empty() ? out : "<div class=\"plots\">" + out + "</div>";
}

}  // namespace linebench::report
