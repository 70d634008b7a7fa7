#include "video_test_lines.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

namespace linebench::signals::lines {
namespace {

using standards::VideoStandard;

// Subcarrier on test lines lies along -U, as the 525 burst does: nothing of it alternates in 625.
constexpr double test_chroma_deg = 180;

double start_us(const VideoStandard& s) { return s.active_start_us.nominal; }
double end_us(const VideoStandard& s) { return s.active_end_us(); }
// Edges of test waveforms: the 2T bar's, so that nothing lies above the nominal bandwidth.
double edge_ns(const VideoStandard& s) { return 2 * s.t_ns; }
double test_subcarrier_pp_mv(const VideoStandard& s) { return s.is_525() ? 40 * s.percent_mv() : 280.0; }
// Highest level of luminance under subcarrier: 90 IRE [NTC-7, from memory]; 625 uses the whole range.
double top_under_subcarrier_mv(const VideoStandard& s) {
  return s.is_525() ? 90 * s.percent_mv() : s.white_mv.nominal;
}

TestElement element(const VideoStandard& s, std::string name, double from, double to, double mv) {
  TestElement e;
  e.name = std::move(name);
  e.start_us = from;
  e.end_us = to;
  e.level_mv = e.end_level_mv = mv;
  e.edge_had_ns = edge_ns(s);
  return e;
}

TestElement with_subcarrier(const VideoStandard& s, TestElement e) {
  e.chroma_pp_mv = test_subcarrier_pp_mv(s);
  e.chroma_deg = test_chroma_deg;
  return e;
}

TestElement pulse_2t(const VideoStandard& s, double centre) {
  const double had = 2 * s.t_ns;
  TestElement e = element(s, "2T pulse", centre - had / 1e3, centre + had / 1e3, s.white_mv.nominal);
  e.shape = ElementShape::Pulse;
  e.had_ns = had;
  return e;
}

TestElement pulse_modulated(const VideoStandard& s, double centre) {
  const double had = s.modulated_pulse_had_ns;
  TestElement e = element(s, s.is_525() ? "12.5T pulse" : "20T pulse", centre - had / 1e3, centre + had / 1e3,
                          s.white_mv.nominal / 2);
  e.shape = ElementShape::ModulatedPulse;
  e.had_ns = had;
  e.chroma_pp_mv = s.white_mv.nominal;
  e.chroma_deg = test_chroma_deg;
  return e;
}

TestElement bar(const VideoStandard& s) {
  return element(s, "bar", 12, s.is_525() ? 30 : 22, s.white_mv.nominal);
}

TestElement packet(const VideoStandard& s, double hz, double from, double longest_us, double pedestal_mv,
                   double pp_mv) {
  // Whole cycles: the packet begins and ends on its pedestal.
  const double length = std::floor(longest_us * 1e-6 * hz + 1e-9) / hz * 1e6;
  TestElement e = element(s, fmt::format("packet {:.2f} MHz", hz / 1e6), from, from + length, pedestal_mv);
  e.shape = ElementShape::Packet;
  e.frequency_hz = hz;
  e.chroma_pp_mv = pp_mv;
  return e;
}

void add_stairs(const VideoStandard& s, TestLine& line, int risers, bool subcarrier, double from, double to) {
  const double top = subcarrier ? top_under_subcarrier_mv(s) : s.white_mv.nominal;
  const double width = (to - from) / (risers + 1);
  for (int i = 0; i <= risers; ++i) {
    TestElement e =
        element(s, fmt::format("step {}", i), from + i * width, from + (i + 1) * width, top * i / risers);
    line.elements.push_back(subcarrier ? with_subcarrier(s, std::move(e)) : std::move(e));
  }
}

TestLine picture_line(const VideoStandard& s, std::string kind) {
  TestLine l;
  l.kind = std::move(kind);
  l.base_mv = s.black_mv.nominal;
  return l;
}

TestLine measuring_line(std::string kind) {
  TestLine l;
  l.kind = std::move(kind);
  return l;
}

}  // namespace

TestLine nothing() { return measuring_line("blank"); }

TestLine bars(const VideoStandard& s, const standards::BarForm& form) {
  TestLine line = picture_line(s, "bars");
  const double width = s.active_width_us() / 8;
  for (int i = 0; i < 8; ++i) {
    const auto c = standards::composite_colour(s, standards::bar_rgb(form, i));
    TestElement e = element(s, std::string(standards::bar_names[static_cast<std::size_t>(i)]),
                            start_us(s) + i * width, start_us(s) + (i + 1) * width, c.luma_mv);
    e.chroma_pp_mv = c.chroma_pp_mv;
    e.chroma_deg = c.phase_deg;
    line.elements.push_back(std::move(e));
  }
  return line;
}

TestLine flat(const VideoStandard& s, double percent, std::string kind) {
  TestLine line = picture_line(s, std::move(kind));
  line.elements.push_back(
      element(s, fmt::format("flat {:g} %", percent), start_us(s), end_us(s), s.picture_mv(percent / 100)));
  return line;
}

TestLine window(const VideoStandard& s, double percent) {
  TestLine line = picture_line(s, "window");
  line.elements.push_back(element(s, "window", start_us(s) + s.active_width_us() / 4,
                                  end_us(s) - s.active_width_us() / 4, s.picture_mv(percent / 100)));
  return line;
}

TestLine red(const VideoStandard& s) {
  TestLine line = picture_line(s, "red");
  const auto c = standards::composite_colour(s, {0.75, 0, 0});
  TestElement e = element(s, "red", start_us(s), end_us(s), c.luma_mv);
  e.chroma_pp_mv = c.chroma_pp_mv;
  e.chroma_deg = c.phase_deg;
  line.elements.push_back(std::move(e));
  return line;
}

TestLine hatch(const VideoStandard& s, int squares) {
  TestLine line = picture_line(s, "crosshatch");
  constexpr double margin_us = 0.5;  // the outermost lines clear of the blanking edges
  const double pitch = (s.active_width_us() - 2 * margin_us) / squares;
  for (int i = 0; i <= squares; ++i) {
    TestElement e = pulse_2t(s, start_us(s) + margin_us + i * pitch);
    e.name = fmt::format("hatch {}", i);
    line.elements.push_back(std::move(e));
  }
  return line;
}

TestLine staircase(const VideoStandard& s, int risers, bool subcarrier) {
  TestLine line = measuring_line("staircase");
  // A little inside the active line, so that the lowest level's subcarrier has an edge of its own.
  add_stairs(s, line, risers, subcarrier, start_us(s) + 0.5, end_us(s) - 0.5);
  return line;
}

TestLine ramp(const VideoStandard& s, bool subcarrier) {
  TestLine line = measuring_line("ramp");
  const double top = subcarrier ? top_under_subcarrier_mv(s) : s.white_mv.nominal;
  const double from = start_us(s) + 0.5;
  const double to = end_us(s) - 0.5;
  const double margin = 0.08 * (to - from);
  TestElement rise = element(s, "ramp", from + margin, to - margin, 0);
  rise.shape = ElementShape::Ramp;
  rise.end_level_mv = top;
  for (TestElement e :
       {element(s, "foot", from, from + margin, 0), rise, element(s, "top", to - margin, to, top)}) {
    line.elements.push_back(subcarrier ? with_subcarrier(s, std::move(e)) : std::move(e));
  }
  return line;
}

TestLine pulse_bar(const VideoStandard& s) {
  TestLine line = measuring_line("pulse-bar");
  line.elements.push_back(bar(s));
  line.elements.push_back(pulse_2t(s, s.is_525() ? 36 : 26));
  return line;
}

TestLine modulated_pulse(const VideoStandard& s) {
  TestLine line = measuring_line("modulated-pulse");
  line.elements.push_back(bar(s));
  line.elements.push_back(pulse_modulated(s, s.is_525() ? 37 : 32));
  return line;
}

TestLine composite(const VideoStandard& s) {
  TestLine line = measuring_line("composite-line");
  line.elements.push_back(bar(s));
  line.elements.push_back(pulse_2t(s, s.is_525() ? 33 : 26));
  line.elements.push_back(pulse_modulated(s, s.is_525() ? 37 : 32));
  if (s.is_525()) {
    add_stairs(s, line, 5, true, 42, 61);
  } else {
    add_stairs(s, line, 5, true, 38, 62);
  }
  return line;
}

TestLine multiburst(const VideoStandard& s) {
  TestLine line = measuring_line("multiburst");
  const double half = s.white_mv.nominal / 2;
  const auto add_packets = [&](const std::array<double, 6>& hz, double from, double pitch, double longest,
                               double pp, double pedestal_end) {
    double at = from;
    for (std::size_t i = 0; i < hz.size(); ++i) {
      const double start = from + static_cast<double>(i) * pitch;
      if (start > at) line.elements.push_back(element(s, "pedestal", at, start, half));
      line.elements.push_back(packet(s, hz[i], start, longest, half, pp));
      at = line.elements.back().end_us;
    }
    line.elements.push_back(element(s, "pedestal", at, pedestal_end, half));
  };
  if (s.is_525()) {  // flag and packets of 50 IRE p-p on 50 IRE [NTC-7, from memory]
    line.elements.push_back(element(s, "flag", 11, 15.5, s.white_mv.nominal));
    line.elements.push_back(element(s, "pedestal", 15.5, 17, half));
    add_packets({0.5e6, 1.0e6, 2.0e6, 3.0e6, 3.58e6, 4.2e6}, 17, 7.3, 6.3, 50 * s.percent_mv(), 61);
  } else {  // reference bars and packets of 420 mV p-p on 350 mV [J.63, line 18: secondary source]
    constexpr double pp = 420;
    line.elements.push_back(element(s, "reference high", 12, 16, half + pp / 2));
    line.elements.push_back(element(s, "reference low", 16, 20, half - pp / 2));
    line.elements.push_back(element(s, "pedestal", 20, 22, half));
    add_packets({0.5e6, 1.0e6, 2.0e6, 4.0e6, 4.8e6, 5.8e6}, 22, 6.6, 5.6, pp, 61.5);
  }
  return line;
}

}  // namespace linebench::signals::lines
