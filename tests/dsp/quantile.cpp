// Ranks against a full sort.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <random>

namespace {

using namespace linebench;

TEST(Quantile, IsTheRankOfAFullSort) {
  std::mt19937 gen(3);
  std::normal_distribution<double> normal;
  for (const std::size_t n : {1U, 2U, 3U, 10U, 101U, 1000U}) {
    std::vector<double> v(n);
    for (double& x : v) x = normal(gen);
    std::vector<double> sorted = v;
    std::sort(sorted.begin(), sorted.end());
    EXPECT_EQ(dsp::median(v), sorted[n / 2]) << n;
    for (const double share : {0.0, 0.1, 0.25, 0.9, 1.0}) {
      const auto rank = std::min(n - 1, static_cast<std::size_t>(share * static_cast<double>(n)));
      EXPECT_EQ(dsp::quantile(v, share), sorted[rank]) << n << " " << share;
    }
  }
}

TEST(Quantile, OfNothing) {
  EXPECT_TRUE(std::isnan(dsp::median(std::vector<double>{})));
  EXPECT_EQ(dsp::median(std::vector<int>{}), 0);
}

}  // namespace
