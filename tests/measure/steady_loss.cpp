// A signal that is sent at one level for a known time must come back so. Truths are put in by construction;
// STIPA stands here as seven octave bands of noise, two modulations each [IEC 60268-16], made in this file.
#include <array>
#include <cmath>
#include <linebench/dsp/biquad.hpp>
#include <linebench/measure/audio.hpp>
#include <random>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using namespace linebench;
using synth::Samples;

namespace {

constexpr double rate = 16000;

Readings measure_sent(Samples x, const char* signal) {
  measure::AudioOptions options;
  options.signal = signal;
  return readings_support::measure(rate, {std::move(x)}, options);
}

Samples tone(double seconds, double dbfs = -23) {
  Samples x(synth::count(seconds, rate));
  synth::add_sine(x, rate, 1000, dbfs);
  return x;
}

void scale(Samples& x, double from_s, double to_s, double db) {
  for (std::size_t i = synth::count(from_s, rate); i < std::min(x.size(), synth::count(to_s, rate)); ++i)
    x[i] *= static_cast<float>(std::pow(10.0, db / 20));
}

Samples with_noise(Samples x, double dbfs = -78, std::uint64_t seed = 1) {
  synth::add_noise(x, dbfs, seed);
  return x;
}

// Octave bands from 125 Hz to 8 kHz with the two modulation frequencies of each and their depth of 0.55 [IEC
// 60268-16 table, from memory]; band levels as of speech, falling by 6 dB an octave above 500 Hz.
Samples stipa(double seconds, double dbfs, std::uint64_t seed) {
  constexpr std::array<double, 7> low = {1.6, 1.0, 0.63, 2.0, 1.25, 0.8, 2.5};
  constexpr std::array<double, 7> high = {8.0, 5.0, 3.15, 10.0, 6.25, 4.0, 12.5};
  constexpr std::array<double, 7> level = {-3, 3, 0, -6, -12, -18, -24};
  std::mt19937_64 gen(seed);
  std::normal_distribution<double> normal;
  std::vector<double> sum(synth::count(seconds, rate));
  for (std::size_t b = 0; b < 7; ++b) {
    const double centre = 125 * std::pow(2.0, static_cast<double>(b));
    if (centre * std::numbers::sqrt2 > 0.45 * rate) break;
    auto lower = dsp::butterworth_highpass(3, centre / std::numbers::sqrt2, rate);
    auto upper = dsp::butterworth_lowpass(3, centre * std::numbers::sqrt2, rate);
    const double gain = std::pow(10.0, level[b] / 20) * std::sqrt(rate / centre);
    for (std::size_t i = 0; i < sum.size(); ++i) {
      const double t = 2 * std::numbers::pi * static_cast<double>(i) / rate;
      const double power = 0.5 * (1 + 0.55 * (std::sin(low[b] * t) - std::sin(high[b] * t)));
      sum[i] += gain * std::sqrt(std::max(0.0, power)) * upper.step(lower.step(normal(gen)));
    }
  }
  double square = 0;
  for (const double v : sum) square += v * v / static_cast<double>(sum.size());
  Samples x;
  for (const double v : sum)
    x.push_back(static_cast<float>(v * std::pow(10.0, dbfs / 20) / std::sqrt(2 * square)));
  return x;
}

Samples after_lead(const Samples& x, double lead_s, double tail_s) {
  Samples out(synth::count(lead_s, rate));
  out.insert(out.end(), x.begin(), x.end());
  out.resize(out.size() + synth::count(tail_s, rate));
  return out;
}

double dropouts(const Readings& r) { return value(r, "audio.dropout.count"); }

void expect_loss(const Readings& r, double at_s, double length_s) {
  ASSERT_EQ(dropouts(r), 1);
  const auto& times = reading(r, "audio.dropout.times").curve();
  EXPECT_NEAR(times.x.front(), at_s, 0.041);
  EXPECT_NEAR(times.y.front(), length_s, 0.081);
}

}  // namespace

TEST(SteadyLoss, AToneThatDiesIsLostToTheEnd) {
  for (const double at : {1.0, 12.4, 18.0}) {
    Samples x = tone(20);
    scale(x, at, 20, -300);
    const Readings r = measure_sent(with_noise(after_lead(x, 0.3, 0.4)), "tone-1k");
    ASSERT_EQ(dropouts(r), 1) << at;
    const auto& times = reading(r, "audio.dropout.times").curve();
    EXPECT_NEAR(times.x.front(), 0.3 + at, 0.041);
    // Fades of half a second each are part of the twenty seconds the recipe is sent for.
    EXPECT_NEAR(times.y.front(), 20 - at, 1.05);
    EXPECT_NE(reading(r, "audio.dropout.count").reason.find("to the end"), std::string::npos);
  }
}

