// The plots' curves against closed forms.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/measure/traces.hpp>

#include "support/stopwatch.hpp"
#include "support/synth.hpp"

namespace {

using linebench::Curve;
using linebench::measure::TraceAnalyser;

std::vector<linebench::measure::ChannelTraces> traces_of(double rate,
                                                         const std::vector<synth::Samples>& channels) {
  synth::MemorySource source(rate, channels);
  TraceAnalyser analyser(rate, static_cast<int>(channels.size()));
  linebench::measure::TracingSource traced(source, analyser);
  std::vector<float> block(997 * channels.size());
  while (traced.read(block) > 0) {
  }
  return analyser.finish();
}

double level_near(const Curve& c, double hz) {
  double best = -1e9;
  for (std::size_t i = 0; i < c.x.size(); ++i) {
    if (std::abs(c.x[i] - hz) < 8) best = std::max(best, c.y[i]);
  }
  return best;
}

// A sine stands at its own level, within the scallop of the four-term Blackman-Harris window (0.83 dB, Harris
// 1978).
TEST(Traces, SineStandsAtItsLevelAtEveryRate) {
  for (const double rate : {8000.0, 16000.0, 44100.0, 48000.0, 96000.0, 192000.0}) {
    synth::Samples left(synth::count(5, rate)), right(left.size());
    synth::add_sine(left, rate, 997.3, -18.0);
    synth::add_sine(left, rate, 50.02, -62.0);
    synth::add_sine(right, rate, 3001.7, -40.0);
    const auto t = traces_of(rate, {left, right});
    ASSERT_EQ(t.size(), 2u);
    EXPECT_NEAR(level_near(t[0].spectrum, 997.3), -18.0 - 0.45, 0.5) << rate;
    EXPECT_NEAR(level_near(t[0].spectrum, 50.02), -62.0 - 0.45, 0.5) << rate;
    EXPECT_NEAR(level_near(t[1].spectrum, 3001.7), -40.0 - 0.45, 0.5) << rate;
    EXPECT_LT(level_near(t[1].spectrum, 997.3), -120.0);
    EXPECT_LE(t[0].spectrum.x.size(), 1000u);
    EXPECT_TRUE(std::is_sorted(t[0].spectrum.x.begin(), t[0].spectrum.x.end()));
  }
}

TEST(Traces, LevelOverTimeFollowsAndStaysSmall) {
  const double rate = 48000;
  for (const double seconds : {0.3, 7.0, 61.7}) {
    synth::Samples x(synth::count(seconds, rate));
    synth::add_sine(x, rate, 1000, -20);
    const std::size_t half = x.size() / 2;
    for (std::size_t i = half; i < x.size(); ++i) x[i] = 0;
    x[half / 2] = 1.0F;
    const auto t = traces_of(rate, {x});
    const auto& rms = t[0].level_rms;
    const auto& peak = t[0].level_peak;
    ASSERT_LE(rms.x.size(), 1000u);
    ASSERT_EQ(rms.x.size(), peak.x.size());
    EXPECT_NEAR(rms.y[2], -20, 0.1);
    EXPECT_NEAR(peak.y[2], -20, 0.1);
    EXPECT_EQ(rms.y.back(), linebench::measure::trace_floor_dbfs);
    EXPECT_NEAR(*std::max_element(peak.y.begin(), peak.y.end()), 0.0, 1e-6);
    EXPECT_LT(rms.x.back(), seconds);
    EXPECT_GT(rms.x.back(), seconds * 0.99 - 0.01);
    const auto spike =
        static_cast<std::size_t>(std::max_element(peak.y.begin(), peak.y.end()) - peak.y.begin());
    EXPECT_NEAR(peak.x[spike], seconds / 4, seconds / 400 + 0.01);
  }
}

TEST(Traces, OddEnds) {
  EXPECT_TRUE(traces_of(48000, {{}})[0].spectrum.x.empty());
  EXPECT_TRUE(traces_of(48000, {synth::Samples(10, 0.5F)})[0].spectrum.x.empty());
  EXPECT_EQ(traces_of(48000, {synth::Samples(10, 0.5F)})[0].level_peak.y.size(), 1u);
  synth::Samples brief(4800);
  synth::add_sine(brief, 48000, 1000, -10);
  const auto t = traces_of(48000, {brief});
  EXPECT_NEAR(*std::max_element(t[0].spectrum.y.begin(), t[0].spectrum.y.end()), -10.45, 0.5);
  EXPECT_EQ(traces_of(48000, std::vector<synth::Samples>(5, brief)).size(), 5u);
}

TEST(Traces, CostsNextToNothing) {
  synth::Samples x(synth::count(60, 48000));
  synth::add_noise(x, -20, 1);
  std::vector<float> stereo(2 * x.size());
  for (std::size_t i = 0; i < x.size(); ++i) stereo[2 * i] = stereo[2 * i + 1] = x[i];
  const stopwatch::Stopwatch watch;
  TraceAnalyser analyser(48000, 2);
  for (std::size_t at = 0; at < stereo.size(); at += 8192) {
    analyser.push(std::span(stereo).subspan(at, std::min<std::size_t>(8192, stereo.size() - at)));
  }
  const auto t = analyser.finish();
  const double s = watch.seconds();
  std::printf("  traces of 60 s stereo 48 kHz: %.4f s\n", s);
  EXPECT_EQ(t.size(), 2u);
  EXPECT_LT(s, stopwatch::most(0.3));
}

}  // namespace
