// Hum against closed forms: level and frequency under noise, tones and a voice, false alarms, kinds,
// coverage.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/hum.hpp>
#include <map>
#include <numbers>

#include "support/coverage.hpp"
#include "support/disturbance_synth.hpp"
#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;
using disturbance_synth::add_comb;
using disturbance_synth::at_total;
using disturbance_synth::plain;

HumResult hum_of(const synth::Samples& x, double rate, HumOptions options = {}) {
  HumAnalyser a(rate, options);
  constexpr std::size_t block = 4096;
  for (std::size_t at = 0; at < x.size(); at += block) {
    a.push(std::span(x).subspan(at, std::min(block, x.size() - at)));
  }
  return a.finish();
}

double level_u_k2(const HumResult& r) { return 8.686 * r.power_u / r.power; }

TEST(Hum, FoundDownTo90UnderNothingAtEveryRateAndMains) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    for (const double f0 : {49.93, 60.04, 53.7}) {
      synth::Samples x(synth::count(10.0, rate), 0.0F);
      synth::add_noise(x, -96.0, 11);
      const double total = add_comb(x, rate, f0, at_total(plain, -90.0));
      const HumResult r = hum_of(x, rate);
      ASSERT_TRUE(r.found) << rate << " " << f0;
      EXPECT_NEAR(r.frequency_hz, f0, 0.001);
      EXPECT_NEAR(dbfs_from_power(r.power), total, 0.05);
      EXPECT_EQ(r.harmonics.size(), plain.size());
    }
  }
}

TEST(Hum, FoundDownTo60UnderAVoice) {
  constexpr double rate = 16000;
  for (unsigned seed = 0; seed < 12; ++seed) {
    const double f0 = seed % 2 == 0 ? 49.93 : 60.04;
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_voice(x, rate, 90.0 + 13.0 * seed, -20.0, seed + 50);
    synth::add_noise(x, -85.0, seed);
    const double total = add_comb(x, rate, f0, at_total(plain, -60.0));
    const HumResult r = hum_of(x, rate);
    ASSERT_TRUE(r.found) << seed;
    EXPECT_NEAR(r.frequency_hz, f0, 0.005) << seed;
    EXPECT_NEAR(dbfs_from_power(r.power), total, 0.3) << seed;
  }
}

TEST(Hum, ATestToneIsNotHumAndDoesNotHideIt) {
  constexpr double rate = 48000;
  for (const double tone : {1000.0, 997.0, 400.0, 315.0}) {
    for (const bool told : {false, true}) {
      const HumOptions options{.mains_hz = {}, .tone_hz = told ? std::optional(tone) : std::nullopt};
      synth::Samples x(synth::count(10.0, rate), 0.0F);
      synth::add_noise(x, -98.0, 5);
      synth::add_sine(x, rate, tone, -20.0, 0.4);
      synth::add_sine(x, rate, 3 * tone, -80.0, 0.1);
      EXPECT_FALSE(hum_of(x, rate, options).found) << tone << told;
      const double total = add_comb(x, rate, 50.0, at_total(plain, -85.0));
      const HumResult r = hum_of(x, rate, options);
      ASSERT_TRUE(r.found) << tone;
      EXPECT_NEAR(dbfs_from_power(r.power), total, 0.1) << tone;
      EXPECT_NEAR(r.frequency_hz, 50.0, 0.001) << tone;
      const bool on_comb = std::abs(std::remainder(tone, 50.0)) < 1.0;
      if (on_comb) {
        EXPECT_EQ(r.left_out.front(), static_cast<std::size_t>(tone / 50.0));
        const Readings readings = to_readings(r, "");
        EXPECT_NE(find_reading(readings, "audio.hum.level")->reason.find("left out"), std::string::npos);
      }
    }
  }
}

