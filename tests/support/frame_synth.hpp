// Grabber frames for tests from closed forms, never from the program's own pictures: a line as a function of
// its place, moved, bent, hummed on and made noisy by definition, then rounded to BT.601 codes.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <linebench/base/reading.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/picture.hpp>
#include <numbers>
#include <numeric>
#include <random>
#include <utility>
#include <vector>

#include "support/sine.hpp"

namespace frame_synth {

using linebench::capture::Frame;
using linebench::capture::FrameFormat;

/// Share of black to white at a place (px) of the line, before the path.
using Line = std::function<double(double x)>;

/// A smooth step from 0 to 1 at x = at: an edge of 190 ns (10 to 90 %) at 13.5 MHz.
inline double step(double x, double at) {
  if (std::abs(x - at) > 8) return x > at ? 1 : 0;  // to 1e-15
  return 0.5 * (1 + std::erf((x - at) / std::numbers::sqrt2));
}

/// Luma of colour bars: 0.299 R + 0.587 G + 0.114 B of white, yellow, cyan, green, magenta, red, blue, black.
inline double bar_luma(int bar, double white, double colour) {
  constexpr double share[8] = {1.0, 0.886, 0.701, 0.587, 0.413, 0.299, 0.114, 0.0};
  return bar == 0 ? white : colour * share[bar];
}
inline Line bars(double white, double colour, double width = 720) {
  return [=](double x) {
    double v = bar_luma(0, white, colour);
    for (int b = 1; b < 8; ++b)
      v += (bar_luma(b, white, colour) - bar_luma(b - 1, white, colour)) * step(x, b * width / 8);
    return v;
  };
}
inline Line flat(double level) {
  return [=](double) { return level; };
}
/// A narrow pulse (sin^2 of half-amplitude duration 2.7 px = 200 ns) and a bar from 300 to 560 px.
inline Line pulse_bar() {
  return [](double x) {
    const double d = (x - 180) / 5.4;
    const double pulse = std::abs(d) < 0.5 * 2 ? std::pow(std::cos(std::numbers::pi / 2 * d), 2) : 0;
    return pulse + step(x, 300) - step(x, 560);
  };
}
inline Line window() {
  return [](double x) { return step(x, 180) - step(x, 540); };
}
inline Line staircase(int risers) {
  return [=](double x) {
    double v = 0;
    for (int i = 1; i <= risers; ++i) v += step(x, i * 720.0 / (risers + 1)) / risers;
    return v;
  };
}

/// The nearest code there is.
inline std::uint8_t code(double v) {
  const double above = std::clamp(v, 0.0, 255.0) + 0.5;
  return static_cast<std::uint8_t>(above);  // cut off, of what is never below 0
}

struct Scene {
  int lines = 625;
  int width = 720;
  Line line = bars(0.75, 0.75);
  /// Where not empty, the picture itself, by place and row of the frame; then `line` is not used.
  std::function<double(double x, double row)> picture{};
  bool coloured_bars = false;  ///< with the colours of the bars, at `colour`
  double colour = 0.75;
  double gain = 1;
  double offset = 0;       ///< codes
  double noise = 0;        ///< codes rms, luma
  double noise_width = 0;  ///< px over which noise is smoothed (Gaussian, rms); 0: white up to 6.75 MHz
  double row_noise = 0;    ///< codes rms, of each row of each frame as a whole
  double stands = 0;       ///< codes rms, white, the same in each frame
  double hum_percent = 0;  ///< of white, peak to peak, of each of these
  double hum_hz = 50.2;
  double hum2_percent = 0;  ///< at twice hum_hz
  double hum_phase = 0.7;
  double tone_percent = 0;  ///< of white, peak to peak: a steady carrier, in time with no line or field
  double tone_hz = 0;
  /// What else comes in, % of white, by time (s), frame and row of the frame.
  std::function<double(double t, int frame, int row)> other{};
  /// What else comes in, % of white, by the time a sample was scanned at, s.
  std::function<double(double t)> wave{};
  double specks = 0;   ///< a frame: 1 to 3 px of 60 to 150 codes up or down, anywhere
  double jitter = 0;   ///< px rms, each line of each frame by itself
  double flag_px = 0;  ///< sideways at row 0, falling to 1/e in 20 field lines
  double tear_px = 0;  ///< all below row 300 moved right
  /// Sideways, px, by frame and row of the frame; on top of the above.
  std::function<double(int frame, int row)> shift{};
  double roll = 0;            ///< frame lines a frame, down; the picture comes round at its own height
  bool roll_scanned = false;  ///< it goes on from row to row, as of a signal; else from frame to frame
  double echo_px = 0;
  double echo_gain = 0;
  double saturation = 1;
  double hue_deg = 0;

