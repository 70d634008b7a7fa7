// Loudness and true peak: the fast true peak against the library's own full run, and what cannot be measured.
#include <ebur128.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/measure/loudness.hpp>
#include <random>

#include "support/stopwatch.hpp"
#include "support/synth.hpp"

namespace {

using linebench::measure::LoudnessAnalyser;
using linebench::measure::LoudnessResult;
using synth::Samples;

LoudnessResult analyse(double rate, const Samples& x, int channels = 1, std::size_t chunk = 4800) {
  LoudnessAnalyser a(rate, channels);
  const std::size_t step = chunk * static_cast<std::size_t>(channels);
  for (std::size_t n = 0; n < x.size(); n += step) {
    a.push(std::span(x).subspan(n, std::min(step, x.size() - n)));
  }
  return a.finish();
}

double library_true_peak(double rate, const Samples& x) {
  ebur128_state* s = ebur128_init(1, static_cast<unsigned long>(rate), EBUR128_MODE_TRUE_PEAK);
  ebur128_add_frames_float(s, x.data(), x.size());
  double peak = 0;
  ebur128_true_peak(s, 0, &peak);
  ebur128_destroy(&s);
  return peak;
}

// Fades both ends over 50 ms at 48 kHz, so that no step adds an overshoot of its own.
void fade(Samples& x) {
  for (std::size_t n = 0; n < 2400; ++n) {
    const float g =
        static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(n) / 2400));
    x[n] *= g;
    x[x.size() - 1 - n] *= g;
  }
}

double db(double a, double b) { return 20.0 * std::log10(a / b); }

TEST(TruePeak, EqualsTheLibrarysFullRunOverManySignals) {
  double worst = 0;
  int cases = 0;
  for (const double rate : {8000.0, 44100.0, 48000.0, 96000.0, 176400.0, 192000.0}) {
    for (unsigned seed = 1; seed <= 60; ++seed) {
      std::mt19937_64 gen(seed);
      std::uniform_real_distribution<double> u(0.0, 1.0);
      Samples x(3000 + static_cast<std::size_t>(u(gen) * 5000), 0.0F);
      switch (seed % 6) {
        case 0:
          synth::add_noise(x, -6, seed);
          break;
        case 1:
          synth::add_sine(x, rate, rate / 4, -1, std::numbers::pi / 4);
          break;
        case 2:
          synth::add_sine(x, rate, u(gen) * rate * 0.49, -3, u(gen));
          break;
        case 3:  // bursts with silence between, steps at their edges
          for (std::size_t n = 0; n < x.size(); ++n) {
            if ((n / 700) % 3 == 1) x[n] = static_cast<float>(0.9 * std::sin(0.8 * static_cast<double>(n)));
          }
          break;
        case 4:  // lone samples, first and last among them
          for (int k = 0; k < 5; ++k)
            x[static_cast<std::size_t>(u(gen) * static_cast<double>(x.size() - 1))] = 0.7F;
          x.front() = -0.8F;
          x.back() = 0.75F;
          break;
        default:  // clipped noise
          synth::add_noise(x, 6, seed);
          for (float& v : x) v = std::clamp(v, -1.0F, 1.0F);
      }
      const LoudnessResult r = analyse(rate, x, 1, 1 + static_cast<std::size_t>(u(gen) * 2000));
      const double e = std::abs(db(r.true_peak[0], library_true_peak(rate, x)));
      worst = std::max(worst, e);
      ++cases;
      EXPECT_LT(e, 0.001) << "rate " << rate << " seed " << seed;
    }
  }
  std::printf("  true peak re the library over %d signals: worst %.2g dB\n", cases, worst);
}

TEST(TruePeak, SineAtAQuarterOfTheRateShowsItsPeakBetweenSamples) {
  // At fs/4 and 45 degrees all samples are 3.01 dB below the peak [BS.1770-4 annex 2, the textbook case].
  Samples x(48000, 0.0F);
  synth::add_sine(x, 48000, 12000, -6.0, std::numbers::pi / 4);
  fade(x);
  const LoudnessResult r = analyse(48000, x);
  EXPECT_NEAR(db(r.true_peak[0], 1.0), -6.0, 0.3);
  EXPECT_LE(std::abs(db(r.true_peak[0], 1.0) + 6.0), r.true_peak_uncertainty_db[0] + 1e-6);
}

TEST(TruePeak, UncertaintyHoldsForTonesOfAnyFrequencyAndPhase) {
  int inside = 0;
  const int trials = 200;
  for (unsigned seed = 1; seed <= trials; ++seed) {
    std::mt19937_64 gen(seed);
    std::uniform_real_distribution<double> u(0.0, 1.0);
    Samples x(9600, 0.0F);
    synth::add_sine(x, 48000, 50 + u(gen) * 19950, -4.0, 6.28 * u(gen));
    fade(x);
    const LoudnessResult r = analyse(48000, x);
    inside += std::abs(db(r.true_peak[0], 1.0) + 4.0) <= r.true_peak_uncertainty_db[0] ? 1 : 0;
  }
  EXPECT_GE(inside, 182) << "of " << trials;  // 93 % less two of the share's own scatter
}

TEST(Loudness, SaysWhyThereIsNone) {
  const Samples silence(48000, 0.0F);
  auto readings = to_readings(analyse(48000, silence), std::nullopt, 0);
  for (const char* id : {"audio.loudness.integrated", "audio.loudness.range", "audio.true_peak"}) {
    const auto* r = linebench::find_reading(readings, id);
    ASSERT_NE(r, nullptr) << id;
    EXPECT_FALSE(r->measured()) << id;
    EXPECT_FALSE(r->reason.empty()) << id;
  }
  Samples brief(9600, 0.0F);  // 0.2 s
  synth::add_sine(brief, 48000, 1000, -10);
  readings = to_readings(analyse(48000, brief), std::nullopt, 1);
  EXPECT_NE(linebench::find_reading(readings, "audio.loudness.integrated")->reason.find("0.4 s"),
            std::string::npos);
  EXPECT_TRUE(linebench::find_reading(readings, "audio.true_peak")->measured());
}

TEST(Loudness, StereoHasOneTruePeakASide) {
  Samples x(2 * 48000, 0.0F);
  for (std::size_t n = 0; n < 48000; ++n) {
    x[2 * n] = static_cast<float>(0.5 * std::sin(0.1 * static_cast<double>(n)));
    x[2 * n + 1] = static_cast<float>(0.25 * std::sin(0.1 * static_cast<double>(n)));
  }
  const auto readings = to_readings(analyse(48000, x, 2), 2.0, 2);
  EXPECT_NEAR(linebench::find_reading(readings, "audio.true_peak.left")->number(), -6.02, 0.02);
  EXPECT_NEAR(linebench::find_reading(readings, "audio.true_peak.right")->number(), -12.04, 0.02);
}

TEST(Loudness, AMinuteOfStereoTakesATenthOfASecond) {
  Samples x(2 * 48000 * 60, 0.0F);
  synth::add_noise(x, -20, 3);
  const stopwatch::Stopwatch watch;
  const LoudnessResult r = analyse(48000, x, 2);
  const double s = watch.seconds();
  std::printf("  60 s of stereo noise at 48 kHz: %.3f s\n", s);
  EXPECT_TRUE(r.integrated_lufs);
  EXPECT_LT(s, stopwatch::most(0.1));
}

}  // namespace
