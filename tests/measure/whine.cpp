// A steady line under what comes and goes, against closed forms.
#include "../../src/measure/whine.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <numbers>
#include <random>
#include <tuple>

#include "support/coverage.hpp"
#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 48000;

WhineResult whine_of(const synth::Samples& x, double at_rate = rate,
                     std::optional<double> tone_hz = std::nullopt) {
  WhineSearch search(at_rate);
  for (std::size_t at = 0; at < x.size(); at += 5000)
    search.push(std::span(x).subspan(at, std::min<std::size_t>(5000, x.size() - at)));
  return search.finish({}, tone_hz);
}

// Syllables: a voice's multiples of a pitch that glides, three or four a second, with pauses of a third.
void add_voice(synth::Samples& x, double at_rate, double dbfs, unsigned seed) {
  std::mt19937 dice(seed);
  std::uniform_real_distribution<double> u(0, 1);
  const double peak = std::pow(10, dbfs / 20);
  double turns = 0;
  double pitch = 120;
  double until = 0, begun = 0;
  bool on = false;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / at_rate;
    if (t >= until) {
      begun = t;
      on = u(dice) < 0.7;
      until = t + 0.15 + 0.15 * u(dice);
      pitch = 100 + 60 * u(dice);
    }
    turns += pitch * (1 + 0.3 * (t - begun)) / at_rate;
    if (!on) continue;
    const double swell = std::sin(std::numbers::pi * (t - begun) / (until - begun));
    // Multiples of 1/k: a sawtooth.
    x[i] += static_cast<float>(peak * swell * std::numbers::pi * (0.5 - (turns - std::floor(turns))));
  }
}

TEST(Whine, UnderAVoiceItsLevelAndFrequencyAreTrue) {
  const auto trial = [](unsigned seed, bool level) {
    std::mt19937 dice(seed);
    std::uniform_real_distribution<double> u(0, 1);
    const double hz = 400 * std::pow(40, u(dice)) + 13.3;
    const double dbfs = -65 + 30 * u(dice);
    const double at_rate = seed % 3 == 0 ? 44100 : rate;
    synth::Samples x(synth::count(seed % 2 == 0 ? 8 : 20, at_rate), 0.0F);
    synth::add_noise(x, -78, seed);
    add_voice(x, at_rate, -20, seed);
    synth::add_sine(x, at_rate, hz, dbfs, u(dice));
    const WhineResult r = whine_of(x, at_rate);
    const bool near_mains =
        hz < 1000 && (std::abs(std::remainder(hz, 50)) < 15 || std::abs(std::remainder(hz, 60)) < 15);
    // What is not found is below what is said to be the least.
    EXPECT_TRUE(r.found || near_mains || dbfs < dbfs_from_power(r.least_power))
        << seed << ": " << hz << " Hz " << dbfs;
    if (!r.found) return coverage::Trial{0, 1, 0};
    return level ? coverage::Trial{dbfs_from_power(r.power), r.level_u_db, dbfs}
                 : coverage::Trial{r.frequency_hz, r.frequency_u, hz};
  };
  coverage::expect_coverage(
      "level", 60, [&](unsigned s) { return trial(s, true); }, 0.93, 1);
  coverage::expect_coverage(
      "frequency", 60, [&](unsigned s) { return trial(s, false); }, 0.93, 1);
}