  [[nodiscard]] int height() const { return lines == 625 ? 576 : 480; }
  [[nodiscard]] FrameFormat format() const {
    FrameFormat f;
    f.width = width;
    f.height = height();
    f.lines = lines;
    f.frame_rate_hz = lines == 625 ? 25.0 : 30000.0 / 1001;
    f.top_field_first = lines == 625;
    return f;
  }
};

/// Frames of a scene, one after another, each made when asked for.
class Source final : public linebench::capture::FrameSource {
 public:
  Source(Scene scene, int frames, unsigned seed) : s_(std::move(scene)), total_(frames), random_(seed) {
    format_ = s_.format();
    facts_.source = "synthetic";
    facts_.kind = "frames";
    facts_.sample_rate_hz = format_.frame_rate_hz;
    facts_.frames = static_cast<std::uint64_t>(frames);
    for (int i = 0; i < (s_.width + 2 * margin) * parts; ++i)
      table_.push_back(s_.line(static_cast<double>(i) / parts - margin));
    noise_.resize(1 << 16);
    std::normal_distribution<float> normal;
    for (float& v : noise_) v = normal(random_);
    if (s_.noise_width > 0) smooth_noise();
    // So many values are off by 0.3 % by chance, and their mean by 0.4 % of their rms; the truth is not to
    // be.
    const float mean =
        std::accumulate(noise_.begin(), noise_.end(), 0.0F) / static_cast<float>(noise_.size());
    double power = 0;
    for (float& v : noise_) {
      v -= mean;
      power += static_cast<double>(v) * static_cast<double>(v);
    }
    for (float& v : noise_) v /= static_cast<float>(std::sqrt(power / static_cast<double>(noise_.size())));
  }
  [[nodiscard]] const linebench::CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const FrameFormat& format() const override { return format_; }

  bool read(Frame& f) override {
    if (at_ >= total_) return false;
    const int w = s_.width;
    const int h = s_.height();
    f.y.resize(static_cast<std::size_t>(w) * static_cast<std::size_t>(h));
    f.cb.assign(f.y.size() / 2, 128);
    f.cr.assign(f.y.size() / 2, 128);
    f.number = static_cast<std::uint64_t>(at_);
    std::normal_distribution<double> normal;
    const double line_s = s_.lines == 625 ? 64e-6 : 1001.0 / 30000 / 525;
    const double field_s = s_.lines == 625 ? 0.02 : 1001.0 / 60000;
    for (int r = 0; r < h; ++r) {
      const int field_line = r / 2;
      const bool top = r % 2 == 0;
      const double t =
          at_ / format_.frame_rate_hz + (top == (s_.lines == 625) ? 0 : field_s) + field_line * line_s;
      const double w_hum = 2 * std::numbers::pi * s_.hum_hz * t;
      const double hum =
          219 * 0.005 *
          (s_.hum_percent * std::sin(w_hum + s_.hum_phase) + s_.hum2_percent * std::sin(2 * w_hum + 0.4));
      const double other = s_.other ? 2.19 * s_.other(t, at_, r) : 0;
      // Lines are scanned one after another: the later field begins half a frame on, at a whole line
      // [BT.656].
      const bool later = top != (s_.lines == 625);
      const double line = at_ * s_.lines + field_line + (later ? (s_.lines + 1) / 2 : 0);
      const double tone_turns = std::fmod(s_.tone_hz * line * line_s, 1.0);
      double d = s_.jitter * normal(random_) + s_.flag_px * std::exp(-field_line / 20.0) +
                 (r >= 300 ? s_.tear_px : 0);
      if (s_.shift) d += s_.shift(at_, r);
      double row = r - s_.roll * (s_.roll_scanned ? t * format_.frame_rate_hz : at_);
      row -= h * std::floor(row / h);
      const double streak = s_.row_noise > 0 ? s_.row_noise * normal(random_) : 0;
      const auto standing = static_cast<std::size_t>(r) * 7919;
      // Gaussian values drawn once; each row starts at a place of its own among them.
      std::size_t draw = random_() & 0xffff;
      for (int x = 0; x < w; ++x) {
        double v = s_.picture ? s_.picture(x - d, row) : value(x - d);
        if (s_.echo_gain != 0) v += s_.echo_gain * value(x - d - s_.echo_px);
        if (s_.tone_percent != 0)
          v += s_.tone_percent / 200 / s_.gain *
               synth::sine(2 * std::numbers::pi * (tone_turns + s_.tone_hz * x / 13.5e6));
        if (s_.wave) v += s_.wave(line * line_s + x / 13.5e6) / 100 / s_.gain;
        v = 16 + s_.offset + 219 * s_.gain * v + hum + other + streak +
            s_.stands * static_cast<double>(noise_[(standing + static_cast<std::size_t>(x)) & 0xffff]) +
            s_.noise * static_cast<double>(noise_[draw++ & 0xffff]);
        f.y[static_cast<std::size_t>(r) * static_cast<std::size_t>(w) + static_cast<std::size_t>(x)] =
            code(v);
      }
      if (s_.coloured_bars) colour_row(f, r);
    }
    if (s_.specks > 0) speckle(f);
    ++at_;
    return true;
  }

