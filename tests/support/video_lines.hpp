// Test waveforms for the picture measures, written out in closed form on top of video_synth.hpp: sin^2
// pulses, bars, staircases, packets at any place, and what a path does to them.
//
// A line is three functions of time, luminance and the two colour-difference signals in mV; positions and
// levels are the test's own, so that nothing hangs on the program's encoder.
#pragma once

#include <cmath>
#include <functional>
#include <vector>

#include "video_synth.hpp"

namespace video_lines {

using video_synth::pi;
using video_synth::Wave;

/// Values of a line at a time (us from 0H), mV.
struct Point {
  double y = 0;
  double u = 0;
  double v = 0;
  bool v_fixed = false;  ///< V does not alternate with the burst (subcarrier of test lines)
};
using Line = std::function<void(double t, Point& p)>;
/// Which line stands on a line number; nullptr: nothing.
using Layout = std::function<const Line*(int line)>;

/// sin^2 pulse, half-amplitude duration `had`.
inline double pulse(double t, double had) {
  if (std::abs(t) >= had) return 0;
  const double c = std::cos(pi * t / (2 * had));
  return c * c;
}
/// Step from 0 to 1: integral of that pulse.
inline double step(double t, double had) {
  if (t <= -had) return 0;
  if (t >= had) return 1;
  return 0.5 + t / (2 * had) + std::sin(pi * t / had) / (2 * pi);
}
inline double bar(double t, double from, double to, double had) {
  return step(t - from, had) - step(t - to, had);
}
/// Sine packet that begins and ends at zero crossings.
inline double packet(double t, double from, double mhz, double cycles) {
  const double to = from + cycles / mhz;
  return t < from || t > to ? 0.0 : synth::sine(2 * pi * mhz * (t - from));
}

/// What happens to luminance and chrominance on the way.
struct Path {
  double chroma_delay_us = 0;
  double chroma_gain = 1;
  double chroma_turn_deg = 0;  ///< against the burst
  double dg = 0;               ///< chrominance times 1 + dg * luma / white
  double dp_deg = 0;           ///< turned by dp * luma / white
  double white_mv = 700;
  std::function<double(double)> curve;  ///< of the whole picture signal, mV to mV
};

/// Adds lines to samples made by video_synth::clean() of the same wave without a picture.
inline void add(std::vector<float>& x, const Wave& w, double rate, const Layout& layout,
                const Path& path = {}) {
  const double us = rate * 1e-6 / (1 + w.clock_ppm * 1e-6);
  const double h = 1e6 / w.line_hz;
  const double t_begin = (w.start_line - 1) * h;
  const auto first = static_cast<std::int64_t>(std::floor(w.start_line - 1));
  const auto lines = static_cast<std::int64_t>(static_cast<double>(x.size()) / us / h) + 3;
  for (std::int64_t l = first; l < first + lines; ++l) {
    const Line* line = layout(static_cast<int>(l % w.lines) + 1);
    if (line == nullptr) continue;
    const double t0 = static_cast<double>(l) * h - t_begin;
    const double sign = !w.alternating || l % 2 == 0 ? 1 : -1;
    const auto a = std::max<std::int64_t>(0, static_cast<std::int64_t>(std::ceil((t0 + 8) * us)));
    const auto b = std::min(static_cast<std::int64_t>(x.size()) - 1,
                            static_cast<std::int64_t>(std::floor((t0 + h - 0.3) * us)));
    for (std::int64_t k = a; k <= b; ++k) {
      const double t = static_cast<double>(k) / us;
      Point p;
      (*line)(t - t0, p);
      Point late = p;
      if (path.chroma_delay_us != 0) {
        late = {};
        (*line)(t - t0 - path.chroma_delay_us, late);
      }
      double value = p.y;
      if (late.u != 0 || late.v != 0) {
        const double cycles = w.subcarrier_hz * 1e-6 * (t + t_begin);
        const double share = p.y / path.white_mv;
        const double phase = 2 * pi * (cycles - std::floor(cycles)) +
                             (w.sc_h_deg + path.chroma_turn_deg + path.dp_deg * share) * pi / 180;
        const double c =
            late.u * synth::sine(phase) + (late.v_fixed ? 1 : sign) * late.v * synth::cosine(phase);
        value += path.chroma_gain * (1 + path.dg * share) * c;
      }
      if (path.curve) value = path.curve(value);
      x[static_cast<std::size_t>(k)] += static_cast<float>(1e-3 * w.gain * (w.inverted ? -value : value));
    }
  }
}

/// Sum of lines.
inline Line together(std::vector<Line> parts) {
  return [parts](double t, Point& p) {
    for (const Line& l : parts) l(t, p);
  };
}
inline Line pulse_at(double centre, double had, double mv) {
  return [=](double t, Point& p) { p.y += mv * pulse(t - centre, had); };
}
inline Line bar_from(double from, double to, double had, double mv) {
  return [=](double t, Point& p) { p.y += mv * bar(t, from, to, had); };
}
/// Modulated pulse along -U, as high as white.
inline Line modulated_at(double centre, double had, double mv) {
  return [=](double t, Point& p) {
    p.y += mv / 2 * pulse(t - centre, had);
    p.u -= mv / 2 * pulse(t - centre, had);
    p.v_fixed = true;
  };
}
/// Levels 0, 1/risers, ... of `mv`; subcarrier along -U on all of them, the lowest too.
inline Line stairs(double from, double to, int risers, double mv, double chroma_pp, double had) {
  return [=](double t, Point& p) {
    const double width = (to - from) / (risers + 1);
    for (int i = 1; i <= risers; ++i) p.y += mv / risers * step(t - from - i * width, had);
    p.y -= mv * step(t - to, had);
    p.u -= chroma_pp / 2 * bar(t, from, to, 0.4);
    p.v_fixed = true;
  };
}
struct Burst {
  double mhz;
  double cycles;
  double pp_mv;
};
inline Line packets(double from, double gap, double pedestal_from, double pedestal_to, double pedestal_mv,
                    std::vector<Burst> list) {
  return [=](double t, Point& p) {
    p.y += pedestal_mv * bar(t, pedestal_from, pedestal_to, 0.2);
    double at = from;
    for (const Burst& b : list) {
      p.y += b.pp_mv / 2 * packet(t, at, b.mhz, b.cycles);
      at += b.cycles / b.mhz + gap;
    }
  };
}
/// Bars of given colours at given borders; `white_mv` and `black_mv` as on the line.
struct Colour {
  double r;
  double g;
  double b;
};
inline Line colours(std::vector<double> borders, std::vector<Colour> list, double white_mv, double black_mv) {
  struct Flat {
    double y, u, v;
  };
  std::vector<Flat> f;
  for (const Colour& c : list) {
    const double y = 0.299 * c.r + 0.587 * c.g + 0.114 * c.b;
    const double range = white_mv - black_mv;
    f.push_back({black_mv + range * y, range * 0.492111 * (c.b - y), range * 0.877283 * (c.r - y)});
  }
  return [=](double t, Point& p) {
    for (std::size_t i = 0; i < f.size(); ++i) {
      if (t < borders[i] - 1 || t > borders[i + 1] + 1) continue;
      const double luma = bar(t, borders[i], borders[i + 1], 0.2);
      const double chroma = bar(t, borders[i], borders[i + 1], 0.35);
      p.y += f[i].y * luma;
      p.u += f[i].u * chroma;
      p.v += f[i].v * chroma;
    }
  };
}

}  // namespace video_lines
