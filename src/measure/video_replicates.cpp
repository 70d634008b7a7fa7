#include "video_replicates.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/measure/statistics.hpp>
#include <random>

namespace linebench::measure {
namespace {

constexpr std::size_t draws = 100;

}  // namespace

Replicates replicates(const LineSums& sums, double noise_mv) {
  Replicates r;
  r.all = sums.average();
  std::size_t groups = 0;
  for (std::size_t g = 0; g < line_groups; ++g) groups += sums.has_group(g) ? 1 : 0;
  r.left_out = groups >= 4;
  if (r.left_out) {
    for (std::size_t g = 0; g < line_groups; ++g) {
      if (sums.has_group(g)) r.parts.push_back(sums.average(g));
    }
    return r;
  }
  // Too few lines to differ: what noise of this size does.
  constexpr unsigned noisy = 20;
  std::mt19937 random(1);
  std::normal_distribution<double> normal(0, noise_mv / std::sqrt(std::max(1.0, r.all.lines)));
  for (unsigned k = 0; k < noisy; ++k) {
    AveragedLine a = r.all;
    for (double& y : a.luma) y += normal(random);
    for (std::size_t v = 0; v < 2; ++v) {
      const double more = std::sqrt(2 * r.all.lines / std::max(1.0, r.all.chroma_lines[v]));
      for (auto& b : a.chroma_raw[v]) b += more * std::complex<double>(normal(random), normal(random));
    }
    r.parts.push_back(std::move(a));
  }
  return r;
}

Values values_of(const Replicates& r, const std::function<std::vector<double>(const AveragedLine&)>& read) {
  Values v;
  v.all = read(r.all);
  v.left_out = r.left_out;
  for (const AveragedLine& a : r.parts) v.parts.push_back(read(a));
  return v;
}

std::optional<Estimate> value_at(const Values& v, std::size_t i) {
  double sum = 0;
  double sum2 = 0;
  for (const auto& p : v.parts) {
    const double d = p[i] - v.all[i];
    sum += d;
    sum2 += d * d;
  }
  const auto m = static_cast<double>(v.parts.size());
  const double scatter2 = std::max(0.0, sum2 - sum * sum / m);
  const double standard = v.left_out ? std::sqrt((m - 1) / m * scatter2) : std::sqrt(sum2 / m);
  const double u = coverage_factor(m - 1) * standard;
  if (!std::isfinite(v.all[i]) || !std::isfinite(u)) return std::nullopt;
  return Estimate{v.all[i], u};
}

std::optional<Estimate> figure(const Values& v, const std::function<double(const std::vector<double>&)>& f) {
  const double value = f(v.all);
  const auto m = static_cast<double>(v.parts.size());
  if (!std::isfinite(value) || m < 2) return std::nullopt;
  std::vector<double> mean(v.all.size(), 0.0);
  for (const auto& p : v.parts) {
    for (std::size_t i = 0; i < mean.size(); ++i) mean[i] += p[i] / m;
  }
  const double scale = v.left_out ? std::sqrt((m - 1) / m) : std::sqrt(1 / m);
  std::mt19937 random(1);
  std::normal_distribution<double> normal(0, scale);
  double sum = 0;
  double sum2 = 0;
  std::vector<double> drawn(v.all.size());
  for (std::size_t k = 0; k < draws; ++k) {
    drawn = v.all;
    for (const auto& p : v.parts) {
      const double e = normal(random);
      for (std::size_t i = 0; i < drawn.size(); ++i) drawn[i] += e * (p[i] - mean[i]);
    }
    const double d = f(drawn) - value;
    sum += d;
    sum2 += d * d;
  }
  const auto n = static_cast<double>(draws);
  const double bias = sum / n;
  const double spread2 = std::max(0.0, (sum2 - sum * sum / n) / (n - 1));
  const double u = coverage_factor(m - 1) * std::sqrt(spread2 + bias * bias);
  if (!std::isfinite(u)) return std::nullopt;
  return Estimate{value - bias, u};
}

double range_of(const std::vector<double>& v) {
  const auto [lo, hi] = std::minmax_element(v.begin(), v.end());
  return *hi - *lo;
}

std::pair<double, double> straight(const std::vector<double>& y, std::size_t from, std::size_t n) {
  const double middle = 0.5 * static_cast<double>(n - 1);
  double sum = 0;
  double moment = 0;
  double weight = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double u = static_cast<double>(i) - middle;
    sum += y[from + i];
    moment += u * y[from + i];
    weight += u * u;
  }
  return {sum / static_cast<double>(n), moment / weight};
}

}  // namespace linebench::measure
