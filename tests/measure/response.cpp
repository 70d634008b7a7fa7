// The path from sent to returned, over paths made here: filters as closed forms, delays, clocks, noise,
// echoes.
#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <complex>
#include <cstdio>
#include <functional>
#include <linebench/base/error.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/response.hpp>
#include <random>

#include "support/coverage.hpp"
#include "support/path_synth.hpp"
#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using linebench::find_reading;
using linebench::Readings;
using synth::Samples;
using Complex = std::complex<double>;
using path_synth::high;
using path_synth::low;
using path_synth::sweep;
using path_synth::through;
using path_synth::white;

Readings measure(double rate, const Samples& sent, const Samples& returned,
                 const linebench::measure::ResponseOptions& options = {}) {
  synth::MemorySource a(rate, {sent}), b(rate, {returned});
  return linebench::measure::measure_response(a, b, options);
}

double number(const Readings& r, const char* id) {
  const auto* x = find_reading(r, id);
  if (x == nullptr || !x->measured()) {
    ADD_FAILURE() << id << ": " << (x == nullptr ? "missing" : x->reason);
    return 1e9;
  }
  return x->number();
}

double worst_error(const Readings& r, double from_hz, double to_hz, const std::function<Complex(double)>& h) {
  const auto* x = find_reading(r, "audio.response");
  if (x == nullptr || !x->measured()) return 1e9;
  const double reference = 20 * std::log10(std::abs(h(1000)));
  double worst = 0;
  int points = 0;
  for (std::size_t i = 0; i < x->curve().x.size(); ++i) {
    const double hz = x->curve().x[i];
    if (hz < from_hz * 0.99 || hz > to_hz * 1.01) continue;
    ++points;
    worst = std::max(worst, std::abs(x->curve().y[i] - 20 * std::log10(std::abs(h(hz))) + reference));
  }
  EXPECT_GE(points, static_cast<int>(std::lround(10 * std::log10(to_hz / from_hz))));
  return worst;
}

const auto flat = [](double) { return Complex(1.0); };
const auto shaped = [](double hz) { return 0.3 * high(hz, 60) * low(hz, 12000); };
const auto telephone = [](double hz) {
  return -0.5 * high(hz, 300) * high(hz, 300) * low(hz, 3400) * low(hz, 3400);
};

TEST(Response, SweepThroughAFilterAtEveryRate) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    const Samples x = sweep(rate, 4, 20, 20000);
    Samples y = through(x, rate, 1.25 * rate + 0.37, x.size() + synth::count(2, rate), shaped);
    synth::add_noise(y, -80, 1);
    const Readings r = measure(rate, x, y);
    EXPECT_LT(worst_error(r, 50, 16000, shaped), 0.1) << rate;
    EXPECT_NEAR(number(r, "audio.response.delay") * rate, 1.25 * rate + 0.37, 1.0) << rate;
    EXPECT_EQ(number(r, "audio.response.polarity"), 1) << rate;
    EXPECT_NEAR(number(r, "audio.response.gain"), 20 * std::log10(std::abs(shaped(1000))), 0.05);
    EXPECT_NEAR(number(r, "audio.response.band_low"), 60, 2);
    EXPECT_NEAR(number(r, "audio.response.band_high"), 12000, 250);
    EXPECT_FALSE(find_reading(r, "audio.response.echo.level")->measured()) << "a band limit is not an echo";
  }
}

TEST(Response, NoiseAndEarlyStart) {
  // The recording began 0.8 s after the signal, and ends early.
  const Samples x = white(48000, 6, -15, 3);
  Samples y = through(x, 48000, -0.8 * 48000, synth::count(3.5, 48000), shaped);
  synth::add_noise(y, -75, 4);
  const Readings r = measure(48000, x, y);
  EXPECT_LT(worst_error(r, 50, 16000, shaped), 0.15);
  EXPECT_NEAR(number(r, "audio.response.delay") * 48000, -0.8 * 48000, 1.0);
}

