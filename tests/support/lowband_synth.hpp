// A composite signal as a sound card takes it in, for tests: rectangular pulses in closed form, each edge
// through the card's anti-alias filter (a windowed sinc), then the coupling capacitor, hum, gain and noise.
// Written from the standards' tables (SMPTE ST 170M, ITU-R BT.470), not by the program's encoder.
#pragma once

#include <algorithm>
#include <cmath>
#include <linebench/base/audio_source.hpp>
#include <numbers>
#include <random>
#include <set>
#include <utility>
#include <vector>

namespace lowband_synth {

struct Card {
  int lines = 625;
  bool interlaced = true;  // false: 312 or 262 lines, every field alike
  double line_hz = 15625;
  double sync_mv = 300;
  double sync_us = 4.7;
  double equalising_us = 2.35;
  double broad_us = 27.3;
  double active_from_us = 10.5;
  double front_porch_us = 1.5;
  double top_mv = 350;     // picture level in the upper half of the field
  double bottom_mv = 350;  // and the lower
  double stripe_mv = -1;   // a stripe three lines high in the middle; < 0: none
  double dark_us = 0;      // a bar of so many us at black in the middle of each line
  double gain = 1;
  bool inverted = false;
  double hum_hz = 50;
  double hum_pp_mv = 0;
  double hum_third = 0;  // third harmonic re the first
  double phase = 0;      // of the hum
  double start_s = 0;    // where in the frame the capture begins
  double jitter_ns = 0;  // of each field's place: none in real ones; moves the sampling about in trials
  std::set<int> missing_fields{};

  double rate_hz = 192000;
  double edge = 0.46;       // card's bandwidth as a share of the rate
  double coupling_hz = 5;   // high-pass corner
  double second_hz = 0;     // another one after it; 0: none
  double dc = 0;            // of full scale, added by the converter
  double full_scale_v = 2;  // on the line
  double noise_mv = 1;      // rms, white over half the rate
  bool quantise = true;     // 24 bit

  [[nodiscard]] double line_us() const { return 1e6 / line_hz; }
  /// Mean of the active picture, mV, without gain.
  [[nodiscard]] double picture_mean_mv() const;
  [[nodiscard]] double halves() const { return interlaced ? lines : lines - 1; }
  [[nodiscard]] double field_hz() const { return 2 * line_hz / halves(); }
};

inline Card card_525() {
  Card c;
  c.lines = 525;
  c.line_hz = 4.5e6 / 286;
  c.sync_mv = 40000.0 / 140;
  c.equalising_us = 2.3;
  c.broad_us = c.line_us() / 2 - 4.7;
  c.active_from_us = 9.4;
  return c;
}

namespace detail {

// Integral of a Kaiser-windowed sinc of cutoff `edge` (of the rate), 0 to 1, as a table over time in samples.
class EdgeTable {
 public:
  explicit EdgeTable(double edge) {
    std::vector<double> h(2 * span * fine + 1);
    const double beta = 8;
    double sum = 0;
    for (std::size_t i = 0; i < h.size(); ++i) {
      const double t = static_cast<double>(i) / fine - span;
      const double x = 2 * std::numbers::pi * edge * t;
      const double w = std::cyl_bessel_i(0.0, beta * std::sqrt(std::max(0.0, 1 - t * t / (span * span))));
      h[i] = w * (std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x);
      sum += h[i];
    }
    double run = 0;
    for (const double v : h) {
      step_.push_back((run + 0.5 * v) / sum);
      run += v;
    }
  }
  /// Step response minus the ideal step, t in samples after the edge.
  [[nodiscard]] double rest(double t) const {
    if (std::abs(t) >= span) return 0;
    const double p = (t + span) * fine;
    const auto i = static_cast<std::size_t>(p);
    const double v = step_[i] + (p - static_cast<double>(i)) * (step_[i + 1] - step_[i]);
    return v - (t >= 0 ? 1.0 : 0.0);
  }
  static constexpr int span = 24;
  static constexpr int fine = 64;