// None is found in what has none, and none that is there is above the bound.
TEST(Whine, VoicesNotesAndNoiseAreNone) {
  for (unsigned seed = 0; seed < 12; ++seed) {
    synth::Samples x(synth::count(9, rate), 0.0F);
    synth::add_noise(x, -70, seed);
    if (seed % 3 == 1) add_voice(x, rate, -20, seed);
    if (seed % 3 == 2) {  // notes of half a second
      std::mt19937 dice(seed);
      for (std::size_t from = 0; from + 24000 <= x.size(); from += 24000) {
        const double hz = 440 * std::pow(2, static_cast<double>(dice() % 12) / 12);
        for (std::size_t i = 0; i < 24000; ++i)
          x[from + i] += static_cast<float>(
              0.1 * std::sin(2 * std::numbers::pi * std::fmod(hz * static_cast<double>(i) / rate, 1.0)));
      }
    }
    const WhineResult r = whine_of(x);
    EXPECT_FALSE(r.found) << seed;
    ASSERT_TRUE(r.looked);
    synth::add_sine(x, rate, 5321, dbfs_from_power(r.least_power) + 0.5, 1);
    EXPECT_TRUE(whine_of(x).found) << seed << ": " << dbfs_from_power(r.least_power);
  }
}

TEST(Whine, MainsMultiplesLineRatesAndTheTonesOwnAreNone) {
  synth::Samples x(synth::count(9, rate), 0.0F);
  synth::add_noise(x, -80, 1);
  synth::add_sine(x, rate, 15625, -50);
  for (int k = 1; k <= 60; ++k) synth::add_sine(x, rate, 50 * k, -50 - 0.5 * k, k);
  EXPECT_FALSE(whine_of(x).found);
  synth::add_sine(x, rate, 997, -20);
  synth::add_sine(x, rate, 2 * 997, -60);
  EXPECT_FALSE(whine_of(x, rate, 997).found);
  synth::add_sine(x, rate, 7340, -60);
  const WhineResult r = whine_of(x, rate, 997);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.frequency_hz, 7340, 1);
  EXPECT_NEAR(dbfs_from_power(r.power), -60, 0.2);
}

// As load and warmth move a supply: to and fro, or one way.
TEST(Whine, OneThatWandersIsFoundWithHowFar) {
  for (const auto& [hz, to_side, rhythm] :
       {std::tuple{7000.0, 60.0, 0.3}, {7000.0, 15.0, 0.3}, {2500.0, 35.0, 0.7}, {11000.0, 80.0, 0.1}}) {
    for (const bool voice : {false, true}) {
      synth::Samples x(synth::count(15, rate), 0.0F);
      synth::add_noise(x, -80, 7);
      if (voice) add_voice(x, rate, -20, 7);
      for (std::size_t i = 0; i < x.size(); ++i) {
        const double t = static_cast<double>(i) / rate;
        const double phase = 2 * std::numbers::pi * std::fmod(hz * t, 1.0) -
                             to_side / rhythm * std::cos(2 * std::numbers::pi * rhythm * t);
        x[i] += static_cast<float>(std::pow(10, -45.0 / 20) * std::sin(phase));
      }
      const WhineResult r = whine_of(x);
      ASSERT_TRUE(r.found) << hz << " " << to_side << " " << voice;
      EXPECT_NEAR(dbfs_from_power(r.power), -45, r.level_u_db);
      EXPECT_NEAR(r.frequency_hz, hz, r.frequency_u);
      EXPECT_NEAR(r.wander_hz, to_side, 5 + 0.1 * to_side);
    }
  }
}

// A line that is there in a part of the stretches, or shifts, does not stand.
TEST(Whine, WhatStopsOrGlidesIsNone) {
  synth::Samples x(synth::count(32, rate), 0.0F);
  synth::add_noise(x, -75, 3);
  synth::Samples half(x.size() / 2, 0.0F);
  synth::add_sine(half, rate, 2345, -45);
  for (std::size_t i = 0; i < half.size(); ++i) x[i] += half[i];
  EXPECT_FALSE(whine_of(x).found);
  synth::Samples y(synth::count(9, rate), 0.0F);
  synth::add_noise(y, -75, 4);
  for (std::size_t i = 0; i < y.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    y[i] += static_cast<float>(0.01 * std::sin(2 * std::numbers::pi * std::fmod(2000 * t + 30 * t * t, 1.0)));
  }
  EXPECT_FALSE(whine_of(y).found);
}

}  // namespace