 private:
  void speckle(Frame& f) {
    std::uniform_real_distribution<double> any;
    for (int n = std::poisson_distribution<int>(s_.specks)(random_); n > 0; --n) {
      const auto at = static_cast<std::size_t>(any(random_) * static_cast<double>(f.y.size() - 3));
      const double codes = (60 + 90 * any(random_)) * (any(random_) < 0.5 ? -1 : 1);
      const auto px = 1 + static_cast<std::size_t>(3 * any(random_));
      for (std::size_t i = at; i < at + px; ++i)
        f.y[i] = static_cast<std::uint8_t>(std::clamp(std::lround(f.y[i] + codes), 1L, 254L));
    }
  }
  static constexpr int margin = 220;
  static constexpr int parts = 16;
  // Weights at whole px; their power is brought back to one.
  void smooth_noise() {
    std::vector<double> weight;
    double power = 0;
    for (int k = -4; k <= 4; ++k) {
      weight.push_back(std::exp(-0.5 * k * k / (s_.noise_width * s_.noise_width)));
      power += weight.back() * weight.back();
    }
    std::vector<float> out(noise_.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
      double v = 0;
      for (std::size_t k = 0; k < weight.size(); ++k)
        v += weight[k] * static_cast<double>(noise_[(i + k) & 0xffff]);
      out[i] = static_cast<float>(v / std::sqrt(power));
    }
    noise_ = std::move(out);
  }
  [[nodiscard]] double value(double x) const {
    const double at = (x + margin) * parts;
    const auto i = static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(table_.size() - 2)));
    return table_[i] + (at - static_cast<double>(i)) * (table_[i + 1] - table_[i]);
  }
  // U and V turned and scaled, then to Cb and Cr [BT.601; U, V scaling of the composite signal].
  void colour_row(Frame& f, int r) {
    constexpr double rgb[8][3] = {{1, 1, 1}, {1, 1, 0}, {0, 1, 1}, {0, 1, 0},
                                  {1, 0, 1}, {1, 0, 0}, {0, 0, 1}, {0, 0, 0}};
    const double turn = s_.hue_deg * std::numbers::pi / 180;
    const double cos = std::cos(turn);
    const double sin = std::sin(turn);
    for (int x = 0; x < s_.width / 2; ++x) {
      const auto& c = rgb[std::min(7, 2 * x * 8 / s_.width)];
      const bool white = 2 * x * 8 / s_.width == 0;
      const double y = 0.299 * c[0] + 0.587 * c[1] + 0.114 * c[2];
      const double u0 = white ? 0 : s_.colour * 0.492111 * (c[2] - y);
      const double v0 = white ? 0 : s_.colour * 0.877283 * (c[0] - y);
      const double u = s_.saturation * (u0 * cos - v0 * sin);
      const double v = s_.saturation * (u0 * sin + v0 * cos);
      const double draw = s_.noise * static_cast<double>(noise_[random_() & 0xffff]);
      const auto at = (static_cast<std::size_t>(r) * static_cast<std::size_t>(s_.width)) / 2 +
                      static_cast<std::size_t>(x);
      f.cb[at] = code(128 + 224 * u / 0.492111 / 1.772 + draw);
      f.cr[at] = code(128 + 224 * v / 0.877283 / 1.402 - draw);
    }
  }

  Scene s_;
  FrameFormat format_;
  linebench::CaptureFacts facts_;
  int total_;
  int at_ = 0;
  std::mt19937 random_;
  std::vector<double> table_;
  std::vector<float> noise_;
};

inline linebench::Readings measure(const Scene& scene, int frames, unsigned seed = 1,
                                   const linebench::measure::PictureOptions& options = {},
                                   linebench::measure::PictureTraces* traces = nullptr) {
  Source source(scene, frames, seed);
  return linebench::measure::measure_picture(source, options, {}, nullptr, traces);
}

/// A scene that is no test picture: detail of all sizes in both directions.
inline double landscape(double x, double row) {
  using synth::sine;
  return 0.45 + 0.12 * sine(x / 37.0 + 0.6 * sine(row / 50.0)) + 0.1 * sine(row / 23.0 + x / 90.0) +
         0.08 * sine(x / 9.0 + row / 31.0) + 0.12 * (step(x, 200 + 0.2 * row) - step(x, 420 - 0.1 * row)) +
         0.1 * (step(row, 150) - step(row, 330)) * step(x, 500);
}

}  // namespace frame_synth
