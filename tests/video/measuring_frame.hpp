// One capture that holds all test pictures one above another, each spoilt by a known amount, for the claims
// of the picture measures.
#pragma once

#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "support/video_lines.hpp"

namespace video_test {

using namespace video_lines;
using video_synth::clean;
using video_synth::has_picture;

inline std::vector<Colour> bar_colours(double white, double colour) {
  std::vector<Colour> out;
  for (int i = 0; i < 8; ++i) {
    const int bits = 7 - i;
    const double a = i == 0 ? white : colour;
    out.push_back({(bits & 2) != 0 ? a : 0, (bits & 4) != 0 ? a : 0, (bits & 1) != 0 ? a : 0});
  }
  return out;
}

inline std::vector<double> even_borders(const Wave& w, std::size_t n) {
  const double from = w.active_from_us;
  const double to = 1e6 / w.line_hz - w.front_porch_us;
  std::vector<double> out;
  for (std::size_t i = 0; i <= n; ++i)
    out.push_back(from + (to - from) * static_cast<double>(i) / static_cast<double>(n));
  return out;
}

struct MeasuringFrame {
  std::vector<float> samples;  ///< volts, without noise
  std::map<std::string, double> truth;
  std::size_t packets = 0;  ///< of the multiburst, 0 dB each
};
struct MeasuringOptions {
  double gain = 1;
  double differential_gain = 0.08;
  double differential_phase_deg = 5;
  double chroma_delay_us = 0.05;
  double chroma_gain = 0.9;
  double start_line = 1;
};

inline MeasuringFrame measuring_frame(bool is_525, double rate, double seconds,
                                      const MeasuringOptions& o = {}) {
  Wave w = is_525 ? video_synth::wave_525() : video_synth::wave_625();
  w.gain = o.gain;
  w.start_line = o.start_line;
  const double white = is_525 ? 5000.0 / 7 : 700.0;
  const double t = is_525 ? 0.125 : 0.1;
  const Line bars_line = colours(even_borders(w, 8), bar_colours(1, 0.75), white, 0);
  const Line measuring =
      together({pulse_at(14.6, 2 * t, 0.91 * white), pulse_at(16.2, 2 * t, 0.04 * white),
                bar_from(24.1, 33.9, 2 * t, white), stairs(37.2, 60.7, 5, white, 280, 2 * t)});
  const Line modulated = modulated_at(30.3, is_525 ? 1.5625 : 2, white);
  std::vector<Burst> bursts;
  for (const double f : {0.5, 1.3, 2.4, 3.1, 4.0}) bursts.push_back({f, std::floor(5.5 * f), 0.5 * white});
  const Line multiburst =
      together({bar_from(11.2, 15, 0.2, white), packets(17.5, 1.2, 16, 60, white / 2, bursts)});
  Path differential;
  differential.white_mv = white;
  differential.dg = o.differential_gain;
  differential.dp_deg = o.differential_phase_deg;
  Path late;
  late.chroma_delay_us = o.chroma_delay_us;
  late.chroma_gain = o.chroma_gain;
  MeasuringFrame out;
  out.packets = bursts.size();
  std::vector<float>& still = out.samples;
  still = clean(w, rate, seconds);
  const auto rows = [&](int from, int to, const Line& line) {
    return [&w, &line, from, to](int n) {
      const int half = w.lines / 2 + 1;
      const int in_field = n > half ? n - half : n;
      return has_picture(w, n) && in_field >= from && in_field < to ? &line : nullptr;
    };
  };
  video_lines::add(still, w, rate, rows(0, 90, bars_line));
  video_lines::add(still, w, rate, rows(90, 150, measuring), differential);
  video_lines::add(still, w, rate, rows(150, 200, modulated), late);
  video_lines::add(still, w, rate, rows(200, 400, multiburst));
  std::map<std::string, double>& truth = out.truth;
  truth = {{"video.differential_gain", 100 * o.differential_gain},
           {"video.differential_phase", o.differential_phase_deg},
           {"video.pulse_bar", 91},
           {"video.white", o.gain * white},
           {"video.chroma_delay", 1e3 * o.chroma_delay_us},
           {"video.chroma_gain", 100 * (o.chroma_gain - 1)},
           {"video.k2t", 100 * 0.04 / 0.91}};
  const auto exact = [&](const char* name, double r, double g, double b) {
    const double y = 0.299 * r + 0.587 * g + 0.114 * b;
    const double u = 0.492111 * (b - y);
    const double v = 0.877283 * (r - y);
    const std::string id = std::string("video.bars.") + name;
    truth[id + ".luma"] = o.gain * white * y;
    truth[id + ".chroma"] = 2 * o.gain * white * std::hypot(u, v);
    const double deg = std::atan2(v, u) * 180 / pi;
    truth[id + ".phase"] = deg < 0 ? deg + 360 : deg;
  };
  exact("yellow", 0.75, 0.75, 0);
  exact("green", 0, 0.75, 0);
  exact("red", 0.75, 0, 0);
  return out;
}

}  // namespace video_test
