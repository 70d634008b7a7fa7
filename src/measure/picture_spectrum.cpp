#include "picture_spectrum.hpp"

#include <cmath>
#include <complex>
#include <map>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double seconds = 2;
constexpr int rows_together = 4;  // of one field: 256 us, far shorter than a period of what is looked for
constexpr double lowest_hz = 5;
constexpr double highest_hz = 310;
constexpr double step_hz = 0.5;

}  // namespace

void PictureSpectrum::push(const PictureView& view) {
  if (view.time_s > seconds || view.frame->corrupt) return;
  const int blocks = setup_.blocks();
  const int first = setup_.first_col / block_px;
  const int last = setup_.last_col / block_px;
  for (int q = 0; q < setup_.fields; ++q) {
    const int rows = setup_.height() / setup_.fields;
    for (int g = 0; g + rows_together <= rows; g += rows_together) {
      double sum = 0;
      const int band =
          setup_.patterned() ? setup_.band_of_row[static_cast<std::size_t>(setup_.fields * g + q)] : 0;
      bool alike = band >= 0;
      for (int k = 0; k < rows_together; ++k) {
        const int row = setup_.fields * (g + k) + q;
        if (setup_.patterned()) alike = alike && setup_.band_of_row[static_cast<std::size_t>(row)] == band;
        for (int b = first; b < last; ++b) sum += view.block_sums[static_cast<std::size_t>(row * blocks + b)];
      }
      if (!alike) continue;
      const double middle =
          setup_.row_time(setup_.fields * g + q) + 0.5 * (rows_together - 1) * setup_.line_s;
      points_.push_back(
          {view.time_s + middle, sum / (rows_together * block_px * (last - first)), 1000 * q + g, band});
    }
  }
}

void PictureSpectrum::finish(PictureTraces& traces) const {
  if (points_.empty() || points_.back().t < 0.4) return;
  std::map<int, std::pair<double, int>> means;
  const auto key = [&](const Point& p) { return setup_.patterned() ? p.band : p.group; };
  for (const Point& p : points_) {
    auto& [sum, n] = means[key(p)];
    sum += p.codes;
    ++n;
  }
  const double length = points_.back().t + setup_.field_s;
  std::vector<double> weighed, window;
  double whole = 0;
  for (const Point& p : points_) {
    const auto& [sum, n] = means[key(p)];
    const double w = 0.5 - 0.5 * std::cos(2 * std::numbers::pi * p.t / length);
    weighed.push_back(w * (p.codes - sum / n));
    window.push_back(w);
    whole += w;
  }
  // Rows are missing in vertical blanking, so a tone has images a field rate apart: the strongest is taken
  // out and the rest looked at again.
  std::vector<double> drawn;
  for (double hz = lowest_hz; hz <= highest_hz; hz += step_hz) traces.spectrum_hz.push_back(hz);
  drawn.resize(traces.spectrum_hz.size(), 0);
  for (int round = 0; round < 8; ++round) {
    std::size_t at = 0;
    double most = 0;
    for (std::size_t i = 0; i < drawn.size(); ++i) {
      const double v = std::abs(component(weighed, traces.spectrum_hz[i]));
      if (v > most) most = v, at = i;
    }
    double hz = traces.spectrum_hz[at];
    for (double step = step_hz / 2; step > 0.005; step /= 2) {
      for (const double to : {hz - step, hz + step}) {
        const double v = std::abs(component(weighed, to));
        if (v > most) most = v, hz = to;
      }
    }
    const std::complex<double> a = 2.0 * component(weighed, hz) / whole;
    for (std::size_t i = 0; i < points_.size(); ++i)
      weighed[i] -= window[i] * (a * std::polar(1.0, 2 * std::numbers::pi * hz * points_[i].t)).real();
    for (std::size_t i = 0; i < drawn.size(); ++i) {  // the window's own shape
      const double off = std::abs(traces.spectrum_hz[i] - hz) * length / 2;
      if (off < 1)
        drawn[i] = std::max(drawn[i], std::abs(a) * (0.5 + 0.5 * std::cos(std::numbers::pi * off)));
    }
  }
  for (std::size_t i = 0; i < drawn.size(); ++i)
    traces.spectrum_codes.push_back(
        std::max(drawn[i], 2 * std::abs(component(weighed, traces.spectrum_hz[i])) / whole));
}

std::complex<double> PictureSpectrum::component(const std::vector<double>& weighed, double hz) const {
  std::complex<double> x = 0, turn = 1;
  const double step = rows_together * setup_.line_s;
  const std::complex<double> on = std::polar(1.0, -2 * std::numbers::pi * hz * step);
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const bool next = i > 0 && std::abs(points_[i].t - points_[i - 1].t - step) < 1e-9;
    turn = next ? turn * on : std::polar(1.0, -2 * std::numbers::pi * hz * points_[i].t);
    x += weighed[i] * turn;
  }
  return x;
}

}  // namespace linebench::measure
