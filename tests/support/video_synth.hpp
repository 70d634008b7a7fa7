// Composite video for tests, written out from the standards' tables in closed form, not by the program's
// encoder, so that the receiver is not checked against its own house's habits.
//
// Timing and levels: SMPTE ST 170M (525) and ITU-R BT.470-6 / BT.1700 (625), from the project's reference
// table (most from secondary sources or memory; where the receiver is held to a figure, it is to the one
// written here). Edges are raised cosines: 10 to 90 % takes 0.5903 of the whole.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <linebench/capture/video_samples.hpp>
#include <map>
#include <numbers>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "support/sine.hpp"

namespace video_synth {

inline constexpr double pi = std::numbers::pi;

/// A piece of the picture: level and chroma from `from` (us after 0H) on, up to the next piece.
struct Piece {
  double from_us;
  double luma_mv;
  double u_mv = 0;
  double v_mv = 0;
};
using Picture = std::function<std::vector<Piece>(int line)>;

struct Wave {
  int lines = 625;
  bool interlaced = true;  ///< false: 262 or 312 lines, every field like field 1
  double line_hz = 15625.0;
  double subcarrier_hz = 4433618.75;  ///< 0: no colour
  bool alternating = true;            ///< V switch and swinging burst
  double sc_h_deg = 0;
  double sync_mv = 300;
  double burst_pp_mv = 300;
  double sync_us = 4.7;
  double sync_rise_ns = 200;
  double blanking_rise_ns = 300;
  double front_porch_us = 1.5;
  double active_from_us = 10.5;
  double burst_from_us = 5.6;
  double burst_cycles = 10;
  double burst_rise_ns = 300;
  double equalising_us = 2.35;
  double broad_us = 27.3;
  Picture picture;  ///< none: black