TEST(Response, TelephoneBandReversedWithEcho) {
  for (const bool noise : {false, true}) {
    for (const double echo_s : {1.5e-3, 12e-3, 1.4}) {
      const auto path = [&](double hz) {
        return telephone(hz) * (1.0 + 0.25 * std::polar(1.0, -2 * std::numbers::pi * hz * echo_s));
      };
      const Samples x = noise ? white(48000, 5, -15, 9) : sweep(48000, 5, 50, 15000);
      Samples y = through(x, 48000, 4321.0, x.size() + 2 * 48000, path);
      synth::add_noise(y, -70, 5);
      const Readings r = measure(48000, x, y);
      EXPECT_EQ(number(r, "audio.response.polarity"), -1) << echo_s;
      EXPECT_NEAR(number(r, "audio.response.delay") * 48000, 4321.0, 1.5) << echo_s;
      EXPECT_NEAR(number(r, "audio.response.echo.delay"), echo_s, 0.1e-3);
      EXPECT_NEAR(number(r, "audio.response.echo.level"), -12.04, 1.0) << echo_s;
      // From 30 ms on it is heard by itself (common practice).
      const auto* late = find_reading(r, "audio.response.echo.late");
      EXPECT_EQ(late != nullptr, echo_s > 30e-3) << echo_s;
      if (late != nullptr) {
        EXPECT_NEAR(late->number(), -12.04, *late->uncertainty) << echo_s;
      }
    }
    const Samples x = noise ? white(48000, 5, -15, 9) : sweep(48000, 5, 50, 15000);
    Samples y = through(x, 48000, 4321.0, x.size() + 48000, telephone);
    synth::add_noise(y, -70, 5);
    const Readings r = measure(48000, x, y);
    EXPECT_FALSE(find_reading(r, "audio.response.echo.level")->measured()) << noise;
    EXPECT_NEAR(number(r, "audio.response.band_low"), 374, 15);
    EXPECT_EQ(number(r, "audio.response.polarity"), -1);
  }
}

// A voice shows little of the band's upper end, so its delay hangs on the low end's phase model.
TEST(Response, DelayIsWithinItsClaimForVoiceSweepAndNoise) {
  const auto path = [](double hz) {
    return telephone(hz) * (1.0 + 0.1 * std::polar(1.0, -2 * std::numbers::pi * hz * 0.05));
  };
  for (unsigned seed = 1; seed <= 6; ++seed) {
    Samples voice(synth::count(5, 48000), 0.0F);
    synth::add_voice(voice, 48000, 90.0 + 20.0 * seed, -20.0, seed);
    synth::add_noise(voice, -75, 50 + seed);
    // In a sweep a clock difference of 25 ppm hides in the echo's ripple, and slides 3 kHz, 3.6 s in, by 90
    // us.
    const auto inputs = {std::pair{voice, 50e-6}, std::pair{sweep(48000, 5, 20, 20000), 90e-6},
                         std::pair{white(48000, 5, -20, seed), 50e-6}};
    for (const auto& [x, most] : inputs) {
      Samples y = through(x, 48000, 1234.0 + 0.3 * seed, x.size() + 48000, path);
      synth::add_noise(y, -80, 5 + seed);
      const Readings r = measure(48000, x, y);
      const auto* delay = find_reading(r, "audio.response.delay");
      ASSERT_TRUE(delay->measured()) << delay->reason;
      const double error = delay->number() - (1234.0 + 0.3 * seed) / 48000;
      std::printf("  delay: error %.2g us, claimed %.2g us\n", error * 1e6, *delay->uncertainty * 1e6);
      EXPECT_LE(std::abs(error), *delay->uncertainty) << seed;
      EXPECT_LT(*delay->uncertainty, most) << seed;
    }
  }
}

