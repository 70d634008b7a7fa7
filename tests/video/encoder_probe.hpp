// Reads the encoder's samples without any of the program's own decoding: values between samples by a plain
// sinc sum, levels by means, sines by least squares.
#pragma once

#include <cmath>
#include <complex>
#include <linebench/signals/video_encoder.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>
#include <span>
#include <vector>

namespace probe {

using linebench::signals::CompositeEncoder;
using linebench::signals::EncoderOptions;
using linebench::signals::PictureSpec;
using linebench::standards::VideoStandard;

class Signal {
 public:
  Signal(const PictureSpec& spec, const VideoStandard& s, double rate_hz, double seconds,
         double bandwidth_hz = 0, double sc_h_deg = 0)
      : standard(s) {
    EncoderOptions o;
    o.system = s.system;
    o.sample_rate_hz = linebench::signals::exact_sample_rate(rate_hz, s);
    o.bandwidth_hz = bandwidth_hz;
    o.sc_h_deg = sc_h_deg;
    o.colour = rate_hz >= 10e6;
    CompositeEncoder e(linebench::signals::describe(spec, s), o);
    rate = e.sample_rate_hz();
    picture = e.picture();
    v.resize(static_cast<std::size_t>(seconds * rate));
    // In uneven pieces, so that the borders between reads are tried too.
    std::size_t piece = 1;
    for (std::size_t at = 0; at < v.size(); piece = piece * 5 % 7919 + 1) {
      const std::size_t n = std::min(piece, v.size() - at);
      e.read(std::span(v).subspan(at, n));
      at += n;
    }
  }

  /// 0H of a line counted from line 1 of the first frame, s.
  [[nodiscard]] double line_start(std::int64_t count) const {
    return static_cast<double>(count) * static_cast<double>(standard.line_rate_hz.den) /
           static_cast<double>(standard.line_rate_hz.num);
  }
  [[nodiscard]] double at(double t) const {  // mV, Hann-windowed sinc over +-40 samples
    const double x = t * rate;
    const auto i0 = static_cast<std::int64_t>(std::floor(x));
    double sum = 0;
    for (std::int64_t i = i0 - 39; i <= i0 + 40; ++i) {
      if (i < 0 || i >= static_cast<std::int64_t>(v.size())) continue;
      const double d = x - static_cast<double>(i);
      const double w = 0.5 + 0.5 * std::cos(std::numbers::pi * d / 41);
      const double s = std::abs(d) < 1e-9 ? 1 : std::sin(std::numbers::pi * d) / (std::numbers::pi * d);
      sum += static_cast<double>(v[static_cast<std::size_t>(i)]) * s * w;
    }
    return 1e3 * sum;
  }
  /// Mean over a stretch, mV.
  [[nodiscard]] double mean(double from, double to) const {
    const auto a = static_cast<std::size_t>(std::ceil(from * rate));
    const auto b = static_cast<std::size_t>(std::floor(to * rate));
    double sum = 0;
    for (std::size_t i = a; i <= b; ++i) sum += static_cast<double>(v[i]);
    return 1e3 * sum / static_cast<double>(b - a + 1);
  }
  /// Instant between a and b where the waveform passes a level, s; by halving.
  [[nodiscard]] double crossing(double a, double b, double mv) const {
    const bool up = at(b) > at(a);
    for (int i = 0; i < 40; ++i) {
      const double m = (a + b) / 2;
      ((at(m) > mv) == up ? b : a) = m;
    }
    return (a + b) / 2;
  }

  struct Fit {
    double mean = 0;
    std::complex<double> a;  ///< of Im{a e^(j 2 pi hz t)}: real = sine, imaginary = cosine, mV peak
    [[nodiscard]] double pp() const { return 2 * std::abs(a); }
    [[nodiscard]] double deg() const {
      const double d = std::arg(a) * 180 / std::numbers::pi;
      return d < 0 ? d + 360 : d;
    }
  };
  /// Least squares of mean + sine + cosine over a stretch; phase counts from time `origin`.
  [[nodiscard]] Fit fit(double from, double to, double hz, double origin) const {
    double m[3][4] = {};
    for (auto i = static_cast<std::size_t>(std::ceil(from * rate)); static_cast<double>(i) <= to * rate;
         ++i) {
      const double p = 2 * std::numbers::pi * hz * (static_cast<double>(i) / rate - origin);
      const double row[4] = {1, std::sin(p), std::cos(p), 1e3 * static_cast<double>(v[i])};
      for (int r = 0; r < 3; ++r) {
        for (int c = 0; c < 4; ++c) m[r][c] += row[r] * row[c];
      }
    }
    for (int r = 0; r < 3; ++r) {
      for (int k = 0; k < 3; ++k) {
        if (k == r) continue;
        const double f = m[k][r] / m[r][r];
        for (int c = 0; c < 4; ++c) m[k][c] -= f * m[r][c];
      }
    }
    return {m[0][3] / m[0][0], {m[1][3] / m[1][1], m[2][3] / m[2][2]}};
  }

  const VideoStandard& standard;
  double rate = 0;
  linebench::signals::TestPicture picture;
  std::vector<float> v;
};

inline constexpr double us = 1e-6;
/// Rates to try: BT.601, four times both subcarriers, a round one, double BT.601, and one that divides
/// nothing.
inline const double rates[] = {13.5e6, 14318181.8181818, 17.734475e6, 20e6, 27e6, 10.7e6};

}  // namespace probe
