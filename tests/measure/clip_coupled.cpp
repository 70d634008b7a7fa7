// Tops that were cut before a coupling capacitor, and signals behind one that were never cut. The capacitor
// is the RC high pass of the textbooks, tau dy/dt + y = tau dx/dt, by the trapezoidal rule.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/measure/events.hpp>
#include <numbers>

#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 48000;

synth::Samples coupled(const synth::Samples& x, double corner_hz) {
  const double w = std::numbers::pi * corner_hz / rate;
  synth::Samples y(x.size());
  double before = 0, out = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const auto now = static_cast<double>(x[i]);
    out = ((now - before) + (1 - w) * out) / (1 + w);
    before = now;
    y[i] = static_cast<float>(out);
  }
  return y;
}

// A voice over three low notes and their octaves.
synth::Samples programme(unsigned seed) {
  synth::Samples x(synth::count(12.0, rate), 0.0F);
  synth::add_voice(x, rate, 100.0 + 20 * seed, -18.0, seed);
  for (const double hz : {82.41, 110.0, 146.83, 220.0, 293.66, 440.0})
    synth::add_sine(x, rate, hz * std::pow(2.0, seed / 12.0), -30.0, 0.4 * seed);
  return x;
}

EventsResult events_of(const synth::Samples& x) {
  EventsAnalyser a(rate);
  for (std::size_t at = 0; at < x.size(); at += 4096)
    a.push(std::span(x).subspan(at, std::min<std::size_t>(4096, x.size() - at)));
  return a.finish();
}

TEST(CoupledClipping, IsFoundBehindAnyOutputsCapacitor) {
  double least = 1;
  for (const double over_db : {6.0, 10.0, 14.0, 18.0}) {
    for (const double corner : {1.6, 5.0, 6.5, 8.0, 12.5, 16.0, 20.0, 25.0}) {
      for (const double noise_dbfs : {-95.0, -78.0}) {
        synth::Samples x = programme(static_cast<unsigned>(over_db) % 5);
        float top = 0;
        for (const float v : x) top = std::max(top, std::abs(v));
        top *= static_cast<float>(std::pow(10.0, -over_db / 20));
        std::uint64_t truth = 0;
        for (float& v : x) {
          truth += std::abs(v) >= top ? 1 : 0;
          v = std::clamp(v, -top, top);
        }
        x = coupled(x, corner);
        synth::add_noise(x, noise_dbfs, 7);
        const EventsResult r = events_of(x);
        const double share = static_cast<double>(r.clipped_samples) / static_cast<double>(truth);
        EXPECT_GT(share, 0.0) << over_db << " dB over, " << corner << " Hz, noise " << noise_dbfs;
        EXPECT_LT(share, 1.1) << over_db << " dB over, " << corner << " Hz";
        if (r.clipped_samples > 0 && r.clip_coupled_hz > 0) {
          EXPECT_NEAR(r.clip_coupled_hz, corner, 5.0) << over_db << " dB over";
        }
        least = std::min(least, share);
      }
    }
  }
  RecordProperty("least_share", std::to_string(least));
}

// The source's and the recorder's: leaning as behind one of their sum.
TEST(CoupledClipping, TwoCapacitorsInARow) {
  synth::Samples x = programme(2);
  float top = 0;
  for (const float v : x) top = std::max(top, std::abs(v));
  for (float& v : x) v = std::clamp(v, -top / 5, top / 5);
  x = coupled(coupled(x, 8.0), 4.0);
  synth::add_noise(x, -90, 3);
  const EventsResult r = events_of(x);
  EXPECT_GT(r.clipped_samples, 1000U);
  EXPECT_NEAR(r.clip_coupled_hz, 12.0, 4.0);
  for (const Reading& said : to_readings(r, "")) {
    if (said.id == "audio.clip.samples") {
      EXPECT_NE(said.reason.find("coupling capacitor"), std::string::npos) << said.reason;
    }
  }
}

TEST(CoupledClipping, IsNotFoundInWhatWasNeverCut) {
  for (const double corner : {3.0, 8.0, 20.0}) {
    for (unsigned seed = 0; seed < 4; ++seed) {
      synth::Samples x = programme(seed);
      EXPECT_EQ(events_of(coupled(x, corner)).clipped_samples, 0U) << corner << " Hz, seed " << seed;
      // Driven into a stage that rounds its tops.
      for (float& v : x) v = 0.2F * std::tanh(v * 15.0F);
      synth::add_noise(x, -90, seed);
      EXPECT_EQ(events_of(coupled(x, corner)).clipped_samples, 0U) << "soft, " << corner << ", seed " << seed;
    }
    // Test signals of flat and straight parts, and bursts that switch on and off.
    for (const double hz : {5.0, 20.0, 50.0, 217.0, 1000.0}) {
      synth::Samples square(synth::count(3.0, rate)), triangle(square.size()), keyed(square.size());
      for (std::size_t i = 0; i < square.size(); ++i) {
        const double turn = std::fmod(hz * static_cast<double>(i) / rate, 1.0);
        square[i] = turn < 0.5 ? 0.3F : -0.3F;
        triangle[i] = static_cast<float>(1.2 * std::abs(turn - 0.5) - 0.3);
        keyed[i] = turn < 0.125 ? 0.1F : 0.0F;
      }
      for (const auto* x : {&square, &triangle, &keyed})
        EXPECT_EQ(events_of(coupled(*x, corner)).clipped_samples, 0U) << corner << " Hz, " << hz << " Hz, "
                                                                      << (x == &square     ? "square"
                                                                          : x == &triangle ? "triangle"
                                                                                           : "keyed");
      synth::Samples sine(synth::count(3.0, rate), 0.0F);
      synth::add_sine(sine, rate, hz, -6.0, 0.3);
      EXPECT_EQ(events_of(coupled(sine, corner)).clipped_samples, 0U) << corner << ", sine " << hz;
    }
  }
}

TEST(CoupledClipping, SamplesThatAreNoNumbersDoNotBlindIt) {
  synth::Samples x = programme(1);
  float top = 0;
  for (const float v : x) top = std::max(top, std::abs(v));
  for (float& v : x) v = std::clamp(v, -top / 5, top / 5);
  x = coupled(x, 12.0);
  x[1000] = std::nanf("");
  EXPECT_GT(events_of(x).clipped_samples, 1000U);
}

}  // namespace