TEST(Hum, ASentToneAtTwiceTheMainsIsNeverHum) {
  constexpr double rate = 48000;
  for (const double tone : {50.0, 60.0, 100.0, 120.0}) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_noise(x, -98.0, 6);
    synth::add_sine(x, rate, tone, -20.0);
    EXPECT_FALSE(hum_of(x, rate, {.mains_hz = {}, .tone_hz = tone}).found) << tone;
  }
  // Hum under a 100 Hz tone still shows in the odd multiples.
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_noise(x, -98.0, 6);
  synth::add_sine(x, rate, 100.0, -20.0);
  add_comb(x, rate, 49.97, {{1, -70}, {3, -76}});
  const HumResult r = hum_of(x, rate, {.mains_hz = {}, .tone_hz = 100.0});
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.frequency_hz, 49.97, 0.002);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(power_from_db(-70) + power_from_db(-76)), 0.05);
}

TEST(Hum, ASteadyChordIsNone) {
  // Notes whose harmonics would also be every second or third multiple of something between 45 and 65 Hz.
  for (const double note : {110.0, 165.0, 196.0, 220.0, 440.0}) {
    synth::Samples x(synth::count(10.0, 16000), 0.0F);
    synth::add_noise(x, -80.0, 2);
    for (int k = 1; k <= 8; ++k) synth::add_sine(x, 16000, note * k, -30.0 - 3 * k, k);
    EXPECT_FALSE(hum_of(x, 16000).found) << note;
  }
}

TEST(Hum, NoiseAloneIsNone) {
  int found = 0;
  for (unsigned seed = 0; seed < 200; ++seed) {
    const double seconds = seed % 3 == 0 ? 1.0 : seed % 3 == 1 ? 10.0 : 25.0;
    synth::Samples x(synth::count(seconds, 8000), 0.0F);
    synth::add_noise(x, -60.0, seed);
    found += hum_of(x, 8000).found ? 1 : 0;
  }
  EXPECT_LE(found, 1);
}

TEST(Hum, AVoiceAloneIsNone) {
  int found = 0;
  for (unsigned seed = 0; seed < 50; ++seed) {
    synth::Samples x(synth::count(10.0, 16000), 0.0F);
    synth::add_voice(x, 16000, 90.0 + 2.7 * seed, -22.0, seed + 500);
    synth::add_noise(x, seed % 2 == 0 ? -80.0 : -140.0, seed);
    found += hum_of(x, 16000).found ? 1 : 0;
  }
  EXPECT_LE(found, 1);
}

TEST(Hum, DetectionLimitIsTrue) {
  // A fundamental at the limit named is found nearly always; what is named is not far above what can be
  // found.
  constexpr double rate = 8000;
  int found = 0;
  int found_far_below = 0;
  for (unsigned seed = 0; seed < 60; ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_noise(x, -60.0, seed);
    const double limit = dbfs_from_power(hum_of(x, rate).least_power);
    synth::Samples y = x;
    synth::add_sine(x, rate, 50.02, limit, 0.1 * seed);
    found += hum_of(x, rate).found ? 1 : 0;
    synth::add_sine(y, rate, 50.02, limit - 8.0, 0.1 * seed);
    found_far_below += hum_of(y, rate).found ? 1 : 0;
  }
  std::printf("  found at the limit: %d of 60, 8 dB below: %d\n", found, found_far_below);
  EXPECT_GE(found, 56);
  EXPECT_LE(found_far_below, 12);
}

// Nearly free of noise, what the fit itself leaves must lie inside the claim, wherever between the bins of
// the spectra the mains lies.
TEST(Hum, StrongCleanHumIsWithinItsClaim) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    for (const double f0 : {49.93, 50.0, 60.04, 59.97, 52.3, 47.1}) {
      synth::Samples x(synth::count(10.0, rate), 0.0F);
      synth::add_noise(x, -100.0, 8);
      const double total = add_comb(x, rate, f0, at_total({{1, 0}, {2, -12}, {3, -8}, {5, -15}}, -40.0));
      const HumResult r = hum_of(x, rate);
      ASSERT_TRUE(r.found) << rate << " " << f0;
      EXPECT_NEAR(dbfs_from_power(r.power), total, 1.5 * level_u_k2(r)) << rate << " " << f0;
      EXPECT_LT(level_u_k2(r), 0.005) << rate << " " << f0;
    }
  }
}