 private:
  std::vector<double> step_;
};

struct Edges {
  std::vector<std::pair<double, double>> at;  // us, step in mV
  void pulse(double from, double to, double mv) {
    at.emplace_back(from, mv);
    at.emplace_back(to, -mv);
  }
};

inline bool has_picture(const Card& c, int line) {
  if (!c.interlaced) return line >= 24 && line < c.lines / 2 - 5;
  if (c.lines == 525) return (line >= 21 && line <= 262) || (line >= 284 && line <= 525);
  return (line >= 24 && line <= 309) || (line >= 336 && line <= 622);
}

// Width of the pulse at a half line, counted from the frame's start; 0: none.
inline double pulse_us(const Card& c, int half) {
  const int per_field = static_cast<int>(c.halves());
  const bool second = c.interlaced && half >= per_field;
  const int k = half % per_field;
  const bool line_start = second ? half % 2 == 0 : k % 2 == 0;
  if (c.lines == 525) {
    if (k < 6) return c.equalising_us;
    if (k < 12) return c.broad_us;
    if (k < 18) return c.equalising_us;
  } else {
    if (k < 5) return c.broad_us;
    if (k < 10) return c.equalising_us;
    if (k >= per_field - 5) return c.equalising_us;
  }
  return line_start ? c.sync_us : 0.0;
}

}  // namespace detail

/// Level of the picture on a line of the frame.
inline double picture_mv(const Card& c, int line) {
  const int per_field = c.interlaced ? c.lines / 2 : c.lines / 2;
  const int row = c.interlaced && line > per_field ? line - per_field : line;
  const int middle = per_field / 2 + 10;
  if (c.stripe_mv >= 0 && row >= middle && row < middle + 3) return c.stripe_mv;
  return row < middle ? c.top_mv : c.bottom_mv;
}

inline double Card::picture_mean_mv() const {
  double sum = 0;
  double n = 0;
  const double active = line_us() - front_porch_us - active_from_us;
  const int per_frame = interlaced ? lines : lines / 2;
  for (int l = 1; l <= per_frame; ++l) {
    if (!detail::has_picture(*this, l)) continue;
    sum += picture_mv(*this, l) * (1 - dark_us / active);
    n += 1;
  }
  return sum / n;
}

/// Samples as the card's converter gives them: 1.0 = full_scale_v on the line.
inline std::vector<float> make(const Card& c, double seconds, unsigned seed) {
  const double us = c.rate_hz * 1e-6;
  const auto n = static_cast<std::size_t>(seconds * c.rate_hz);
  const double h = c.line_us();
  detail::Edges e;
  const int per_frame = c.interlaced ? c.lines : c.lines / 2;
  const double begin = c.start_s * 1e6;
  const auto first = static_cast<std::int64_t>(begin / h) - 1;
  const auto last = static_cast<std::int64_t>((begin + seconds * 1e6) / h) + 1;
  for (std::int64_t l = std::max<std::int64_t>(0, first); l <= last; ++l) {
    const int line = static_cast<int>(l % per_frame) + 1;
    const double t0 = static_cast<double>(l) * h - begin;
    for (int k = 0; k < 2; ++k) {
      const double w = detail::pulse_us(c, 2 * (line - 1) + k);
      const auto field = static_cast<int>(static_cast<double>(2 * l + k) / c.halves() + 0.5);
      const bool gone = w > 10 && c.missing_fields.contains(field);
      if (w > 0) e.pulse(t0 + k * h / 2, t0 + k * h / 2 + (gone ? c.equalising_us : w), -c.sync_mv);
    }
    if (detail::has_picture(c, line)) {
      const double from = t0 + c.active_from_us;
      const double to = t0 + h - c.front_porch_us;
      const double mv = picture_mv(c, line);
      e.pulse(from, to, mv);
      const double middle = 0.5 * (from + to);
      if (c.dark_us > 0) e.pulse(middle - c.dark_us / 2, middle + c.dark_us / 2, -mv);
    }
  }
  static thread_local double table_edge = 0;
  static thread_local std::vector<detail::EdgeTable> table;
  if (table_edge != c.edge) table.assign(1, detail::EdgeTable(c.edge)), table_edge = c.edge;
  std::vector<double> v(n + 1, 0.0);
  for (const auto& [t, step] : e.at) {
    const double p = t * us;
    const auto whole = static_cast<std::int64_t>(std::ceil(p));
    const std::int64_t from = std::max<std::int64_t>(0, whole);
    if (from < static_cast<std::int64_t>(n)) v[static_cast<std::size_t>(from)] += step;
  }
  for (std::size_t i = 1; i < n; ++i) v[i] += v[i - 1];
  for (const auto& [t, step] : e.at) {
    const double p = t * us;
    const auto a =
        std::max<std::int64_t>(0, static_cast<std::int64_t>(std::ceil(p - detail::EdgeTable::span)));
    const auto b = std::min<std::int64_t>(static_cast<std::int64_t>(n) - 1,
                                          static_cast<std::int64_t>(p + detail::EdgeTable::span));
    for (std::int64_t k = a; k <= b; ++k)
      v[static_cast<std::size_t>(k)] += step * table[0].rest(static_cast<double>(k) - p);
  }
  std::mt19937 gen(seed);
  std::normal_distribution<double> normal(0, 1);
  struct HighPass {
    double a = 1, x = 0, y = 0;
    bool on = false;
    double run(double in) {
      if (!on) return in;
      y = a * (y + in - x);
      x = in;
      return y;
    }
  };
  HighPass one;
  HighPass two;
  // The bilinear corner is off by less than 1e-6 this far below the rate.
  const auto set = [&](HighPass& f, double hz, double settled) {
    if (hz <= 0) return;
    f.on = true;
    f.a = std::exp(-2 * std::numbers::pi * hz / c.rate_hz);
    f.x = settled;  // as if it had run for long on the picture's mean
  };
  double mean = 0;
  for (std::size_t i = 0; i < n; ++i) mean += v[i] / static_cast<double>(n);
  const double sign = c.inverted ? -1 : 1;
  set(one, c.coupling_hz, sign * c.gain * mean);
  set(two, c.second_hz, 0);
  std::vector<float> out(n);
  for (std::size_t i = 0; i < n; ++i) {
    const double p = 2 * std::numbers::pi * c.hum_hz * static_cast<double>(i) / c.rate_hz + c.phase;
    double x = sign * (c.gain * v[i] + c.hum_pp_mv / 2 * (std::sin(p) + c.hum_third * std::sin(3 * p + 0.7)));
    x = two.run(one.run(x)) + c.noise_mv * normal(gen);
    double s = x / 1000 / c.full_scale_v + c.dc;
    if (c.quantise) s = std::round(s * 8388608) / 8388608;
    out[i] = static_cast<float>(std::clamp(s, -1.0, 1.0));
  }
  return out;
}

/// Samples in memory as a source.
class MemoryCard : public linebench::AudioSource {
 public:
  MemoryCard(double rate, std::vector<float> samples, std::optional<double> full_scale_v, int channels = 1)
      : samples_(std::move(samples)) {
    facts_.source = "memory";
    facts_.sample_rate_hz = rate;
    facts_.channels = channels;
    facts_.frames = samples_.size() / static_cast<std::size_t>(channels);
    facts_.full_scale_v = full_scale_v;
  }
  [[nodiscard]] const linebench::CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> out) override {
    const std::size_t n = std::min(out.size(), samples_.size() - at_);
    std::copy_n(samples_.begin() + static_cast<std::ptrdiff_t>(at_), n, out.begin());
    at_ += n;
    return n / static_cast<std::size_t>(facts_.channels);
  }

 private:
  std::vector<float> samples_;
  linebench::CaptureFacts facts_;
  std::size_t at_ = 0;
};

}  // namespace lowband_synth
