#include <linebench/measure/distortion.hpp>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using synth::Samples;

namespace {

// Fourier coefficient n (odd) of min(max(a sin t, -1), 1): closed form.
double clipped_sine_coefficient(double a, int n) {
  const double theta = std::asin(1.0 / a);
  const double first = n == 1 ? theta - std::sin(2 * theta) / 2
                              : std::sin((n - 1) * theta) / (n - 1) - std::sin((n + 1) * theta) / (n + 1);
  return 4 / std::numbers::pi * (a / 2 * first + std::cos(n * theta) / n);
}

// y = x + a2 x^2 + a3 x^3 of a sine of amplitude a: harmonic amplitudes in closed form.
Samples polynomial(double rate, double seconds, double hz, double a, double a2, double a3) {
  Samples x(synth::count(seconds, rate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double v = a * std::sin(2 * std::numbers::pi * std::fmod(hz * static_cast<double>(n) / rate, 1.0));
    x[n] = static_cast<float>(v + a2 * v * v + a3 * v * v * v);
  }
  return x;
}

}  // namespace

TEST(Thd, ClippedSineAgainstItsFourierSeries) {
  const double rate = 192000;  // so that what folds at half the rate is small
  for (const double a : {1.02, 1.2, 2.0}) {
    Samples x(synth::count(1.0, rate));
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double v =
          a * std::sin(2 * std::numbers::pi * std::fmod(997.0 * static_cast<double>(n) / rate, 1.0));
      x[n] = static_cast<float>(0.9 * std::clamp(v, -1.0, 1.0));
    }
    double sum = 0;
    for (int n = 3; n <= 20; n += 2) sum += std::pow(clipped_sine_coefficient(a, n), 2);
    const double thd = 100 * std::sqrt(sum) / clipped_sine_coefficient(a, 1);
    EXPECT_NEAR(value(measure(rate, {x}), "audio.thd") / thd, 1.0, 0.02) << a;
  }
}

TEST(Thd, HoldsFromAHundredthOfAPercentUnderNoise) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double percent : {0.01, 0.1, 3.0}) {
      const double a = 0.5;
      const double h = percent / 100 * a / std::sqrt(2.0);
      const double a2 = 2 * h / (a * a);
      const double a3 = 4 * h / (a * a * a);
      Samples x = polynomial(rate, 5.0, 1003.7, a, a2, a3);
      synth::add_noise(x, -95, 5);
      const double fundamental = a + 0.75 * a3 * a * a * a;
      const double thd = 100 * std::sqrt(2.0) * h / fundamental;
      const auto r = measure(rate, {x});
      EXPECT_NEAR(value(r, "audio.thd") / thd, 1.0, 0.02) << percent << " % at " << rate;
      const double noise = synth::noise_in_band(-95, rate, 20, 20000);
      const double noise2 = std::pow(10.0, noise / 10);
      const double rest = noise2 + 2 * h * h;
      EXPECT_NEAR(value(r, "audio.thd_n") / (100 * std::sqrt(rest / (rest + fundamental * fundamental))), 1.0,
                  0.02)
          << percent << " % at " << rate;
      EXPECT_NEAR(value(r, "audio.snr"), 20 * std::log10(fundamental) - noise, 0.2)
          << percent << " % at " << rate;
    }
  }
}

TEST(Thd, NothingFoundIsABoundNotAZero) {
  Samples x(48000 * 3);
  synth::add_sine(x, 48000, 1000.0, -20);
  synth::add_noise(x, -70, 1);
  const auto r = measure(48000, {x});
  EXPECT_FALSE(measured(r, "audio.thd"));
  EXPECT_GT(*reading(r, "audio.thd").at_most, 0.0);
  EXPECT_LT(*reading(r, "audio.thd").at_most, 0.1);
}

TEST(Thd, UncertaintyIsTrue) {
  coverage::expect_coverage("thd near the noise", 200, [](unsigned seed) {
    Samples x(synth::count(1.5, 16000));
    synth::add_sine(x, 16000, 500.0 + 0.3 * seed, -10);
    synth::add_sine(x, 16000, 2 * (500.0 + 0.3 * seed), -70, 0.4);
    synth::add_noise(x, -60, seed);
    const auto r = measure(16000, {x});
    return coverage::Trial{value(r, "audio.thd"), *reading(r, "audio.thd").uncertainty, 0.1};
  });
}

TEST(Thd, SeveralTonesAreNotDistortion) {
  Samples x(48000 * 3);
  for (const double hz : {440.0, 1130.0, 2750.0}) synth::add_sine(x, 48000, hz, -20);
  const auto r = measure(48000, {x});
  EXPECT_FALSE(measured(r, "audio.thd"));
  EXPECT_NE(reading(r, "audio.thd").reason.find("several tones"), std::string::npos);
  EXPECT_FALSE(measured(r, "audio.snr"));
}

// Side tones of a 7 kHz tone whose gain follows 60 Hz: rms of side tones over the tone [RP 120].
TEST(Intermodulation, SmpteAndDifference) {
  for (const double seconds : {2.0, 6.0}) {
    Samples x(synth::count(seconds, 48000));
    synth::add_sine(x, 48000, 60.1, -10);
    synth::add_sine(x, 48000, 7003, -22.04);
    for (const double side : {-1.0, 1.0}) {
      synth::add_sine(x, 48000, 7003 + side * 60.1, -22.04 - 60);
      synth::add_sine(x, 48000, 7003 + 2 * side * 60.1, -22.04 - 66, 1.0);
    }
    synth::add_noise(x, -90, 2);
    const auto r = measure(48000, {x});
    EXPECT_NEAR(value(r, "audio.imd.smpte"), 100 * std::sqrt(2e-6 + 2 * std::pow(10, -6.6)), 0.004)
        << seconds;
    EXPECT_FALSE(measured(r, "audio.thd"));
    EXPECT_FALSE(measured(r, "audio.noise.unweighted"));
  }
  Samples y(48000 * 4);
  synth::add_sine(y, 48000, 19000, -16);
  synth::add_sine(y, 48000, 20000, -16);
  synth::add_sine(y, 48000, 1000, -70);
  synth::add_sine(y, 48000, 18000, -76);
  synth::add_noise(y, -90, 2);
  const double expected = 100 * std::sqrt(std::pow(10, -5.4) + std::pow(10, -6.0)) / 2;
  EXPECT_NEAR(value(measure(48000, {y}), "audio.imd.difference"), expected, 0.01 * expected);
}