TEST(Hum, CoverageOfLevelAndFrequencyUnderNoise) {
  constexpr double rate = 8000;
  const unsigned trials = coverage::trials(300);
  for (const double seconds : {1.0, 10.0}) {
    std::vector<HumResult> runs;
    for (unsigned seed = 1; seed <= trials; ++seed) {
      synth::Samples x(synth::count(seconds, rate), 0.0F);
      synth::add_noise(x, -60.0, seed);
      add_comb(x, rate, 49.93 + 0.0013 * seed, at_total(plain, -58.0), 0.01 * seed);
      runs.push_back(hum_of(x, rate));
    }
    coverage::expect_coverage("hum level, dB", 300, [&](unsigned seed) -> coverage::Trial {
      const HumResult& r = runs[seed - 1];
      return {dbfs_from_power(r.power), level_u_k2(r), -58.0};
    });
    double claimed = 0;
    coverage::expect_coverage("hum frequency, Hz", 300, [&](unsigned seed) -> coverage::Trial {
      const HumResult& r = runs[seed - 1];
      claimed += r.frequency_u / trials;
      return {r.frequency_hz, 2.0 * r.frequency_u, 49.93 + 0.0013 * seed};
    });
    // Cramer-Rao bound of the fundamental of a comb in white noise: var f = 6 sigma^2 / (N^3 pi^2 T_s^2 sum
    // k^2 A_k^2) (Kay, Fundamentals of Statistical Signal Processing, for one sine; sums over harmonics by
    // adding information).
    double k2a2 = 0;
    for (const auto& [k, db] : at_total(plain, -58.0)) k2a2 += k * k * power_from_db(db);
    const double n = seconds * rate;
    const double sigma2 = 0.5 * power_from_db(-60.0);
    const double crb = std::sqrt(6.0 * sigma2 / (k2a2 * n * n * n)) * rate / std::numbers::pi;
    std::printf("  %g s: Cramer-Rao bound %.3g Hz, claimed %.3g Hz (both k=1)\n", seconds, crb, claimed);
    EXPECT_GT(claimed, 0.9 * crb);
    EXPECT_LT(claimed, (seconds < 2.0 ? 2.5 : 1.5) * crb);
  }
}

TEST(Hum, CoverageUnderAVoice) {
  constexpr double rate = 8000;
  std::vector<HumResult> runs;
  for (unsigned seed = 1; seed <= coverage::trials(200); ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_voice(x, rate, 90.0 + 0.7 * seed, -22.0, seed);
    synth::add_noise(x, -75.0, seed + 9000);
    add_comb(x, rate, 60.04, at_total(plain, -55.0), 0.01 * seed);
    runs.push_back(hum_of(x, rate));
  }
  coverage::expect_coverage("hum level under a voice, dB", 200, [&](unsigned seed) -> coverage::Trial {
    const HumResult& r = runs[seed - 1];
    return {dbfs_from_power(r.power), level_u_k2(r), -55.0};
  });
  coverage::expect_coverage("hum frequency under a voice, Hz", 200, [&](unsigned seed) -> coverage::Trial {
    const HumResult& r = runs[seed - 1];
    return {r.frequency_hz, 2.0 * r.frequency_u, 60.04};
  });
}

TEST(Hum, MainsThatWandersIsFollowed) {
  constexpr double rate = 8000;
  synth::Samples x(synth::count(60.0, rate), 0.0F);
  synth::add_noise(x, -80.0, 3);
  // 50 Hz +- 20 mHz in 90 s, up to the 21st harmonic; high ones in company, one alone would be a tone.
  double mean = 0;
  const double n = static_cast<double>(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    const double turns =
        50.0 * t + 0.02 * 90.0 / (2 * std::numbers::pi) * (1 - std::cos(2 * std::numbers::pi * t / 90.0));
    mean += (50.0 + 0.02 * std::sin(2 * std::numbers::pi * t / 90.0)) / n;
    for (const int k : {1, 3, 10, 11, 20, 21}) {
      x[i] += static_cast<float>(0.001 * std::sin(2 * std::numbers::pi * std::fmod(k * turns, 1.0)));
    }
  }
  const HumResult r = hum_of(x, rate);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.frequency_hz, mean, 0.001);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(6e-6), 0.05);
}

