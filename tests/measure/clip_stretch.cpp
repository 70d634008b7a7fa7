// Tops cut for a while only, well below what is loudest in the channel, and sounds that stop at a level for a
// while and were never cut. What was cut is known from making it: clamp(x) of a known x.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/measure/events.hpp>
#include <numbers>
#include <random>

#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 48000;

EventsResult events_of(const synth::Samples& x) {
  EventsAnalyser a(rate);
  for (std::size_t at = 0; at < x.size(); at += 4096)
    a.push(std::span(x).subspan(at, std::min<std::size_t>(4096, x.size() - at)));
  return a.finish();
}

// A voice over notes.
synth::Samples programme(double seconds, unsigned seed) {
  synth::Samples x(synth::count(seconds, rate), 0.0F);
  synth::add_voice(x, rate, 100.0 + 20 * seed, -20.0, seed);
  for (const double hz : {110.0, 146.83, 220.0, 293.66, 440.0})
    synth::add_sine(x, rate, hz * std::pow(2.0, seed / 12.0), -28.0, 0.4 * seed);
  return x;
}

float peak_of(const synth::Samples& x) {
  float top = 0;
  for (const float v : x) top = std::max(top, std::abs(v));
  return top;
}

// Few flat tops in a short stretch are left alone rather than found where there are none: of these kinds nine
// in ten are found.
TEST(ClippingForAWhile, IsFoundAtALevelOfItsOwn) {
  int trials = 0, found = 0;
  for (unsigned seed = 0; seed < 4; ++seed) {
    for (const double seconds : {0.1, 0.5, 2.0}) {
      for (const double under_db : {1.0, 4.4, 11.0}) {
        synth::Samples x = programme(10.0, seed);
        const float level = peak_of(x) * static_cast<float>(std::pow(10.0, -under_db / 20));
        const std::size_t from = synth::count(6.0, rate);
        const std::size_t to = from + synth::count(seconds, rate);
        float there = 0;
        for (std::size_t i = from; i < to; ++i) there = std::max(there, std::abs(x[i]));
        const float gain = 4.0F * level / there;  // driven 12 dB into the stage
        std::uint64_t truth = 0;
        for (std::size_t i = from; i < to; ++i) {
          truth += std::abs(gain * x[i]) >= level ? 1 : 0;
          x[i] = std::clamp(gain * x[i], -level, level);
        }
        synth::add_noise(x, -92.0, seed);
        const EventsResult r = events_of(x);
        const auto what = testing::Message() << seconds << " s, " << under_db << " dB under, seed " << seed;
        EXPECT_LE(static_cast<double>(r.clipped_samples), 1.05 * static_cast<double>(truth)) << what;
        ++trials;
        if (r.clips.empty()) continue;
        ++found;
        EXPECT_GT(static_cast<double>(r.clipped_samples), 0.1 * static_cast<double>(truth)) << what;
        EXPECT_LT(std::abs(r.clip_level / static_cast<double>(level) - 1.0), 0.002) << what;
        EXPECT_GE(r.clips.front().time_s, 5.995) << what;
        EXPECT_LE(r.clips.back().time_s, 6.005 + seconds) << what;
      }
    }
  }
  std::printf("%d of %d found\n", found, trials);
  EXPECT_GE(10 * found, 9 * trials);
}

TEST(ClippingForAWhile, TwoLevelsAreBothCountedAndSaid) {
  synth::Samples x = programme(12.0, 1);
  const float top = peak_of(x);
  for (std::size_t i = synth::count(2.0, rate); i < synth::count(4.0, rate); ++i)
    x[i] = std::clamp(6 * x[i], -0.5F * top, 0.5F * top);
  for (std::size_t i = synth::count(8.0, rate); i < synth::count(8.5, rate); ++i)
    x[i] = std::clamp(6 * x[i], -0.3F * top, 0.3F * top);
  synth::add_noise(x, -92.0, 1);
  const EventsResult r = events_of(x);
  EXPECT_NEAR(r.clip_level, 0.5 * static_cast<double>(top), 0.002);
  EXPECT_NEAR(r.clip_lowest, 0.3 * static_cast<double>(top), 0.002);
  EXPECT_GT(r.clips.back().time_s, 8.0);
  for (const Reading& said : to_readings(r, "")) {
    if (said.id == "audio.clip.level") {
      EXPECT_NE(said.reason.find("others"), std::string::npos) << said.reason;
    }
  }
}

