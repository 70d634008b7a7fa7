#include <gtest/gtest.h>

#include <cmath>
#include <linebench/measure/weighting.hpp>
#include <linebench/standards/third_octave.hpp>
#include <linebench/standards/weighting.hpp>

namespace st = linebench::standards;

// IEC 61672-1 Table 3 (values from memory), at the exact base-10 third-octave frequencies, rounded to 0.1 dB.
TEST(PublishedWeighting, ACurveTable) {
  const double table[] = {-50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9,
                          -8.6,  -6.6,  -4.8,  -3.2,  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,
                          1.2,   1.0,   0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
  const auto bands = st::third_octaves();
  ASSERT_EQ(bands.size(), std::size(table));
  for (std::size_t i = 0; i < bands.size(); ++i) {
    EXPECT_NEAR(st::a_weighting_db(bands[i].midband_hz), table[i], 0.0501) << bands[i].nominal;
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

// The recursive filter against the network, at the rates sound cards have; BS.468-4 allows 0.2 dB at its
// tightest (but for the reference point).
TEST(PublishedWeighting, Bs468FilterFollowsTheNetwork) {
  for (const double rate : {44100.0, 48000.0, 88200.0, 96000.0, 192000.0}) {
    const auto filter = linebench::measure::bs468_filter(rate);
    for (double hz = 31.5; hz < 20000; hz *= 1.05) {
      const double got = 20 * std::log10(filter.magnitude(hz, rate));
      EXPECT_NEAR(got, st::bs468_weighting_db(hz), hz < 16000 ? 0.05 : 0.15) << hz << " Hz at " << rate;
    }
  }
}

// BS.468-4 Tables 2 and 3: readings of 5 kHz tone bursts relative to the steady tone, with the lower and
// upper limits of the single-burst table (all values from memory).
TEST(PublishedWeighting, QuasiPeakBursts) {
  struct Row {
    double ms, per_second, percent, low, high;
  };
  const Row rows[] = {{1, 0, 17.0, 13.5, 21.4}, {2, 0, 26.6, 22.4, 31.6}, {5, 0, 40, 34, 46},
                      {10, 0, 48, 41, 55},      {20, 0, 52, 44, 60},      {50, 0, 59, 50, 68},
                      {100, 0, 68, 58, 78},     {200, 0, 80, 68, 92},     {5, 2, 48, 43, 53},
                      {5, 10, 77, 72, 82},      {5, 100, 97, 94, 100}};
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    const auto burst = [&](double ms, double per_second) {
      std::vector<float> x(static_cast<std::size_t>((per_second > 0 || ms > 1000 ? 3.0 : 0.6) * rate));
      for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        const double in = per_second > 0 ? std::fmod(t, 1.0 / per_second) : t;
        if (in < ms * 1e-3) x[n] = static_cast<float>(0.1 * std::sin(2 * std::numbers::pi * 5000.0 * t));
      }
      linebench::measure::QuasiPeakMeter meter(rate);
      double highest = 0;
      for (std::size_t at = 0; at < x.size(); at += 64) {
        meter.push(std::span(x).subspan(at, std::min<std::size_t>(64, x.size() - at)));
        if (!meter.settled()) highest = std::max(highest, meter.reading());
      }
      return std::max(highest, meter.reading());
    };
    const double steady = burst(1e6, 0);
    // The steady tone itself: 5 kHz stands 11.7 dB above 1 kHz, to which the meter is calibrated in rms.
    EXPECT_NEAR(20 * std::log10(steady / (0.1 / std::numbers::sqrt2)), 11.7, 0.15);
    for (const Row& r : rows) {
      const double got = 100 * burst(r.ms, r.per_second) / steady;
      EXPECT_GT(got, r.low) << r.ms << " ms, " << r.per_second << "/s at " << rate;
      EXPECT_LT(got, r.high) << r.ms << " ms, " << r.per_second << "/s at " << rate;
      EXPECT_NEAR(got, r.percent, 0.05 * r.percent + 0.5)
          << r.ms << " ms, " << r.per_second << "/s at " << rate;
    }
  }
}
