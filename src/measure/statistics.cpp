#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/measure/statistics.hpp>
#include <vector>

namespace linebench::measure {

double coverage_factor(double degrees_of_freedom) {
  // [GUM Table G.2], p = 95.45 %; between entries linear in 1/dof, which is exact to 1 %.
  struct Entry {
    double dof, t;
  };
  constexpr Entry table[] = {{1, 13.97}, {2, 4.53}, {3, 3.31},  {4, 2.87},  {5, 2.65},  {6, 2.52},
                             {7, 2.43},  {8, 2.37}, {10, 2.28}, {15, 2.18}, {20, 2.13}, {50, 2.05}};
  const double x = 1.0 / std::max(1.0, degrees_of_freedom);
  const Entry* last = table;
  for (const Entry& e : table) {
    if (e.dof >= degrees_of_freedom) {
      if (e.dof == last->dof) return e.t;
      const double share = (1.0 / last->dof - x) / (1.0 / last->dof - 1.0 / e.dof);
      return last->t + share * (e.t - last->t);
    }
    last = &e;
  }
  return 2.0 + (last->t - 2.0) * x * last->dof;
}

double expanded_mean_error(std::span<const double> series, std::size_t batches) {
  const std::size_t n = std::min(series.size(), batches);
  if (n < 3) return std::numeric_limits<double>::infinity();
  std::vector<double> mean(n);
  for (std::size_t b = 0; b < n; ++b) {
    const std::size_t from = b * series.size() / n;
    const std::size_t to = (b + 1) * series.size() / n;
    for (std::size_t i = from; i < to; ++i) mean[b] += series[i] / static_cast<double>(to - from);
  }
  double differences = 0;
  for (std::size_t b = 1; b < n; ++b) differences += (mean[b] - mean[b - 1]) * (mean[b] - mean[b - 1]);
  const auto count = static_cast<double>(n);
  const double variance = differences / (2.0 * (count - 1.0));
  // Differences share their members, which leaves two thirds of the degrees of freedom.
  return coverage_factor((count - 1.0) * 2.0 / 3.0) * std::sqrt(variance / count);
}

}  // namespace linebench::measure