// Speech clipped all along, with louder jingles between that are not.
TEST(ClippingForAWhile, IsFoundBetweenLouderSound) {
  synth::Samples x(synth::count(18.0, rate), 0.0F);
  synth::add_voice(x, rate, 120.0, -24.0, 3);
  synth::Samples jingle = programme(18.0, 2);
  const float loud = 0.45F / peak_of(jingle);
  std::uint64_t truth = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (std::fmod(static_cast<double>(i) / rate, 6.0) < 1.5) {
      x[i] = loud * jingle[i];
      continue;
    }
    truth += std::abs(3 * x[i]) >= 0.12F ? 1 : 0;
    x[i] = std::clamp(3 * x[i], -0.12F, 0.12F);
  }
  synth::add_noise(x, -92.0, 9);
  const EventsResult r = events_of(x);
  EXPECT_GT(static_cast<double>(r.clipped_samples), 0.3 * static_cast<double>(truth));
  EXPECT_LE(static_cast<double>(r.clipped_samples), 1.05 * static_cast<double>(truth));
  EXPECT_NEAR(r.clip_level, 0.12, 0.0005);
}

// Each a while long, at 0.1 to 0.3, beside a sine of 0.7: nothing of it was cut.
TEST(ClippingForAWhile, IsNotFoundInWhatStopsAtALevelByNature) {
  const auto beside = [](auto wave) {
    synth::Samples x(synth::count(8.0, rate));
    for (std::size_t i = 0; i < x.size(); ++i) {
      const double t = static_cast<double>(i) / rate;
      const int note = static_cast<int>(t / 0.25);
      const double level = 0.1 * (1 + note % 3);
      const double hz = 110.0 * std::pow(2.0, (note * 7 % 36) / 12.0);
      const double y = note % 8 == 7 ? 0.7 * std::sin(2 * std::numbers::pi * 331 * t) : level * wave(hz, t);
      x[i] = static_cast<float>(std::round(32768 * y) / 32768);
    }
    return x;
  };
  const auto turn = [](double hz, double t) { return std::fmod(hz * t, 1.0); };
  const auto none = [](const synth::Samples& x, const char* what) {
    EXPECT_EQ(events_of(x).clipped_samples, 0U) << what;
  };
  none(beside([](double hz, double t) { return std::sin(2 * std::numbers::pi * hz * t); }), "sine");
  none(beside([](double hz, double t) { return std::sin(2 * std::numbers::pi * hz / 5 * t); }), "low sine");
  none(beside([&](double hz, double t) { return turn(hz, t) < 0.5 ? 1.0 : -1.0; }), "square");
  none(beside([&](double hz, double t) { return turn(hz, t) < 0.125 ? 1.0 : -1.0; }), "pulse");
  none(beside([&](double hz, double t) { return 4 * std::abs(turn(hz, t) - 0.5) - 1; }), "triangle");
  none(beside([&](double hz, double t) { return 2 * turn(hz, t) - 1; }), "sawtooth");
  // The steady state of a square behind a first-order low pass of 2 kHz (textbook RC, tau = 80 us).
  none(beside([&](double hz, double t) {
         const double p = turn(hz, t);
         const double into_s = (p < 0.5 ? p : p - 0.5) / hz;
         return (p < 0.5 ? 1 : -1) * (1 - 2 * std::exp(-into_s / 80e-6));
       }),
       "square behind a low pass");
  none(beside([](double hz, double t) { return std::tanh(3 * std::sin(2 * std::numbers::pi * hz * t)); }),
       "saturated");
  // Rounded to 8 bit: a step is 256 of 16 bit.
  synth::Samples coarse = programme(10.0, 1);
  const float loud = 0.5F / peak_of(coarse);
  for (std::size_t i = 0; i < coarse.size(); ++i)
    coarse[i] = std::round(128 * loud * (i % 96000 < 48000 ? 0.3F : 1.0F) * coarse[i]) / 128;
  none(coarse, "8 bit");
  // Values that stand still at one level now and then.
  synth::Samples stuck = programme(10.0, 2);
  const float half = 0.5F / peak_of(stuck);
  for (float& v : stuck) v *= half;
  std::mt19937 gen(4);
  for (int k = 0; k < 200; ++k) {
    const std::size_t at = gen() % (stuck.size() - 100);
    std::fill_n(stuck.begin() + static_cast<std::ptrdiff_t>(at), 3 + gen() % 60, 0.2F);
  }
  none(stuck, "stuck values");
}

}  // namespace
