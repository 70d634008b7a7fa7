#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <linebench/measure/video_line.hpp>
#include <numbers>

#include "video_interpolate.hpp"

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;

struct Stretch {
  std::ptrdiff_t begin = 0;  // first sample inside
  std::ptrdiff_t end = 0;    // one past the last
  double from = 0;           // positions, fractional
  double to = 0;
};

// Whole samples inside from..to, cut to the view.
Stretch stretch(const LineView& v, double from_us, double to_us) {
  Stretch s;
  s.from = v.position(from_us);
  s.to = v.position(to_us);
  const auto size = static_cast<std::ptrdiff_t>(v.mv.size());
  s.begin = std::clamp(static_cast<std::ptrdiff_t>(std::ceil(s.from)), std::ptrdiff_t{0}, size);
  s.end = std::clamp(static_cast<std::ptrdiff_t>(std::floor(s.to)) + 1, s.begin, size);
  return s;
}

// Calls f(sample, weight, offset from the middle) under a sin^2 taper; the taper and any rotation are run as
// recurrences since this is called several times a line.
template <class F>
void tapered(const LineView& v, const Stretch& s, F&& f) {
  const double length = s.to - s.from;
  const std::complex<double> step = std::polar(1.0, 2.0 * pi / length);
  std::complex<double> turn = std::polar(1.0, 2.0 * pi * (static_cast<double>(s.begin) - s.from) / length);
  const double middle = 0.5 * (s.from + s.to);
  for (std::ptrdiff_t n = s.begin; n < s.end; ++n) {
    f(static_cast<double>(v.mv[static_cast<std::size_t>(n)]), 0.5 - 0.5 * turn.real(),
      static_cast<double>(n) - middle);
    turn *= step;
  }
}

}  // namespace

double LineView::sample(double t_us) const {
  if (mv.empty()) return std::numeric_limits<double>::quiet_NaN();
  const double p = std::clamp(position(t_us), 0.0, static_cast<double>(mv.size()) - 1.0);
  const auto n = static_cast<std::ptrdiff_t>(p);
  const double x = p - static_cast<double>(n);
  const auto at = [&](std::ptrdiff_t k) {
    return static_cast<double>(mv[static_cast<std::size_t>(
        std::clamp(n + k, std::ptrdiff_t{0}, static_cast<std::ptrdiff_t>(mv.size()) - 1))]);
  };
  const double a = at(-1);
  const double b = at(0);
  const double c = at(1);
  const double d = at(2);
  return -x * (x - 1) * (x - 2) / 6 * a + (x + 1) * (x - 1) * (x - 2) / 2 * b -
         (x + 1) * x * (x - 2) / 2 * c + (x + 1) * x * (x - 1) / 6 * d;
}

double LineView::level(double from_us, double to_us) const {
  // Each sample stands for the cell +-1/2 round it.
  const double lo = std::max(position(from_us), -0.5);
  const double hi = std::min(position(to_us), static_cast<double>(mv.size()) - 0.5);
  if (!(hi > lo)) return std::numeric_limits<double>::quiet_NaN();
  const auto first_cell = static_cast<std::size_t>(std::llround(std::floor(lo + 0.5)));
  const auto last_cell =
      std::min(static_cast<std::size_t>(std::llround(std::floor(hi + 0.5))), mv.size() - 1);
  if (first_cell >= last_cell) return static_cast<double>(mv[last_cell]);
  double sum = (static_cast<double>(first_cell) + 0.5 - lo) * static_cast<double>(mv[first_cell]) +
               (hi - (static_cast<double>(last_cell) - 0.5)) * static_cast<double>(mv[last_cell]);
  for (std::size_t n = first_cell + 1; n < last_cell; ++n) sum += static_cast<double>(mv[n]);
  return sum / (hi - lo);
}

double LineView::flat_level(double from_us, double to_us) const {
  const Stretch s = stretch(*this, from_us, to_us);
  double sum = 0;
  double weight = 0;
  tapered(*this, s, [&](double x, double w, double) {
    sum += w * x;
    weight += w;
  });
  return weight > 0 ? sum / weight : std::numeric_limits<double>::quiet_NaN();
}

std::complex<double> LineView::tone(double hz, double from_us, double to_us) const {
  const Stretch s = stretch(*this, from_us, to_us);
  double w0 = 0;
  double w1 = 0;
  double w2 = 0;
  double x0 = 0;
  double x1 = 0;
  tapered(*this, s, [&](double x, double w, double u) {
    w0 += w;
    w1 += w * u;
    w2 += w * u * u;
    x0 += w * x;
    x1 += w * u * x;
  });
  const double det = w0 * w2 - w1 * w1;
  if (!(det > 0)) return {};
  const double mean = (x0 * w2 - x1 * w1) / det;
  const double slope = (x1 * w0 - x0 * w1) / det;
  const double w_sample = 2.0 * pi * hz / rate_hz;
  const double start = static_cast<double>(first) + static_cast<double>(s.begin) - t0;
  std::complex<double> turn = std::polar(1.0, -std::remainder(w_sample * start, 2.0 * pi));
  const std::complex<double> step = std::polar(1.0, -w_sample);
  std::complex<double> sum{};
  tapered(*this, s, [&](double x, double w, double u) {
    sum += w * (x - mean - slope * u) * turn;
    turn *= step;
  });
  return std::complex<double>(0, 2) * sum / w0;
}

std::complex<double> LineView::chroma(double from_us, double to_us) const {
  if (!(subcarrier_hz > 0)) return {};
  const std::complex<double> z = tone(subcarrier_hz, from_us, to_us) * std::polar(1.0, -subcarrier_phase);
  return v_switch < 0 ? std::conj(z) : z;
}

void LineView::resample(double from_us, double step_us, std::span<float> out) const {
  interpolate(mv, position(from_us), step_us * samples_per_us(), out);
}

}  // namespace linebench::measure