  // What happens to it on the way.
  double gain = 1;
  double offset_mv = 0;
  bool inverted = false;
  double hum_pp_mv = 0;
  double hum_hz = 50;
  double hum_second = 0;  ///< second harmonic's amplitude re the first
  double noise_mv = 0;    ///< rms, white over half the sample rate
  double jitter_ns = 0;   ///< rms, each line on its own
  double clock_ppm = 0;   ///< everything faster by this, as by a slow recorder clock
  std::set<int> missing;  ///< lines (count from the start) without sync
  double start_line = 1;  ///< where in the frame the capture begins
};

inline Wave wave_625() { return {}; }
inline Wave wave_525() {
  Wave w;
  w.lines = 525;
  w.line_hz = 4.5e6 / 286;
  w.subcarrier_hz = 315e6 / 88;
  w.alternating = false;
  w.sync_mv = 40000.0 / 140;
  w.burst_pp_mv = 40000.0 / 140;
  w.sync_rise_ns = 140;
  w.blanking_rise_ns = 140;
  w.front_porch_us = 1.5;
  w.active_from_us = 9.4;
  w.burst_from_us = 19.0 / 315e6 * 88 * 1e6;
  w.burst_cycles = 9;
  w.equalising_us = 2.3;
  w.broad_us = 1e6 / w.line_hz / 2 - 4.7;
  return w;
}

/// Raised-cosine step from 0 to 1 whose 50 % point is at 0; `rise` 10 to 90 %, same unit as t.
inline double step(double t, double rise) {
  const double whole = rise / 0.590326;
  if (t <= -whole / 2) return 0;
  if (t >= whole / 2) return 1;
  return 0.5 + 0.5 * std::sin(pi * t / whole);
}

/// Colour bars: white and colours as shares of full (100/0/75/0: 1, 0.75), black on `setup_mv`. Matrix of
/// BT.601.
inline Picture bars(const Wave& w, double white_mv, double white, double colour, double setup_mv) {
  const double from = w.active_from_us;
  const double width = (1e6 / w.line_hz - w.front_porch_us - from) / 8;
  std::vector<Piece> line;
  for (int i = 0; i < 8; ++i) {
    const int bits = 7 - i;
    const double level = i == 0 ? white : colour;
    const double g = (bits & 4) != 0 ? level : 0;
    const double r = (bits & 2) != 0 ? level : 0;
    const double b = (bits & 1) != 0 ? level : 0;
    const double y = 0.299 * r + 0.587 * g + 0.114 * b;
    const double range = white_mv - setup_mv;
    line.push_back(
        {from + i * width, setup_mv + range * y, range * 0.492111 * (b - y), range * 0.877283 * (r - y)});
  }
  return [line](int) { return line; };
}
inline Picture flat(double mv) {
  return [mv](int) { return std::vector<Piece>{{0.0, mv}}; };
}

/// Line pulses by half line of the frame: width in us, 0 for none. From the field pulse tables: 525 counts
/// from the first equalising pulse, 625 from the first broad pulse.
inline double pulse_us(const Wave& w, int half) {
  const int halves_per_field = w.interlaced ? w.lines : w.lines - 1;
  const int field_half = half % (halves_per_field);
  const bool second = w.interlaced && half >= halves_per_field;
  const bool line_start = (w.interlaced && second) ? (half % 2 == 0) : (field_half % 2 == 0);
  if (w.lines == 525) {
    if (field_half < 6) return w.equalising_us;
    if (field_half < 12) return w.broad_us;
    if (field_half < 18) return w.equalising_us;
  } else {
    if (field_half < 5) return w.broad_us;
    if (field_half < 10) return w.equalising_us;
    if (field_half >= halves_per_field - 5) return w.equalising_us;
  }
  return line_start ? w.sync_us : 0.0;
}
inline bool has_burst(const Wave& w, std::int64_t frame, int line) {
  if (w.subcarrier_hz <= 0) return false;
  if (!w.interlaced) return line > 9;
  if (w.lines == 525) return !(line <= 9 || (line >= 264 && line <= 272));
  // Bruch blanking: fields 1,5: 623 to 6; 2,6: 310 to 318; 3,7: 622 to 5; 4,8: 311 to 319.
  const bool even = frame % 2 == 0;
  if (line <= (even ? 6 : 5)) return false;
  if (line >= (even ? 310 : 311) && line <= (even ? 318 : 319)) return false;
  return line < (even ? 622 : 623);
}
inline bool has_picture(const Wave& w, int line) {
  if (!w.interlaced) return line >= 24 && line < w.lines / 2 - 5;
  if (w.lines == 525) return (line >= 21 && line <= 262) || (line >= 284 && line <= 525);
  return (line >= 24 && line <= 309) || (line >= 336 && line <= 622);
}

/// The samples, in volts, without noise; noise is added by `add_noise`.
inline std::vector<float> clean(const Wave& w, double rate, double seconds, unsigned seed = 1) {
  const auto n = static_cast<std::size_t>(seconds * rate);
  std::vector<double> v(n, 0.0);
  const double speed = 1 + w.clock_ppm * 1e-6;
  const double us = rate * 1e-6 / speed;  // samples in a microsecond of the signal
  const double sample_us = 1 / us;
  const double h = 1e6 / w.line_hz;
  const int lines_per_frame = w.interlaced ? w.lines : w.lines / 2;
  std::mt19937 gen(seed);
  std::normal_distribution<double> normal(0, 1);
  const double t_begin = (w.start_line - 1) * h;  // us since line 1 of frame 0
  const auto total_lines = static_cast<std::int64_t>(static_cast<double>(n) / us / h) + 3;
  const auto range = [&](double from, double to, const auto& f) {  // f(sample, t us from capture start)
    const auto a = std::max<std::int64_t>(0, static_cast<std::int64_t>(std::ceil(from * us)));
    const auto b = std::min(static_cast<std::int64_t>(n) - 1, static_cast<std::int64_t>(std::floor(to * us)));
    for (std::int64_t k = a; k <= b; ++k)
      f(v[static_cast<std::size_t>(k)], static_cast<double>(k) * sample_us);
  };
  const auto first_line = static_cast<std::int64_t>(std::floor(w.start_line - 1));
  for (std::int64_t l = first_line; l < first_line + total_lines; ++l) {
    const std::int64_t frame = l / lines_per_frame;
    const int line = static_cast<int>(l % lines_per_frame) + 1;
    const double jitter = w.jitter_ns > 0 ? w.jitter_ns * 1e-3 * normal(gen) : 0.0;
    const double t0 = static_cast<double>(l) * h - t_begin + jitter;
    const bool gone = w.missing.count(static_cast<int>(l - first_line)) > 0;
    for (int k = 0; k < 2 && !gone; ++k) {
      const double width = pulse_us(w, 2 * (line - 1) + k);
      if (width <= 0) continue;
      const double at = t0 + k * h / 2;
      const double rise = w.sync_rise_ns * 1e-3;
      range(at - rise, at + width + rise,
            [&](double& x, double t) { x -= w.sync_mv * (step(t - at, rise) - step(t - at - width, rise)); });
    }
    const double sign = !w.alternating ? 1 : (l % 2 == 0 ? 1 : -1);
    const auto phase = [&](double t) {  // of the U axis; t from the start of the capture
      const double cycles = w.subcarrier_hz * 1e-6 * (t + t_begin);
      return 2 * pi * (cycles - static_cast<double>(static_cast<std::int64_t>(cycles))) +
             w.sc_h_deg * pi / 180;
    };
    if (has_burst(w, frame, line)) {
      const double from = t0 + w.burst_from_us;
      const double to = from + w.burst_cycles / w.subcarrier_hz * 1e6;
      const double rise = w.burst_rise_ns * 1e-3;
      const double a = w.burst_pp_mv / 2;
      const double bu = w.alternating ? -a / std::numbers::sqrt2 : -a;
      const double bv = w.alternating ? a / std::numbers::sqrt2 : 0;
      range(from - rise, to + rise, [&](double& x, double t) {
        const double p = phase(t);
        x += (step(t - from, rise) - step(t - to, rise)) *
             (bu * synth::sine(p) + sign * bv * synth::cosine(p));
      });
    }
    if (w.picture && has_picture(w, line)) {
      const std::vector<Piece> pieces = w.picture(line);
      const double begin = t0 + w.active_from_us;
      const double end = t0 + h - w.front_porch_us;
      const double rise = w.blanking_rise_ns * 1e-3;
      range(begin - rise, end + rise, [&](double& x, double t) {
        double y = pieces[0].luma_mv;
        double u = pieces[0].u_mv;
        double c = pieces[0].v_mv;
        for (std::size_t i = 1; i < pieces.size(); ++i) {
          const double s = step(t - t0 - pieces[i].from_us, rise);
          if (s <= 0) break;
          y += s * (pieces[i].luma_mv - pieces[i - 1].luma_mv);
          u += s * (pieces[i].u_mv - pieces[i - 1].u_mv);
          c += s * (pieces[i].v_mv - pieces[i - 1].v_mv);
        }
        if (w.subcarrier_hz > 0 && (u != 0 || c != 0)) {
          const double p = phase(t);
          y += u * synth::sine(p) + sign * c * synth::cosine(p);
        }
        x += y * (step(t - begin, rise) - step(t - end, rise));
      });
    }
  }
  std::vector<float> out(n);
  for (std::size_t k = 0; k < n; ++k) {
    const double t = static_cast<double>(k) / rate;
    double x = w.gain * v[k];
    if (w.hum_pp_mv > 0) {
      const double p = 2 * pi * w.hum_hz * t + 0.4;
      x += w.hum_pp_mv / 2 * (std::sin(p) + w.hum_second * std::sin(2 * p + 0.3));
    }
    x += w.offset_mv;
    out[k] = static_cast<float>((w.inverted ? -x : x) * 1e-3);
  }
  return out;
}

inline void add_noise(std::vector<float>& v, double rms_mv, unsigned seed) {
  if (rms_mv <= 0) return;
  std::mt19937 gen(seed);
  std::normal_distribution<float> normal(0.0F, static_cast<float>(rms_mv * 1e-3));
  for (float& x : v) x += normal(gen);
}

inline std::vector<float> make(const Wave& w, double rate, double seconds, unsigned seed = 1) {
  std::vector<float> v = clean(w, rate, seconds, seed);
  add_noise(v, w.noise_mv, seed + 1000);
  return v;
}

/// Samples in memory as a source.
class MemoryVideo : public linebench::capture::VideoSource {
 public:
  MemoryVideo(double rate, std::vector<float> volts) : volts_(std::move(volts)) {
    facts_.source = "memory";
    facts_.kind = "composite samples";
    facts_.sample_rate_hz = rate;
    facts_.channels = 1;
    facts_.frames = volts_.size();
  }
  [[nodiscard]] const linebench::CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> out) override {
    const std::size_t n = std::min(out.size(), volts_.size() - at_);
    std::copy_n(volts_.begin() + static_cast<std::ptrdiff_t>(at_), n, out.begin());
    at_ += n;
    return n;
  }

 private:
  std::vector<float> volts_;
  linebench::CaptureFacts facts_;
  std::size_t at_ = 0;
};

}  // namespace video_synth
