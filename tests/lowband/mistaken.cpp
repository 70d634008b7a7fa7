// What is no television signal, hum beside the field rate, and a card whose response falls early. Waveforms
// in closed form (support/lowband_synth.hpp and Fourier series); the card's first-order pole is 1 / (1 + j f
// / fc).
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstdio>
#include <functional>
#include <linebench/dsp/fft.hpp>
#include <numbers>
#include <random>

#include "lowband/measuring.hpp"

namespace {

using namespace linebench;
using lowband_synth::Card;
using lowband_synth::card_525;
using lowband_test::get;
using lowband_test::measured;
constexpr double pi = std::numbers::pi;

Readings of(const std::function<double(double t)>& volts, double rate, double noise) {
  std::vector<float> x(static_cast<std::size_t>(2 * rate));
  std::mt19937 gen(5);
  std::normal_distribution<double> normal(0, 1);
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] = static_cast<float>(volts(static_cast<double>(i) / rate) + noise * normal(gen));
  lowband_synth::MemoryCard source(rate, std::move(x), 1.41);
  return measure::measure_lowband(source, {});
}

// Multiples of the mains reach the line rate (15 625 is 312.5 times 50, 15 750 is 315 times), and so do a
// tone's; a whistle or a switching supply may stand right on it.
TEST(LowbandMistaken, BuzzTonesAndWhistlesAreNoTelevision) {
  const auto buzz = [](double t, double hz) {
    return 0.4 * (std::fmod(hz * t + 0.1, 1.0) < 0.5 ? 1.0 : -1.0);
  };
  for (const double rate : {48000.0, 96000.0, 192000.0}) {
    for (const double noise : {0.0, 1e-4}) {
      SCOPED_TRACE(testing::Message() << rate << ", noise " << noise);
      const std::vector<std::pair<const char*, std::function<double(double)>>> all = {
          {"sine 1 kHz", [](double t) { return 0.5 * std::sin(2 * pi * 1000 * t); }},
          {"square 50 Hz", [&](double t) { return buzz(t, 50); }},
          {"square 50.02 Hz", [&](double t) { return buzz(t, 50.02); }},
          {"rectifier 100 Hz",
           [](double t) { return 0.6 * std::pow(std::abs(std::sin(2 * pi * 50 * t)), 0.05); }},
          {"clicks", [&](double t) { return std::fmod(99.97 * t, 1.0) * rate < 99.97 ? 0.8 : 0.0; }},
          {"whistle", [](double t) { return 0.2 * std::sin(2 * pi * 15625 * t); }},
          {"supply beside it", [](double t) { return 0.2 * std::sin(2 * pi * 15700 * t); }},
          {"nothing", [](double) { return 0.3; }},
      };
      for (const auto& [name, volts] : all) {
        const Readings r = of(volts, rate, noise);
        EXPECT_EQ(get(r, "video.signal").text(), "none") << name;
        EXPECT_FALSE(get(r, "video.vertical_sync").measured()) << name;
        EXPECT_FALSE(get(r, "video.line.frequency").measured()) << name;
      }
    }
  }
}

// Strong hum that drifts by half a turn through the picture's own field rate while the
// capture lasts.
TEST(LowbandMistaken, StrongHumBesideTheFieldRateIsNoOtherHum) {
  for (const bool is_525 : {false, true}) {
    for (const double off : {-0.1, 0.06, 0.13}) {
      Card c = is_525 ? card_525() : Card{};
      c.rate_hz = 48000;
      c.top_mv = 560;
      c.bottom_mv = 140;
      c.full_scale_v = 4;
      c.hum_hz = c.field_hz() + off;
      c.hum_pp_mv = 450;
      const Readings r = measured(c, 6);
      const Reading& level = get(r, "video.hum.level");
      EXPECT_FALSE(level.measured()) << c.hum_hz << ": " << level.number();
      EXPECT_NE(level.reason.find("not in step with the picture"), std::string::npos) << level.reason;
      EXPECT_FALSE(level.at_most);
    }
  }
}

TEST(LowbandMistaken, ACardThatFallsEarlyShowsTheSameSync) {
  for (const bool is_525 : {false, true}) {
    for (const double share : {0.25, 0.3, 0.4}) {
      Card c = is_525 ? card_525() : Card{};
      c.rate_hz = 48000;
      c.full_scale_v = 2;
      c.top_mv = c.bottom_mv = 400;
      std::vector<float> x = lowband_synth::make(c, 1.6, 3);
      dsp::RealFft fft(dsp::next_fast_size(x.size()));
      for (std::size_t i = 0; i < fft.input().size(); ++i) fft.input()[i] = i < x.size() ? x[i] : x.back();
      fft.forward();
      const auto n = static_cast<double>(fft.input().size());
      for (std::size_t k = 0; k < fft.output().size(); ++k)
        fft.output()[k] /= std::complex<double>(1, static_cast<double>(k) / n / share);
      fft.inverse();
      for (std::size_t i = 0; i < x.size(); ++i) x[i] = static_cast<float>(fft.input()[i] / n);
      lowband_synth::MemoryCard source(c.rate_hz, std::move(x), c.full_scale_v);
      const Readings r = measure::measure_lowband(source, {});
      const Reading& sync = get(r, "video.sync.amplitude");
      ASSERT_TRUE(sync.measured()) << sync.reason;
      std::printf("    %d lines, -3 dB at %g of the rate: %.2f +- %.2f (%.2f)\n", c.lines, share,
                  sync.number(), *sync.uncertainty, c.sync_mv);
      EXPECT_NEAR(sync.number(), c.sync_mv, 0.015 * c.sync_mv);
      EXPECT_NEAR(sync.number(), c.sync_mv, *sync.uncertainty);
    }
  }
}

}  // namespace
