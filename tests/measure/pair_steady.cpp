// Sides that stay what they are to each other, and ones that do not: seeded voices, notes and noise.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "measure/support_readings.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;

constexpr double rate = 48000;

struct Sides {
  synth::Samples left, right;
};

synth::Samples voice(unsigned seed, double seconds = 20) {
  synth::Samples x(synth::count(seconds, rate), 0.0F);
  synth::add_voice(x, rate, 95.0 + 25 * seed, -22.0, seed);
  return x;
}

// A voice in the middle and notes that lie to one side.
Sides mix(unsigned seed) {
  Sides s{voice(seed), {}};
  s.right = s.left;
  synth::add_sine(s.left, rate, 392.0, -34.0, 0.1 * seed);
  synth::add_sine(s.right, rate, 523.3, -34.0, 0.2 * seed);
  return s;
}

Reading steady(Sides s, double noise_dbfs = -90) {
  synth::add_noise(s.left, noise_dbfs, 11);
  synth::add_noise(s.right, noise_dbfs, 12);
  return readings_support::reading(readings_support::measure(rate, {std::move(s.left), std::move(s.right)}),
                                   "audio.pair.steady");
}

std::string word(const Reading& r) { return r.measured() ? r.text() : "unmeasurable"; }

void scale(synth::Samples& x, double from_s, double to_s, float by) {
  for (std::size_t i = synth::count(from_s, rate); i < std::min(x.size(), synth::count(to_s, rate)); ++i)
    x[i] *= by;
}

TEST(PairSteady, SidesThatStayAreSteady) {
  for (unsigned seed = 0; seed < 4; ++seed) {
    Sides s = mix(seed);
    EXPECT_EQ(word(steady(s)), "steady") << seed;
    for (float& v : s.right) v = -v;
    EXPECT_EQ(word(steady(s)), "steady") << "reversed " << seed;
    // Late by 63 us, and by 5 ms.
    for (const std::size_t late : {3U, 240U}) {
      Sides d{voice(seed), {}};
      d.right.assign(d.left.size(), 0.0F);
      std::copy(d.left.begin(), d.left.end() - static_cast<std::ptrdiff_t>(late),
                d.right.begin() + static_cast<std::ptrdiff_t>(late));
      EXPECT_EQ(word(steady(d)), "steady") << "late by " << late << ", " << seed;
    }
    // Two languages: each pauses at its own times.
    EXPECT_EQ(word(steady({voice(seed), voice(seed + 7)})), "steady") << "languages " << seed;
    // Both stop: a pause of the programme.
    scale(s.left, 8, 14, 0);
    scale(s.right, 8, 14, 0);
    EXPECT_EQ(word(steady(s)), "steady") << "pause " << seed;
  }
  // Low notes that are in phase first and reversed afterwards, as two instruments may be; their overtones are
  // not.
  Sides notes{synth::Samples(synth::count(12.0, rate), 0.0F), synth::Samples(synth::count(12.0, rate), 0.0F)};
  for (std::size_t i = 0; i < notes.left.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    const double turn = t < 6 ? 1.0 : -1.0;
    notes.left[i] = static_cast<float>(0.1 * std::sin(360 * t) + 0.02 * std::sin(5100 * t));
    notes.right[i] = static_cast<float>(turn * 0.1 * std::sin(360 * t) + 0.02 * std::sin(7300 * t));
  }
  EXPECT_EQ(word(steady(notes)), "steady");
}

TEST(PairSteady, ASideThatIsLostIsNamedWithItsTime) {
  for (unsigned seed = 0; seed < 3; ++seed) {
    for (const bool left : {true, false}) {
      Sides s = mix(seed);
      scale(left ? s.left : s.right, 9.3, 99, 0);
      const Reading r = steady(s);
      EXPECT_EQ(word(r), left ? "left lost" : "right lost") << seed << r.reason;
      EXPECT_NE(r.reason.find("silent from 9."), std::string::npos) << r.reason;
      EXPECT_NE(r.reason.find("to the end"), std::string::npos) << r.reason;
      // And one that comes back.
      s = mix(seed);
      scale(left ? s.left : s.right, 6, 12.5, 0.001F);
      EXPECT_EQ(word(steady(s)), left ? "left lost" : "right lost") << seed;
    }
    // Of two languages one may have nothing to say.
    Sides languages{voice(seed), voice(seed + 7)};
    scale(languages.right, 9, 99, 0);
    EXPECT_EQ(word(steady(languages)), "right pauses") << seed;
  }
}

TEST(PairSteady, ASideThatTurnsOver) {
  for (unsigned seed = 0; seed < 3; ++seed) {
    Sides s = mix(seed);
    scale(s.right, 10, 99, -1);
    const Reading r = steady(s);
    EXPECT_EQ(word(r), "turned") << seed << r.reason;
  }
}

TEST(PairSteady, WhatCannotBeTold) {
  Sides brief{voice(1, 4), voice(1, 4)};
  EXPECT_EQ(word(steady(brief)), "unmeasurable");
  Sides one{voice(1), synth::Samples(synth::count(20.0, rate), 0.0F)};
  EXPECT_EQ(word(steady(one)), "unmeasurable");
}

}  // namespace
