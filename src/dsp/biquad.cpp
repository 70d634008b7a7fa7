#include <cmath>
#include <complex>
#include <linebench/dsp/biquad.hpp>
#include <numbers>
#include <stdexcept>

namespace linebench::dsp {

double Cascade::magnitude(double hz, double rate_hz) const {
  const std::complex<double> z1 = std::polar(1.0, -2.0 * std::numbers::pi * hz / rate_hz);
  std::complex<double> h = 1.0;
  for (const Section& s : sections_) h *= (s.b0 + z1 * (s.b1 + z1 * s.b2)) / (1.0 + z1 * (s.a1 + z1 * s.a2));
  return std::abs(h);
}

namespace {

// One function for both: s -> 1/s turns the low-pass prototype into the high-pass.
Cascade butterworth(int order, double corner_hz, double rate_hz, bool high) {
  if (order < 1 || order > 12 || !(corner_hz > 0) || !(corner_hz < rate_hz / 2)) {
    throw std::invalid_argument("butterworth: order 1..12 and 0 < corner < rate/2");
  }
  const double k = std::tan(std::numbers::pi * corner_hz / rate_hz);  // pre-warped corner, bilinear
  std::vector<Section> sections;
  for (int i = 0; i < order / 2; ++i) {
    // Pole pair angles of an n-pole Butterworth; 1/Q = 2 cos(angle).
    const double inv_q = 2.0 * std::cos(std::numbers::pi * (2.0 * i + 1.0) / (2.0 * order));
    // Odd orders count pole angles from the real axis, even orders from between.
    const double inv_q_odd = 2.0 * std::cos(std::numbers::pi * (i + 1.0) / order);
    const double g = order % 2 == 0 ? inv_q : inv_q_odd;
    const double norm = 1.0 / (1.0 + g * k + k * k);
    Section s;
    s.b0 = high ? norm : k * k * norm;
    s.b1 = high ? -2.0 * norm : 2.0 * s.b0;
    s.b2 = s.b0;
    s.a1 = 2.0 * (k * k - 1.0) * norm;
    s.a2 = (1.0 - g * k + k * k) * norm;
    sections.push_back(s);
  }
  if (order % 2 == 1) {
    const double norm = 1.0 / (1.0 + k);
    Section s;
    s.b0 = high ? norm : k * norm;
    s.b1 = high ? -norm : s.b0;
    s.a1 = (k - 1.0) * norm;
    sections.push_back(s);
  }
  return Cascade(std::move(sections));
}

}  // namespace

Cascade butterworth_lowpass(int order, double corner_hz, double rate_hz) {
  return butterworth(order, corner_hz, rate_hz, false);
}
Cascade butterworth_highpass(int order, double corner_hz, double rate_hz) {
  return butterworth(order, corner_hz, rate_hz, true);
}

}  // namespace linebench::dsp
