// A sweep must come back to its end; what a path may do to it is no loss. The sweep is made here from its
// definition [Farina 2000], cuts and filters are put in by construction.
#include <array>
#include <cmath>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/response.hpp>
#include <linebench/measure/sent.hpp>
#include <numbers>

#include "measure/support_readings.hpp"
#include "support/synth.hpp"

using namespace readings_support;
using namespace linebench;
using synth::Samples;

namespace {

constexpr double rate = 48000;

struct Course {
  const char* signal;
  double from_hz, to_hz, seconds;
  [[nodiscard]] double growth_s() const { return seconds / std::log(to_hz / from_hz); }
  [[nodiscard]] double time_of(double hz) const { return growth_s() * std::log(hz / from_hz); }
};

// As the recipes say.
constexpr std::array courses = {Course{"sweep-speech", 70, 7500, 8}, Course{"sweep-wide", 14, 21900, 12}};
constexpr double lead_s = 0.4;

Samples swept(const Course& c, double dbfs = -30) {
  Samples x(synth::count(c.seconds, rate));
  const double l = c.growth_s();
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    const double fade = std::min({1.0, t / 0.5, (c.seconds - t) / 0.05});
    x[i] =
        static_cast<float>(std::pow(10.0, dbfs / 20) * std::pow(std::sin(0.5 * std::numbers::pi * fade), 2) *
                           std::sin(2 * std::numbers::pi * c.from_hz * l * std::expm1(t / l)));
  }
  Samples out(synth::count(lead_s, rate));
  out.insert(out.end(), x.begin(), x.end());
  out.resize(out.size() + synth::count(2, rate));
  return out;
}

Readings come_back(Samples x, const Course& c, double noise_dbfs = -75, std::uint64_t seed = 1) {
  synth::add_noise(x, noise_dbfs, seed);
  measure::AudioOptions options;
  options.signal = c.signal;
  return readings_support::measure(rate, {std::move(x)}, options);
}

void away(Samples& x, double from_s, double to_s) {
  for (std::size_t i = synth::count(from_s, rate); i < std::min(x.size(), synth::count(to_s, rate)); ++i)
    x[i] = 0;
}

void through(Samples& x, dsp::Cascade filter) {
  for (float& v : x) v = static_cast<float>(filter.step(v));
}

// Nothing at all above, everything below: steeper than any filter that is built.
void brick(Samples& x, double above_hz) {
  dsp::RealFft fft(dsp::next_fast_size(2 * x.size()));
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  std::copy(x.begin(), x.end(), fft.input().begin());
  fft.forward();
  const auto n = static_cast<double>(fft.size());
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    if (static_cast<double>(k) * rate / n > above_hz) fft.output()[k] = 0;
  }
  fft.inverse();
  for (std::size_t i = 0; i < x.size(); ++i) x[i] = static_cast<float>(fft.input()[i] / n);
}

void expect_none(Samples x, const Course& c, const std::string& what, double noise_dbfs = -75) {
  const Readings r = come_back(std::move(x), c, noise_dbfs);
  const Reading& count = reading(r, "audio.dropout.count");
  EXPECT_TRUE(!count.measured() || count.number() == 0) << c.signal << ": " << what;
}

}  // namespace

TEST(SweepLoss, ASweepThatDiesIsLostToItsEnd) {
  for (const Course& c : courses) {
    for (const double hz : {350.0, 900.0, 2300.0, 4500.0, 5800.0}) {
      for (const double noise : {-90.0, -58.0}) {
        const double at = lead_s + c.time_of(hz);
        Samples x = swept(c);
        away(x, at, 100);
        const Readings r = come_back(std::move(x), c, noise);
        ASSERT_EQ(value(r, "audio.dropout.count"), 1) << c.signal << " " << hz;
        const auto& times = reading(r, "audio.dropout.times").curve();
        EXPECT_NEAR(times.x.front(), at, 0.011);
        EXPECT_NEAR(times.y.front(), c.seconds - c.time_of(hz), 0.1) << hz;
        EXPECT_NE(reading(r, "audio.dropout.count").reason.find("to the end"), std::string::npos);
      }
    }
  }
}

