#include "video_events.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace linebench::signals {
namespace {

using standards::LinePulse;
using standards::LineStructure;
using standards::VideoStandard;
using Complex = std::complex<double>;

constexpr double same_time_us = 1e-6;  // a thousandth of a nanosecond: rounding of the element times

double had_of_rise(const standards::Spec& rise_ns) { return rise_ns.nominal / rise_per_had; }

// Adds to an event of the same shape at the same time where there is one: touching flats make one step.
void add(std::vector<LineEvent>& events, const LineEvent& e) {
  for (LineEvent& o : events) {
    if (o.shape == e.shape && o.carrier == e.carrier && std::abs(o.at_us - e.at_us) < same_time_us &&
        o.had_ns == e.had_ns && o.frequency_hz == e.frequency_hz &&
        std::abs(o.origin_us - e.origin_us) < same_time_us) {
      o.amplitude += e.amplitude;
      return;
    }
  }
  events.push_back(e);
}

LineEvent step(double at_us, double mv, double had_ns) {
  LineEvent e;
  e.at_us = at_us;
  e.amplitude = mv;
  e.had_ns = had_ns;
  return e;
}

Complex phasor(double peak_mv, double deg) { return std::polar(peak_mv, deg * std::numbers::pi / 180); }

void add_pulse(std::vector<LineEvent>& events, const VideoStandard& s, LinePulse pulse, double at_us) {
  if (pulse == LinePulse::None) return;
  const double width = pulse == LinePulse::LineSync     ? s.sync_width_us.nominal
                       : pulse == LinePulse::Equalising ? s.equalising_width_us.nominal
                                                        : s.broad_width_us.nominal;
  const double had = had_of_rise(s.sync_rise_ns);
  add(events, step(at_us, s.sync_mv.nominal, had));
  add(events, step(at_us + width, -s.sync_mv.nominal, had));
}

// One element's events. `edge(t)` gives the HAD of an edge at t: blanking's at the window's ends.
class ElementEvents {
 public:
  ElementEvents(std::vector<LineEvent>& events, const VideoStandard& s, const TestLine& line,
                const PictureWindow& window)
      : events_(events), s_(s), line_(line), window_(window) {}

  void operator()(const TestElement& e) {
    switch (e.shape) {
      case ElementShape::Flat:
      case ElementShape::Ramp:
        return extended(e);
      case ElementShape::Pulse:
      case ElementShape::ModulatedPulse:
        if (inside(e)) pulse(e);
        return;
      case ElementShape::Packet:
        if (inside(e)) packet(e);
        return;
    }
  }

 private:
  [[nodiscard]] bool inside(const TestElement& e) const {
    return e.start_us >= window_.from_us - same_time_us && e.end_us <= window_.to_us + same_time_us;
  }
  [[nodiscard]] double edge(double t, double own) const {
    const bool end =
        std::abs(t - window_.from_us) < same_time_us || std::abs(t - window_.to_us) < same_time_us;
    return end ? had_of_rise(s_.blanking_rise_ns) : own;
  }

  void extended(const TestElement& e) {
    const double from = std::max(e.start_us, window_.from_us);
    const double to = std::min(e.end_us, window_.to_us);
    if (to <= from) return;
    const double slope =
        e.shape == ElementShape::Ramp ? (e.end_level_mv - e.level_mv) / (e.end_us - e.start_us) : 0;
    const double first = e.level_mv + slope * (from - e.start_us) - line_.base_mv;
    const double last = e.level_mv + slope * (to - e.start_us) - line_.base_mv;
    add(events_, step(from, first, edge(from, e.edge_had_ns)));
    add(events_, step(to, -last, edge(to, e.edge_had_ns)));
    if (slope != 0) {
      LineEvent bend = step(from, slope, e.edge_had_ns);
      bend.shape = ShapeKind::Slope;
      add(events_, bend);
      bend.at_us = to;
      bend.amplitude = -slope;
      add(events_, bend);
    }
    if (e.chroma_pp_mv > 0) {
      const Complex a = phasor(e.chroma_pp_mv / 2, e.chroma_deg);
      for (const auto& [t, sign] : {std::pair{from, 1.0}, std::pair{to, -1.0}}) {
        LineEvent c = step(t, 0, chroma_edge_had_ns);
        c.carrier = Carrier::Subcarrier;
        c.amplitude = a * sign;
        add(events_, c);
      }
    }
  }

  void pulse(const TestElement& e) {
    LineEvent p = step(e.centre_us(), e.level_mv - line_.base_mv, e.had_ns);
    p.shape = ShapeKind::Pulse;
    add(events_, p);
    if (e.shape != ElementShape::ModulatedPulse) return;
    p.carrier = Carrier::Subcarrier;
    p.amplitude = phasor(e.chroma_pp_mv / 2, e.chroma_deg);
    add(events_, p);
  }

  void packet(const TestElement& e) {
    add(events_, step(e.start_us, e.level_mv - line_.base_mv, edge(e.start_us, e.edge_had_ns)));
    add(events_, step(e.end_us, line_.base_mv - e.level_mv, edge(e.end_us, e.edge_had_ns)));
    for (const auto& [t, sign] : {std::pair{e.start_us, 1.0}, std::pair{e.end_us, -1.0}}) {
      LineEvent c = step(t, sign * e.chroma_pp_mv / 2, chroma_edge_had_ns);
      c.carrier = Carrier::Own;
      c.frequency_hz = e.frequency_hz;
      c.origin_us = e.start_us;
      add(events_, c);
    }
  }

  std::vector<LineEvent>& events_;
  const VideoStandard& s_;
  const TestLine& line_;
  const PictureWindow& window_;
};

}  // namespace

PictureWindow picture_window(const VideoStandard& s, const LineStructure& l) {
  if (!l.has_picture()) return {};
  const double begin = s.active_start_us.nominal + (l.picture_first_half ? 0.0 : s.half_line_us());
  const double end = s.active_end_us() - (l.picture_second_half ? 0.0 : s.half_line_us());
  return {begin, end};
}

void add_structure_events(std::vector<LineEvent>& events, const VideoStandard& s, const LineStructure& l,
                          bool burst) {
  add_pulse(events, s, l.at_start, 0);
  add_pulse(events, s, l.at_middle, s.half_line_us());
  if (!burst || !l.burst) return;
  const Complex a = phasor(s.burst_pp_mv.nominal / 2, s.burst_axis_deg);
  const double from = s.burst_start_us.nominal;
  for (const auto& [t, sign] : {std::pair{from, 1.0}, std::pair{from + s.burst_length_us(), -1.0}}) {
    LineEvent e = step(t, 0, had_of_rise(s.burst_rise_ns));
    e.carrier = Carrier::Subcarrier;
    e.amplitude = a * sign;
    add(events, e);
  }
}

void add_picture_events(std::vector<LineEvent>& events, const VideoStandard& s, const TestLine& line,
                        const PictureWindow& window) {
  if (window.to_us <= window.from_us) return;
  std::vector<LineEvent> mine;
  if (line.base_mv != 0) {
    const double had = had_of_rise(s.blanking_rise_ns);
    add(mine, step(window.from_us, line.base_mv, had));
    add(mine, step(window.to_us, -line.base_mv, had));
  }
  ElementEvents one(mine, s, line, window);
  for (const TestElement& e : line.elements) one(e);
  for (const LineEvent& e : mine) {
    if (std::abs(e.amplitude) > 1e-9)
      events.push_back(e);  // touching flats of one level leave a step of nothing
  }
}

}  // namespace linebench::signals