TEST(Response, ClockOffsetIsFoundAndCorrected) {
  for (const double ppm : {300.0, -300.0, -60.0}) {
    for (const bool noise : {true, false}) {
      const double rate = 48000;
      // Sent at a slightly other rate and so longer in the return.
      std::mt19937_64 gen(7);
      std::uniform_real_distribution<double> u(0.0, 1.0);
      const std::size_t n = synth::count(5, rate);
      Samples x(n), y(n + 48000, 0.0F);
      const double late = 12345.6;
      const double r = std::log(18000.0 / 30.0);
      std::vector<double> hz, phase;
      for (int i = 0; i < 80; ++i) {
        hz.push_back(40 * std::pow(400.0, (i + u(gen)) / 80));
        phase.push_back(6.28 * u(gen));
      }
      const auto value = [&](double t) {
        if (t < 0 || t > 5) return 0.0;
        if (!noise) {
          return 0.4 * std::min({1.0, t / 0.05, (5 - t) / 0.01}) *
                 std::sin(2 * std::numbers::pi * 30 * 5 / r * (std::exp(t * r / 5) - 1));
        }
        double v = 0;
        for (std::size_t i = 0; i < hz.size(); ++i)
          v += std::sin(2 * std::numbers::pi * hz[i] * t + phase[i]);
        return 0.03 * v;
      };
      for (std::size_t i = 0; i < n; ++i) x[i] = static_cast<float>(value(static_cast<double>(i) / rate));
      for (std::size_t i = 0; i < y.size(); ++i) {
        y[i] = static_cast<float>(value((static_cast<double>(i) - late) / rate / (1 + ppm * 1e-6)));
      }
      synth::add_noise(y, -75, 2);
      const Readings m = measure(rate, x, y);
      EXPECT_NEAR(number(m, "audio.response.delay") * rate, late, 1.0) << ppm << " " << noise;
      const auto* curve = find_reading(m, "audio.response");
      ASSERT_TRUE(curve->measured());
      EXPECT_NE(curve->reason.find("ppm"), std::string::npos) << curve->reason;
      const auto* clock = find_reading(m, "audio.response.clock");
      ASSERT_TRUE(clock->measured());
      EXPECT_NEAR(clock->number(), ppm, *clock->uncertainty) << noise;
      EXPECT_LT(*clock->uncertainty, noise ? 1.0 : 15.0);
      EXPECT_LT(worst_error(m, 63, 12500, flat), 0.2) << ppm << " " << noise;
      std::printf("  %g ppm: %s\n", ppm, curve->reason.c_str());
    }
  }
}

TEST(Response, UnrelatedReturnHasNone) {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const Samples x = seed % 2 == 0 ? white(48000, 2, -15, seed) : sweep(48000, 2, 20, 20000);
    const Samples y = white(48000, 3, -20, 100 + seed);
    const Readings r = measure(48000, x, y);
    for (const auto& reading : r) EXPECT_FALSE(reading.measured()) << reading.id << " " << seed;
  }
}

TEST(Response, SaysWhatIsWrongWithTheFiles) {
  const Samples x = white(48000, 1, -15, 1);
  EXPECT_THROW((void)measure(48000, x, x), linebench::Error);
  EXPECT_THROW((void)measure(48000, x, Samples(100, 0.1F)), linebench::Error);
  synth::MemorySource a(48000, {x}), b(44100, {white(44100, 1, -15, 1)});
  EXPECT_THROW((void)linebench::measure::measure_response(a, b), linebench::Error);
  for (const auto& r : measure(48000, x, Samples(48000, 0.0F))) EXPECT_FALSE(r.measured()) << r.id;
}

TEST(Response, StereoReturnHasOneSetASideAndCardIsTakenOut) {
  const Samples x = sweep(48000, 3, 20, 20000);
  const Samples l = through(x, 48000, 500, x.size() + 4800, shaped);
  const Samples r = through(x, 48000, 500, x.size() + 4800, [](double hz) { return -1.0 * shaped(hz); });
  synth::MemorySource a(48000, {x}), b(48000, {l, r});
  const Readings m = linebench::measure::measure_response(a, b);
  EXPECT_EQ(number(m, "audio.response.polarity.left"), 1);
  EXPECT_EQ(number(m, "audio.response.polarity.right"), -1);

  linebench::measure::ResponseOptions options;
  options.card = linebench::measure::card_response(m, ".left");
  ASSERT_TRUE(options.card);
  const Samples both =
      through(x, 48000, 700, x.size() + 4800, [](double hz) { return shaped(hz) * low(hz, 8000); });
  const Readings clean = measure(48000, x, both, options);
  EXPECT_LT(worst_error(clean, 50, 12500, [](double hz) { return low(hz, 8000); }), 0.1);
  EXPECT_NEAR(number(clean, "audio.response.delay") * 48000, 200, 1.0);
}

// A signal that repeats itself has no echo of its own; a true one shows up to the repetition.
TEST(Response, RepetitionOfTheSignalIsNoEcho) {
  const double rate = 48000;
  for (const double period : {0.1, 0.25, 1.0}) {
    const Samples once = white(rate, period, -20, 5);
    Samples x;
    while (x.size() < synth::count(6, rate)) x.insert(x.end(), once.begin(), once.end());
    for (const double echo : {0.0, 0.25}) {
      Samples y = through(x, rate, 480.0, x.size() + 24000, [&](double hz) {
        return 0.5 * (1.0 + echo * std::polar(1.0, -2 * std::numbers::pi * hz * 0.006));
      });
      synth::add_noise(y, -80, 3);
      const Readings m = measure(rate, x, y);
      const auto* found = find_reading(m, "audio.response.echo.delay");
      if (echo == 0) {
        EXPECT_FALSE(found->measured()) << period << ": " << (found->measured() ? found->number() : 0.0);
      } else {
        EXPECT_NEAR(number(m, "audio.response.echo.delay"), 0.006, 1e-4) << period;
        EXPECT_NEAR(number(m, "audio.response.echo.level"), -12.04, 1.0) << period;
      }
    }
  }
}