// A sixth of a second of a sweep of eight.
TEST(SweepLoss, TheLastFiftiethIsMissedToo) {
  const Course& c = courses[0];
  for (const double share : {0.95, 0.98}) {
    const double at = lead_s + share * c.seconds;
    Samples x = swept(c);
    away(x, at, 100);
    const Readings r = come_back(std::move(x), c);
    ASSERT_EQ(value(r, "audio.dropout.count"), 1) << share;
    EXPECT_NEAR(reading(r, "audio.dropout.times").curve().x.front(), at, 0.011);
  }
}

TEST(SweepLoss, AGapIsOneDropout) {
  for (const Course& c : courses) {
    for (const double length : {0.1, 0.7, 2.4}) {
      const double at = lead_s + c.time_of(700);
      Samples x = swept(c);
      away(x, at, at + length);
      const Readings r = come_back(std::move(x), c);
      ASSERT_EQ(value(r, "audio.dropout.count"), 1) << c.signal << " " << length;
      const auto& times = reading(r, "audio.dropout.times").curve();
      EXPECT_NEAR(times.x.front(), at, 0.011);
      EXPECT_NEAR(times.y.front(), length, 0.021);
    }
  }
}

TEST(SweepLoss, WhatAPathDoesIsNoLoss) {
  for (const Course& c : courses) {
    expect_none(swept(c), c, "nothing done");
    expect_none(swept(c), c, "in noise", -45);
    for (const double hz : {800.0, 3400.0, 4000.0, 7000.0}) {
      Samples sharp = swept(c);
      brick(sharp, hz);
      expect_none(sharp, c, "a low pass without a slope at " + std::to_string(hz));
      Samples steep = swept(c);
      through(steep, dsp::butterworth_lowpass(12, hz, rate));
      expect_none(steep, c, "a low pass of order 12 at " + std::to_string(hz));
    }
    Samples capacitor = swept(c);
    through(capacitor, dsp::butterworth_lowpass(1, 1500, rate));
    expect_none(capacitor, c, "a capacitor across the line");
    for (const double ms : {0.5, 3.0, 25.0, 60.0}) {
      Samples two = swept(c);
      const std::size_t late = synth::count(ms / 1000, rate);
      for (std::size_t i = two.size(); i-- > late;) two[i] += two[i - late];
      expect_none(two, c, "an echo as loud as itself after " + std::to_string(ms) + " ms");
    }
    Samples stopped = swept(c);
    stopped.resize(synth::count(lead_s + 5, rate));
    expect_none(stopped, c, "the recorder was stopped first");
    Samples quiet = swept(c, -60);
    for (int h = 1; h < 40; ++h) synth::add_sine(quiet, rate, 50.02 * h, -40 - h);
    expect_none(quiet, c, "hum louder than it");
    expect_none(Samples(synth::count(10, rate)), c, "a dead path");
  }
}

TEST(SweepLoss, AResponseIsNotReadFromABrokenSweep) {
  const Course& c = courses[0];
  for (const bool broken : {false, true}) {
    Samples x = swept(c);
    if (broken) away(x, lead_s + 3.9, lead_s + 4.8);
    synth::add_noise(x, -75, 3);
    synth::MemorySource sent(rate, {swept(c)});
    synth::MemorySource returned(rate, {x});
    Readings r = come_back(x, c);
    for (Reading& more : measure::measure_response(sent, returned)) r.push_back(std::move(more));
    CaptureFacts facts;
    facts.channels = 1;
    measure::add_signal_readings(r, facts, measure::Sent{.name = c.signal, .response = true, .swept = true});
    EXPECT_EQ(reading(r, "audio.signal").text(), "present");
    for (const char* id : {"audio.response", "audio.response.gain", "audio.response.polarity"})
      EXPECT_EQ(measured(r, id), !broken) << id;
  }
}
