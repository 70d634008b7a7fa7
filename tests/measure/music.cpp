// Music is neither noise nor hum, whatever notes it holds; what is noise or hum stays so beside or without
// it. Notes: equal temperament, A 440 (any handbook of music); EN 50160 for what public mains keeps to.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/measure/audio.hpp>
#include <random>

#include "support/synth.hpp"

namespace {

using namespace linebench;
using synth::Samples;

constexpr double rate = 48000;

// Five parts that never pause, over a pedal note: each note six harmonics falling by 1/n, on and off in 30
// ms.
Samples ensemble(double pedal_hz, std::uint64_t seed, double seconds = 20) {
  std::mt19937_64 gen(seed);
  Samples x(synth::count(seconds, rate), 0.0F);
  const auto note = [&](double hz, double from_s, double to_s, double amplitude) {
    const double phase = static_cast<double>(gen() % 628) / 100;
    const auto from = static_cast<std::size_t>(from_s * rate);
    const auto to = std::min(x.size(), static_cast<std::size_t>(to_s * rate));
    for (std::size_t i = from; i < to; ++i) {
      const double t = static_cast<double>(i - from) / rate;
      const double edge = std::min({1.0, t / 0.03, (to_s - from_s - t) / 0.03});
      double v = 0;
      for (int k = 1; k <= 6; ++k) v += std::sin(2 * std::numbers::pi * k * hz * t + k * phase) / k;
      x[i] += static_cast<float>(amplitude * std::max(0.0, edge) * v);
    }
  };
  for (int part = 0; part < 5; ++part) {
    for (double t = 0; t < seconds;) {
      const double last = 0.4 + static_cast<double>(gen() % 100) / 50;
      note(110 * std::pow(2.0, static_cast<double>(gen() % 36) / 12), t, t + last, 0.02);
      t += last;
    }
  }
  if (pedal_hz > 0) {
    for (double t = 0; t < seconds; t += 4) note(pedal_hz, t, t + 3.9, 0.04);
  }
  synth::add_noise(x, -95, seed);
  return x;
}

Readings measured(Samples x) {
  synth::MemorySource source(rate, {std::move(x)});
  return measure::measure_audio(source, {});
}

TEST(Music, IsNotNoise) {
  for (std::uint64_t seed = 1; seed <= 4; ++seed) {
    const Readings r = measured(ensemble(0, seed));
    for (const char* id : {"audio.noise.unweighted", "audio.noise.a", "audio.noise.bs468"})
      EXPECT_FALSE(find_reading(r, id)->measured()) << seed << " " << find_reading(r, id)->number();
  }
}

TEST(Music, HeldLowNotesAreNotHum) {
  for (const double hz : {48.999, 51.913, 55.0, 58.27, 61.735}) {  // G1, G#1, A1, A#1, B1
    const Readings r = measured(ensemble(hz, 5));
    const Reading& level = *find_reading(r, "audio.hum.level");
    EXPECT_FALSE(level.measured()) << hz;
    EXPECT_TRUE(level.at_most.has_value()) << hz;
    EXPECT_FALSE(find_reading(r, "audio.hum.kind")->measured()) << hz << ": neither hum nor none";
  }
}

TEST(Music, HumOnTheMainsFrequencyStaysHumBesideIt) {
  for (const double hz : {49.96, 50.03, 59.97}) {
    Samples x = ensemble(0, 6);
    synth::add_sine(x, rate, hz, -40);
    synth::add_sine(x, rate, 3 * hz, -46);
    const Readings r = measured(std::move(x));
    const Reading& level = *find_reading(r, "audio.hum.level");
    ASSERT_TRUE(level.measured()) << hz << ": " << level.reason;
    const double sent = 10 * std::log10(1e-4 + std::pow(10, -4.6));
    EXPECT_NEAR(level.number(), sent, std::max(0.3, *level.uncertainty)) << hz;
  }
}

// A ship's mains may be anywhere, and with nothing else there it is nobody's note.
TEST(Music, HumOffTheMainsFrequencyOnAnIdlePathIsHum) {
  for (const double hz : {47.0, 55.0, 62.3}) {
    Samples x(synth::count(10, rate), 0.0F);
    synth::add_noise(x, -75, 1);
    for (int k = 1; k <= 5; ++k) synth::add_sine(x, rate, k * hz, -50 - 4 * k, k);
    const Readings r = measured(std::move(x));
    EXPECT_TRUE(find_reading(r, "audio.hum.level")->measured()) << hz;
    EXPECT_TRUE(find_reading(r, "audio.noise.a")->measured()) << hz;
  }
}

// Noise that grows, noise that breathes, noise with crackle in it: all noise.
TEST(Music, NoiseOfMovingLevelIsNoise) {
  for (const int kind : {0, 1, 2}) {
    Samples x(synth::count(12, rate), 0.0F);
    synth::add_noise(x, -50, 3);
    for (std::size_t i = 0; i < x.size(); ++i) {
      const double t = static_cast<double>(i) / rate;
      if (kind == 0) x[i] *= static_cast<float>(std::pow(10.0, t * 3 / 12 / 20));
      if (kind == 1) x[i] *= static_cast<float>(std::fmod(t, 1) < 0.5 ? 1.0 : 1.12);
      if (kind == 2 && i % 31013 == 500) x[i] += 0.05F;
    }
    const Readings r = measured(std::move(x));
    EXPECT_TRUE(find_reading(r, "audio.noise.unweighted")->measured())
        << kind << find_reading(r, "audio.noise.unweighted")->reason;
  }
}

}  // namespace
