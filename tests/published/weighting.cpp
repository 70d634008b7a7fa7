#include <gtest/gtest.h>

#include <cmath>
#include <linebench/standards/weighting.hpp>

namespace st = linebench::standards;

// IEC 61672-1 Table 3 (values from memory), at the exact base-10 third-octave frequencies, rounded to 0.1 dB.
TEST(PublishedWeighting, ACurveTable) {
  const double table[] = {-50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9,
                          -8.6,  -6.6,  -4.8,  -3.2,  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,
                          1.2,   1.0,   0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
  for (int i = 0; i < 31; ++i) {
    EXPECT_NEAR(st::a_weighting_db(st::third_octave_exact_hz(i)), table[i], 0.0501)
        << st::third_octave_nominal_hz[static_cast<std::size_t>(i)] << " Hz";
  }
}

// ITU-R BS.468-4 Table 1: response and tolerance as found in open code that cites it.
TEST(PublishedWeighting, Bs468Table1) {
  struct Row {
    double hz, db, tolerance;
  };
  const Row rows[] = {{31.5, -29.9, 2.0}, {63, -23.9, 1.4},   {100, -19.8, 1.0},   {200, -13.8, 0.85},
                      {400, -7.8, 0.7},   {800, -1.9, 0.55},  {1000, 0.0, 0.5},    {2000, 5.6, 0.5},
                      {3150, 9.0, 0.5},   {4000, 10.5, 0.5},  {5000, 11.7, 0.5},   {6300, 12.2, 0.0},
                      {7100, 12.0, 0.2},  {8000, 11.4, 0.4},  {9000, 10.1, 0.6},   {10000, 8.1, 0.8},
                      {12500, 0.0, 1.2},  {14000, -5.3, 1.4}, {16000, -11.7, 1.6}, {20000, -22.2, 2.0},
                      {31500, -42.7, 2.8}};
  for (const Row& r : rows) {
    // Closed form against the rounded table: 0.06 dB everywhere, which is inside every tolerance but the zero
    // one.
    EXPECT_NEAR(st::bs468_weighting_db(r.hz), r.db, 0.06) << r.hz << " Hz";
    EXPECT_LE(std::abs(st::bs468_weighting_db(r.hz) - r.db), std::max(r.tolerance, 0.05)) << r.hz << " Hz";
  }
}

TEST(PublishedWeighting, ThirdOctaveCentresAreNominalWithinRounding) {
  for (int i = 0; i < 31; ++i) {
    const double nominal = st::third_octave_nominal_hz[static_cast<std::size_t>(i)];
    EXPECT_NEAR(st::third_octave_exact_hz(i) / nominal, 1.0, 0.016) << nominal;
  }
}
