// Bursts of noise beside a steady tone, put in by construction.
#include <linebench/measure/audio.hpp>
#include <random>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using namespace linebench;
using synth::Samples;

namespace {

Readings measure_sent(double rate, Samples x) {
  measure::AudioOptions options;
  options.signal = "tone-1k";
  return readings_support::measure(rate, {std::move(x)}, options);
}

Samples tone(double rate, double seconds, double dbfs, double noise_dbfs, unsigned seed) {
  Samples x(synth::count(seconds, rate));
  synth::add_sine(x, rate, 1000.02, dbfs);
  synth::add_noise(x, noise_dbfs, seed);
  return x;
}

void add_burst(Samples& x, double rate, double at_s, double length_s, double dbfs, unsigned seed) {
  std::mt19937_64 gen(seed);
  std::normal_distribution<double> normal(0, std::pow(10.0, dbfs / 20) / std::numbers::sqrt2);
  for (std::size_t i = synth::count(at_s, rate); i < synth::count(at_s + length_s, rate); ++i)
    x[i] += static_cast<float>(normal(gen));
}

}  // namespace

TEST(Crackle, BurstsAreCountedWithTheirTimesAtAnyRate) {
  for (const double rate : {16000.0, 44100.0, 48000.0}) {
    for (unsigned seed = 1; seed <= (coverage::whole() ? 10U : 4U); ++seed) {
      Samples x = tone(rate, 20, -20, -80, seed);
      std::mt19937_64 gen(seed);
      std::uniform_real_distribution<> length(0.04, 0.3), level(-25, 0), moved(0, 1);
      std::vector<double> at;
      for (int k = 0; k < 5; ++k) {
        at.push_back(2 + 3.2 * k + moved(gen));
        add_burst(x, rate, at.back(), length(gen), -20 + level(gen), seed + static_cast<unsigned>(k));
      }
      const Readings r = measure_sent(rate, std::move(x));
      ASSERT_EQ(value(r, "audio.crackle.count"), 5) << rate << ", seed " << seed;
      const auto& times = reading(r, "audio.crackle.times").curve();
      for (std::size_t k = 0; k < at.size(); ++k) EXPECT_NEAR(times.x[k], at[k], 0.021);
    }
  }
}

TEST(Crackle, WhatIsNoBurstIsNone) {
  constexpr double rate = 16000;
  const auto none = [](Samples x, const char* what) {
    EXPECT_EQ(value(measure_sent(rate, std::move(x)), "audio.crackle.count"), 0) << what;
  };
  for (unsigned seed = 1; seed <= (coverage::whole() ? 20U : 5U); ++seed) {
    none(tone(rate, 20, -20, -45, seed), "a noisy path");
    Samples buzz = tone(rate, 20, -30, -80, seed);  // a dimmer's spikes, at any phase of the blocks
    for (double t = 0.001 * seed; t < 20; t += 0.01001) buzz[synth::count(t, rate)] += 0.05F;
    none(std::move(buzz), "spikes of a dimmer");
    Samples steps = tone(rate, 20, -20, -80, seed);
    for (std::size_t i = synth::count(7.003 + 0.001 * seed, rate); i < steps.size(); ++i) steps[i] *= 0.5F;
    none(std::move(steps), "a step");
    Samples gap = tone(rate, 20, -20, -80, seed);
    for (std::size_t i = synth::count(5.003 + 0.001 * seed, rate); i < synth::count(6, rate); ++i) gap[i] = 0;
    none(std::move(gap), "a gap");
    Samples turned = tone(rate, 20, -20, -80, seed);
    for (std::size_t i = synth::count(5.003 + 0.001 * seed, rate); i < turned.size(); ++i) turned[i] *= -1;
    none(std::move(turned), "a reversal");
    Samples talk = faded(tone(rate, 8, -20, -90, seed), rate, 0.5, 6);
    add_burst(talk, rate, 2, 0.4, -30, seed);  // somebody speaks before the tone is sent
    none(std::move(talk), "sound before the tone");
    none(tone(rate, 20, -60, -50, seed), "hardly a tone");
  }
}
