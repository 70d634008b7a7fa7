// Checks that a claimed uncertainty is true: over many seeded trials the truth must lie inside the k=2
// interval about 95 % of the time, neither too seldom (too proud) nor always (too shy).
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>

namespace coverage {

struct Trial {
  double measured;
  double uncertainty;  // k = 2
  double truth;
};

/// Whether every trial, case and combination is run, however long that takes.
inline bool whole() { return std::getenv("LINEBENCH_TEST_LONG") != nullptr; }

/// How many of n trials are run unless LINEBENCH_TEST_LONG is set, for these are the tests that take longest:
/// two dozen, of many a sixth. What is expected of a share is widened by what so few make of it.
inline unsigned trials(unsigned n) { return whole() ? n : std::min(n, std::max(24U, n / 6)); }

/// The least share that so many trials may show where `share` of all are promised: two of its own scatter
/// less, but where every trial is run.
inline double least_share(double share, int n) {
  return whole() || n <= 0 ? share : share - 2 * std::sqrt(share * (1 - share) / n);
}

/// Every `nth` of what is counted from 0, all where `whole()`: for combinations of which each tells much the
/// same.
inline bool taken(unsigned count, unsigned nth) { return whole() || count % nth == 0; }

/// Runs `trial(seed)` `trials(n)` times and expects the share of hits between lo and hi. With n trials the
/// share itself scatters by sqrt(p(1-p)/n); the band is widened by two of those so that a right claim is not
/// failed by chance, and by three where only some trials are run: of the hundreds of shares that a plain run
/// looks at, two would fail some by chance. Seeds are fixed, so the outcome is the same on every run. Prints
/// what was achieved.
inline void expect_coverage(const char* what, int n, const std::function<Trial(unsigned seed)>& trial,
                            double lo = 0.93, double hi = 0.98) {
  n = static_cast<int>(trials(static_cast<unsigned>(n)));
  int inside = 0;
  double sum = 0;
  double sum2 = 0;
  double u_sum = 0;
  for (int i = 0; i < n; ++i) {
    const Trial t = trial(static_cast<unsigned>(i + 1));
    const double e = t.measured - t.truth;
    inside += std::abs(e) <= t.uncertainty ? 1 : 0;
    sum += e;
    sum2 += e * e;
    u_sum += t.uncertainty;
  }
  const double share = static_cast<double>(inside) / n;
  const double slack = (whole() ? 2.0 : 3.0) * std::sqrt(0.95 * 0.05 / n);
  std::printf("  %s: coverage %.3f of %d, mean error %.3g, rms error %.3g, mean claimed (k=2) %.3g\n", what,
              share, n, sum / n, std::sqrt(sum2 / n), u_sum / n);
  EXPECT_GE(share, lo - slack) << what << ": claimed uncertainty is too small";
  EXPECT_LE(share, hi + slack) << what << ": claimed uncertainty is too large";
}

}  // namespace coverage