TEST(SteadyLoss, ALongGapIsOneDropoutWhateverItsLength) {
  for (const double length : {0.12, 1.0, 1.95, 2.1, 4.2, 15.0}) {
    Samples x = tone(20);
    scale(x, 3, 3 + length, -300);
    expect_loss(measure_sent(with_noise(x), "tone-1k"), 3, length);
  }
}

TEST(SteadyLoss, WhatIsNotLostIsNotTold) {
  const auto none = [](Samples x, const char* signal, const char* what) {
    const Readings r = measure_sent(std::move(x), signal);
    const Reading& count = reading(r, "audio.dropout.count");
    EXPECT_TRUE(!count.measured() || count.number() == 0) << what << ": " << count.number();
    EXPECT_EQ(find_reading(r, "audio.signal.step"), nullptr) << what;
  };
  none(with_noise(tone(20)), "tone-1k", "there from end to end");
  none(with_noise(after_lead(tone(20), 5, 8)), "tone-1k", "the recorder ran before and after it");
  none(with_noise(after_lead(tone(8), 4, 0)), "tone-1k", "the recorder was stopped first");
  none(with_noise(faded(tone(20), rate, 0.5, 0.3)), "tone-1k", "fades");
  none(with_noise(Samples(synth::count(20, rate)), -60), "tone-1k",
       "noise alone: a path that is dead all along");
  none(with_noise(tone(20), -30), "tone-1k", "a noisy path");
  Samples hum = tone(20, -40);
  for (int h = 1; h < 30; ++h) synth::add_sine(hum, rate, 50.02 * h, -30 - h);
  none(with_noise(hum), "tone-1k", "hum louder than the tone");
  Samples agc = tone(20);  // a level control that settles from 12 dB above within 0.2 s
  for (std::size_t i = 0; i < agc.size(); ++i)
    agc[i] *= static_cast<float>(1 + 3 * std::exp(-static_cast<double>(i) / (0.05 * rate)));
  none(with_noise(agc), "tone-1k", "a level control");
  for (unsigned seed = 1; seed <= coverage::trials(8); ++seed) {
    none(with_noise(after_lead(stipa(24, -26, seed), 0.4, 0.4)), "stipa", "STIPA");
    none(with_noise(stipa(12, -26, seed), -40, seed), "stipa", "STIPA in a noisy room");
  }
}

TEST(SteadyLoss, StipaThatBreaksOffAndStipaThatDies) {
  for (unsigned seed = 1; seed <= coverage::trials(3); ++seed) {
    Samples gap = stipa(24, -26, seed);
    scale(gap, 10, 13.9, -300);
    expect_loss(measure_sent(with_noise(gap), "stipa"), 10, 3.9);
    Samples dead = stipa(24, -26, seed);
    scale(dead, 15.4, 24, -300);
    const Readings r = measure_sent(with_noise(dead), "stipa");
    ASSERT_EQ(dropouts(r), 1);
    EXPECT_NEAR(reading(r, "audio.dropout.times").curve().x.front(), 15.4, 0.041);
    Samples flutter = stipa(24, -26, seed);
    for (int k = 0; k < 9; ++k) scale(flutter, 2 + 2.3 * k, 2.12 + 2.3 * k, -300);
    EXPECT_EQ(dropouts(measure_sent(with_noise(flutter), "stipa")), 9);
  }
}

TEST(SteadyLoss, AStepOfStipaIsReadWithinItsUncertainty) {
  coverage::expect_coverage("audio.signal.step", 40, [](unsigned seed) {
    std::mt19937_64 gen(seed);
    const double step = (seed % 2 == 0 ? -1 : 1) * std::uniform_real_distribution<>(3.0, 12.0)(gen);
    const double at = std::uniform_real_distribution<>(6.0, 18.0)(gen);
    Samples x = stipa(24, -30, seed);
    scale(x, at, 24, step);
    const Readings r = measure_sent(with_noise(x, -85, seed), "stipa");
    EXPECT_EQ(dropouts(r), 0) << step;
    const Reading& read = reading(r, "audio.signal.step");
    EXPECT_NEAR(value(r, "audio.signal.step.time"), at, 0.5);
    return coverage::Trial{read.number(), read.uncertainty.value_or(0), step};
  });
}