TEST(Hum, Kinds) {
  constexpr double rate = 48000;
  const auto kind = [&](const std::map<int, double>& comb) {
    synth::Samples x(synth::count(5.0, rate), 0.0F);
    synth::add_noise(x, -90.0, 3);
    add_comb(x, rate, 50.02, comb);
    return hum_of(x, rate).kind;
  };
  EXPECT_EQ(kind({{1, -50}, {2, -64}, {3, -58}}), HumKind::Fundamental);
  EXPECT_EQ(kind({{1, -64}, {2, -50}, {4, -56}, {6, -62}}), HumKind::Ripple);
  std::map<int, double> buzz;
  for (int k = 1; k <= 20; ++k) buzz[k] = -60.0 - 0.2 * k;
  EXPECT_EQ(kind(buzz), HumKind::Buzz);
  // Fourier series of a sawtooth (1/n) and of a square wave (1/n, odd), the fundamental the strongest of all.
  std::map<int, double> saw, square;
  for (int k = 1; k <= 20; ++k) saw[k] = -50 - 20 * std::log10(k);
  for (int k = 1; k <= 19; k += 2) square[k] = -50 - 20 * std::log10(k);
  EXPECT_EQ(kind(saw), HumKind::Buzz);
  EXPECT_EQ(kind(square), HumKind::Fundamental);  // 81 % of its power: 8/pi^2
  EXPECT_EQ(kind({{1, -55}, {2, -56}, {3, -54}}), HumKind::Mixed);
}

TEST(Hum, ShortCapturesSayHowLongIsNeeded) {
  synth::Samples x(synth::count(0.3, 48000), 0.0F);
  synth::add_sine(x, 48000, 50, -40);
  const HumResult r = hum_of(x, 48000);
  EXPECT_TRUE(r.too_short);
  const Readings readings = to_readings(r, ".left");
  EXPECT_EQ(find_reading(readings, "audio.hum.level.left")->verdict, Verdict::Unmeasurable);
  synth::Samples y(synth::count(0.5, 48000), 0.0F);
  synth::add_noise(y, -80.0, 2);
  add_comb(y, 48000, 50.1, {{1, -40}, {2, -45}, {3, -50}});
  const HumResult s = hum_of(y, 48000);
  ASSERT_TRUE(s.found);
  EXPECT_NEAR(s.frequency_hz, 50.1, 0.02);
}

TEST(Hum, FieldRateBuzzIsNamedWhereItCannotBeToldApart) {
  const auto remark = [](double f0, double seconds, double noise_db) {
    synth::Samples x(synth::count(seconds, 8000), 0.0F);
    synth::add_noise(x, noise_db, 2);
    add_comb(x, 8000, f0, {{1, -50}, {2, -55}, {3, -55}});
    const Readings r = to_readings(hum_of(x, 8000), "");
    return find_reading(r, "audio.hum.frequency")->reason;
  };
  EXPECT_NE(remark(59.94, 20.0, -60).find("59.94"), std::string::npos);
  EXPECT_EQ(remark(60.01, 20.0, -60), "");
  EXPECT_NE(remark(59.99, 0.6, -45).find("17 s"), std::string::npos);
}

TEST(Hum, NothingOddBreaksIt) {
  for (const double value : {0.0, 0.5}) {
    const synth::Samples x(synth::count(3.0, 48000), static_cast<float>(value));
    const HumResult r = hum_of(x, 48000);
    EXPECT_FALSE(r.found);
    const Readings readings = to_readings(r, "");
    EXPECT_TRUE(find_reading(readings, "audio.hum.level")->at_most.has_value());
  }
  synth::Samples x(synth::count(3.0, 44100), 0.0F);
  add_comb(x, 44100, 50, {{1, -40}, {2, -50}});
  x[20000] = std::numeric_limits<float>::quiet_NaN();
  const HumResult r = hum_of(x, 44100);
  EXPECT_TRUE(!r.found || std::isfinite(r.power));
  EXPECT_FALSE(hum_of({}, 48000).found);
}

}  // namespace