// An echo's ripple must not pass for a clock that differs.
TEST(Response, ShortEchoOnATelephonePath) {
  const double rate = 48000;
  const Samples x = sweep(rate, 6, 50, 18000);
  for (const double echo : {0.25, -0.25}) {
    for (const double late : {0.001, 0.002}) {
      Samples y = through(x, rate, 96.0, x.size() + 24000, [&](double hz) {
        return telephone(hz) * (1.0 + echo * std::polar(1.0, -2 * std::numbers::pi * hz * late));
      });
      synth::add_noise(y, -80, 3);
      const Readings m = measure(rate, x, y);
      EXPECT_NEAR(number(m, "audio.response.echo.delay"), late, 1e-4) << echo;
      EXPECT_NEAR(number(m, "audio.response.echo.level"), -12.04, 1.5) << echo << " " << late;
      const auto* delay = find_reading(m, "audio.response.delay");
      EXPECT_NEAR(delay->number() * rate, 96.0, *delay->uncertainty * rate) << echo << " " << late;
      EXPECT_NEAR(delay->number() * rate, 96.0, 1.5) << echo << " " << late;
    }
  }
}

// Steep low-passes, analogue [Butterworth, closed form]: the arrival is the pure delay.
TEST(Response, ArrivalBehindASteepAnalogueLowPass) {
  const double rate = 48000;
  const Samples x = sweep(rate, 4, 50, 18000);
  for (const double corner : {3400.0, 8000.0, 15000.0}) {
    const Samples y = through(x, rate, 480.0, x.size() + 24000, [&](double hz) {
      Complex h = 1.0;
      for (int k = 0; k < 4; ++k) {
        const Complex s(0, hz / corner);
        h /= s * s + 2 * std::sin((2 * k + 1) * std::numbers::pi / 16) * s + 1.0;
      }
      return h;
    });
    const Readings m = measure(rate, x, y);
    const auto* delay = find_reading(m, "audio.response.delay");
    ASSERT_TRUE(delay->measured());
    std::printf("  %g Hz: %.2f samples late, claimed %.2f\n", corner, delay->number() * rate - 480,
                *delay->uncertainty * rate);
    EXPECT_NEAR(delay->number() * rate, 480.0, *delay->uncertainty * rate) << corner;
    EXPECT_NEAR(delay->number() * rate, 480.0, 1.4) << corner;
  }
}

TEST(Response, SwappedFilesAreRemarked) {
  const double rate = 48000;
  const Samples x = sweep(rate, 4, 50, 18000);
  Samples y = through(x, rate, 9600.0, x.size() + 48000, shaped);
  synth::add_noise(y, -80, 3);
  const auto remark = [&](const Samples& a, const Samples& b) {
    return find_reading(measure(rate, a, b), "audio.response")->reason;
  };
  EXPECT_EQ(remark(x, y).find("swapped"), std::string::npos);
  EXPECT_NE(remark(y, x).find("swapped"), std::string::npos);
  // A recording that began late is not swapped.
  EXPECT_EQ(remark(x, Samples(y.begin() + 40000, y.end())).find("swapped"), std::string::npos);
}

TEST(Response, UncertaintyIsTrue) {
  for (const double band : {100.0, 4000.0}) {
    coverage::expect_coverage("response, noise at 0 dB SNR", 200, [band](unsigned seed) {
      const Samples x = white(16000, 2, -20, seed);
      Samples y = x;
      y.insert(y.end(), 1600, 0.0F);
      synth::add_noise(y, -20, 5000 + seed);
      const Readings r = measure(16000, x, y);
      const auto* c = find_reading(r, "audio.response");
      if (!c->measured()) return coverage::Trial{9, 0, 0};
      for (std::size_t i = 0; i < c->curve().x.size(); ++i) {
        if (std::abs(c->curve().x[i] - band) < 0.05 * band) {
          return coverage::Trial{c->curve().y[i], c->curve().uncertainty[i], 0};
        }
      }
      return coverage::Trial{9, 0, 0};
    });
  }
}

}  // namespace
