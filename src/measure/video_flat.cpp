#include "video_flat.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <numbers>
#include <utility>

namespace linebench::measure {
namespace {

constexpr double after_edge_us = 0.6;   // from the start of the first mean that is at the new level
constexpr double before_edge_us = 0.2;  // from the start of the first mean that left the old one
constexpr float share_of_line = 1.0F / 12;
constexpr float steps_allowed = 8.0F;  // of the median: five standard deviations

LINEBENCH_VECTORISED float mean(const float* x, const float* taper, std::size_t n) {
  float lanes[8] = {};
  std::size_t i = 0;
  for (; i + 8 <= n; i += 8) {
    for (std::size_t k = 0; k < 8; ++k) lanes[k] += x[i + k] * taper[i + k];
  }
  float sum =
      ((lanes[0] + lanes[4]) + (lanes[1] + lanes[5])) + ((lanes[2] + lanes[6]) + (lanes[3] + lanes[7]));
  for (; i < n; ++i) sum += x[i] * taper[i];
  return sum;
}

LINEBENCH_VECTORISED float mean_square(const float* x, const float* taper, float level, std::size_t n) {
  float lanes[8] = {};
  std::size_t i = 0;
  for (; i + 8 <= n; i += 8) {
    for (std::size_t k = 0; k < 8; ++k) lanes[k] += (x[i + k] - level) * (x[i + k] - level) * taper[i + k];
  }
  float sum =
      ((lanes[0] + lanes[4]) + (lanes[1] + lanes[5])) + ((lanes[2] + lanes[6]) + (lanes[3] + lanes[7]));
  for (; i < n; ++i) sum += (x[i] - level) * (x[i] - level) * taper[i];
  return sum;
}

}  // namespace

FlatFinder::FlatFinder(const VideoSetup& setup)
    : hop_(static_cast<std::size_t>(std::max(
          1.0, std::round((setup.colour ? 2 * setup.subcarrier_us() : 0.5) * 1e-6 * setup.rate_hz)))),
      taper_(2 * hop_),
      least_step_mv_(static_cast<float>(setup.gain())) {
  const auto n = static_cast<double>(taper_.size());
  const double w = 2 * std::numbers::pi * setup.subcarrier_true_hz / setup.rate_hz;
  // A sin^2 taper less what it passes of the subcarrier, which is little.
  std::vector<double> h(taper_.size());
  std::complex<double> passed{};
  std::complex<double> square{};
  for (std::size_t i = 0; i < h.size(); ++i) {
    const double x = static_cast<double>(i) + 0.5;
    h[i] = 0.5 - 0.5 * std::cos(2 * std::numbers::pi * x / n);
    passed += h[i] * std::polar(1.0, w * (x - n / 2));
    square += std::polar(1.0, 2 * w * (x - n / 2));
  }
  double sum = 0;
  for (std::size_t i = 0; i < h.size(); ++i) {
    const double x = static_cast<double>(i) + 0.5 - n / 2;
    if (w > 0) h[i] -= passed.real() * std::cos(w * x) / (0.5 * (n + square.real()));
    sum += h[i];
  }
  for (std::size_t i = 0; i < h.size(); ++i) taper_[i] = static_cast<float>(h[i] / sum);
}

bool FlatFinder::Row::leaves(std::size_t k) const { return std::abs(at[k] - near) > allowed; }

void FlatFinder::Row::follow(std::size_t k, bool anew) { near += (anew ? 1.0F : 0.25F) * (at[k] - near); }

void FlatFinder::allow_steps(Row& row) {
  steps_.resize(row.at.size() - 1);
  for (std::size_t k = 0; k < steps_.size(); ++k) steps_[k] = std::abs(row.at[k + 1] - row.at[k]);
  const auto middle = dsp::quantile(steps_, 0.5);
  row.usual_step = row.any ? row.usual_step + (middle - row.usual_step) / 16 : middle;
  row.any = true;
  row.allowed = std::max(least_step_mv_, steps_allowed * std::max(row.usual_step, middle));
}

std::span<const FlatRun> FlatFinder::find(const LineView& v, double from_us, double to_us,
                                          std::size_t least) {
  runs_.clear();
  if (!v.covers(from_us, to_us)) return runs_;
  const auto first = static_cast<std::size_t>(std::ceil(v.position(from_us)));
  const auto last = static_cast<std::size_t>(v.position(to_us));
  if (first + 8 * hop_ > last) return runs_;
  const std::size_t count = (last - first) / hop_ - 1;
  level_.at.resize(count);
  activity_.at.resize(count);
  for (std::size_t k = 0; k < count; ++k) {
    const float* x = v.mv.data() + first + k * hop_;
    level_.at[k] = mean(x, taper_.data(), taper_.size());
    activity_.at[k] = std::sqrt(std::max(0.0F, mean_square(x, taper_.data(), level_.at[k], taper_.size())));
  }
  for (auto [one, many] :
       {std::pair(&level_, &level_of_lines_), std::pair(&activity_, &activity_of_lines_)}) {
    many->at.resize(count, one->at.back());
    for (std::size_t k = 0; k < count; ++k)
      many->at[k] += (many->any ? share_of_line : 1.0F) * (one->at[k] - many->at[k]);
  }
  Row* const rows[] = {&level_, &level_of_lines_, &activity_, &activity_of_lines_};
  for (Row* r : rows) {
    allow_steps(*r);
    r->near = r->at[0];
  }
  const auto after = static_cast<std::size_t>(std::ceil(after_edge_us * v.samples_per_us()));
  const auto before = static_cast<std::size_t>(std::ceil(before_edge_us * v.samples_per_us()));
  const auto close = [&](std::size_t a, std::size_t end) {
    const std::size_t begin = a == 0 ? first : first + a * hop_ + after;
    if (end >= begin + least) runs_.push_back({begin, end});
  };
  std::size_t from = 0;
  for (std::size_t k = 1; k < count; ++k) {
    const bool edge =
        std::any_of(std::begin(rows), std::end(rows), [k](const Row* r) { return r->leaves(k); });
    if (edge) {
      close(from, first + k * hop_ - std::min(before, k * hop_));
      from = k;
    }
    for (Row* r : rows) r->follow(k, edge);
  }
  close(from, last);
  return runs_;
}

}  // namespace linebench::measure
