// video.chroma_delay, video.chroma_gain
#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "video_picture.hpp"

namespace linebench::measure {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// A curve on an even grid between its points: cubic through four.
double between(const std::vector<double>& y, double at) {
  const auto n = static_cast<std::ptrdiff_t>(std::floor(at));
  if (n < 1 || n + 2 >= static_cast<std::ptrdiff_t>(y.size())) return nan;
  const double x = at - static_cast<double>(n);
  const double a = y[static_cast<std::size_t>(n - 1)];
  const double b = y[static_cast<std::size_t>(n)];
  const double c = y[static_cast<std::size_t>(n + 1)];
  const double d = y[static_cast<std::size_t>(n + 2)];
  return -x * (x - 1) * (x - 2) / 6 * a + (x + 1) * (x - 1) * (x - 2) / 2 * b -
         (x + 1) * x * (x - 2) / 2 * c + (x + 1) * x * (x - 1) / 6 * d;
}

struct Fit {
  double gain = nan;
  double rest = std::numeric_limits<double>::infinity();  // what is left, squared
};

// Envelope as the luminance, later by `late` samples, times a gain, on a base of its own.
Fit fit(const std::vector<double>& luma, const std::vector<double>& envelope, std::size_t from,
        std::size_t to, double late) {
  Eigen::Matrix2d n = Eigen::Matrix2d::Zero();
  Eigen::Vector2d r = Eigen::Vector2d::Zero();
  double ee = 0;
  for (std::size_t i = from; i <= to; ++i) {
    const Eigen::Vector2d row(between(luma, static_cast<double>(i) - late), 1.0);
    n += row * row.transpose();
    r += row * envelope[i];
    ee += envelope[i] * envelope[i];
  }
  const Eigen::Vector2d x = n.ldlt().solve(r);
  return {x(0), ee - x.dot(r)};
}

struct Inequality {
  double delay_us = nan;
  double gain = nan;
};

Inequality compare(const AveragedLine& a, const ModulatedPulse& p) {
  const std::vector<double> luma = a.smooth_luma();
  std::vector<double> envelope(luma.size(), 0.0);
  const auto from = static_cast<std::size_t>((p.centre_us - 1.3 * p.had_us - a.from_us) / a.step_us);
  const auto to = static_cast<std::size_t>((p.centre_us + 1.3 * p.had_us - a.from_us) / a.step_us);
  const double lines = a.chroma_lines[0] + a.chroma_lines[1];
  if (!(lines > 0) || to + 4 >= luma.size()) return {};
  for (int v = 0; v < 2; ++v) {
    const auto b = a.smooth_chroma(v);
    if (b.empty()) continue;
    // Along its own mean direction: noise across it does not count.
    std::complex<double> mean{};
    for (std::size_t i = from; i <= to; ++i) mean += b[i] * std::abs(b[i]);
    const std::complex<double> along = std::conj(mean) / std::abs(mean);
    for (std::size_t i = from; i <= to; ++i)
      envelope[i] += a.chroma_lines[static_cast<std::size_t>(v)] / lines * (b[i] * along).real();
  }
  const double loss = a.response(1e6 / a.subcarrier_us);
  const double most = 0.3 * p.had_us / a.step_us;
  double lo = -most;
  double hi = most;
  constexpr double golden = 0.6180339887498949;
  for (int k = 0; k < 45; ++k) {
    const double x = hi - golden * (hi - lo);
    const double y = lo + golden * (hi - lo);
    if (fit(luma, envelope, from, to, x).rest < fit(luma, envelope, from, to, y).rest) {
      hi = y;
    } else {
      lo = x;
    }
  }
  const double late = 0.5 * (lo + hi);
  return {late * a.step_us, fit(luma, envelope, from, to, late).gain / loss};
}

}  // namespace

void read_modulated_pulse(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  constexpr const char* delay_id = "video.chroma_delay";
  constexpr const char* gain_id = "video.chroma_gain";
  const KnownLine* k = known.find([](const KnownLine& x) { return !x.layout.modulated.empty(); });
  if (k == nullptr) {
    const std::string reason =
        setup.colour ? fmt::format("no modulated pulse in the picture; send a modulated {} pulse",
                                   setup.lines == 625 ? "20T" : "12.5T")
                     : "no colour burst was found; send a modulated pulse with burst";
    out.push_back(unmeasurable(delay_id, reason));
    out.push_back(unmeasurable(gain_id, reason));
    return;
  }
  const ModulatedPulse& p =
      *std::max_element(k->layout.modulated.begin(), k->layout.modulated.end(),
                        [](const ModulatedPulse& a, const ModulatedPulse& b) { return a.had_us < b.had_us; });
  const Values v = values_of(known.replicates_of(*k), [&](const AveragedLine& a) {
    const Inequality x = compare(a, p);
    return std::vector<double>{1e3 * x.delay_us, 100 * (x.gain - 1)};
  });
  const auto delay = value_at(v, 0);
  const auto gain = value_at(v, 1);
  const char* few = "too few lines of the modulated pulse; take a longer capture";
  const std::string remark = k->content->field_interval ? "on a test line" : "";
  out.push_back(delay ? number_reading(delay_id, delay->value, together(delay->u, 0.3), remark)
                      : unmeasurable(delay_id, few));
  out.push_back(gain ? number_reading(gain_id, gain->value, together(gain->u, 0.1),
                                      remark.empty() ? "chrominance less luminance, re luminance"
                                                     : remark + "; chrominance less luminance, re luminance")
                     : unmeasurable(gain_id, few));
}

}  // namespace linebench::measure
