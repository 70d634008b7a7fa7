// Loudness against the standards' own cases. Case levels and tolerances of [EBU Tech 3341] are from memory.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/measure/loudness.hpp>
#include <vector>

#include "support/synth.hpp"

namespace {

using linebench::measure::LoudnessAnalyser;
using synth::Samples;

struct Step {
  double seconds;
  double dbfs;
};

double integrated(double rate, const std::vector<Step>& steps, int channels, double hz = 1000.0) {
  LoudnessAnalyser a(rate, channels);
  std::uint64_t at = 0;
  for (const Step& s : steps) {
    Samples x(synth::count(s.seconds, rate) * static_cast<std::size_t>(channels));
    const double amplitude = std::pow(10.0, s.dbfs / 20.0);
    for (std::size_t n = 0; n < x.size(); ++n, at += n % static_cast<std::size_t>(channels) == 0 ? 1U : 0U) {
      const double turns = std::fmod(hz * static_cast<double>(at) / rate, 1.0);
      x[n] = static_cast<float>(amplitude * std::sin(2.0 * std::numbers::pi * turns));
    }
    a.push(x);
  }
  return a.finish().integrated_lufs.value_or(-999);
}

// [BS.1770-4 annex 1]: 0 dBFS 997 Hz in one front channel reads -3.01 LKFS. The library derives its filter
// anew for rates other than 48 kHz; that costs it up to 0.03 dB.
TEST(LoudnessPublished, FullScale997HzInOneChannel) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    EXPECT_NEAR(integrated(rate, {{5, 0}}, 1, 997.0), -3.01, rate == 48000.0 ? 0.005 : 0.035) << rate;
  }
}

// [EBU Tech 3341] cases 1 to 5 (from memory), tolerance 0.1 LU.
TEST(LoudnessPublished, MeterCases1To5) {
  EXPECT_NEAR(integrated(48000, {{20, -23}}, 2), -23.0, 0.1);
  EXPECT_NEAR(integrated(48000, {{20, -33}}, 2), -33.0, 0.1);
  EXPECT_NEAR(integrated(48000, {{10, -36}, {60, -23}, {10, -36}}, 2), -23.0, 0.1);
  EXPECT_NEAR(integrated(48000, {{10, -72}, {10, -36}, {60, -23}, {10, -36}, {10, -72}}, 2), -23.0, 0.1);
  EXPECT_NEAR(integrated(48000, {{20, -26}, {20.1, -20}, {20, -26}}, 2), -23.0, 0.1);
}

// K filter of [BS.1770-4 tables 1 and 2] written here as plain difference equations, on noise that never
// falls below a gate: loudness is then -0.691 + 10 lg of the mean square.
TEST(LoudnessPublished, KFilterOnNoise) {
  Samples x(480000, 0.0F);
  synth::add_noise(x, -20, 11);
  double z1[2] = {}, z2[2] = {}, sum = 0;
  const double b[2][3] = {{1.53512485958697, -2.69169618940638, 1.19839281085285}, {1, -2, 1}};
  const double a[2][2] = {{-1.69065929318241, 0.73248077421585}, {-1.99004745483398, 0.99007225036621}};
  for (const float v : x) {
    double y = static_cast<double>(v);
    for (int s = 0; s < 2; ++s) {
      const double in = y;
      y = b[s][0] * in + z1[s];
      z1[s] = b[s][1] * in - a[s][0] * y + z2[s];
      z2[s] = b[s][2] * in - a[s][1] * y;
    }
    sum += y * y;
  }
  const double expected = -0.691 + 10.0 * std::log10(sum / static_cast<double>(x.size()));
  LoudnessAnalyser m(48000, 1);
  m.push(x);
  EXPECT_NEAR(m.finish().integrated_lufs.value_or(0), expected, 0.02);
}

// [EBU Tech 3342] case 1 (from memory): 20 s at -20 dBFS then 20 s at -30 dBFS has a range of 10 LU,
// tolerance 1 LU.
TEST(LoudnessPublished, RangeOfTwoLevels) {
  LoudnessAnalyser a(48000, 2);
  for (const double level : {-20.0, -30.0}) {
    Samples x(2 * 48000 * 20);
    for (std::size_t n = 0; n < x.size(); ++n) {
      x[n] = static_cast<float>(std::pow(10.0, level / 20) * std::sin(2.0 * std::numbers::pi * 1000.0 *
                                                                      static_cast<double>(n / 2) / 48000.0));
    }
    a.push(x);
  }
  EXPECT_NEAR(a.finish().range_lu.value_or(0), 10.0, 1.0);
}

}  // namespace
