// Pauses that belong to what is sent, and quiet between the pulses of a buzz: neither is a dropout. Breaks
// at random in a steady tone are.
#include <fmt/format.h>
#include <gtest/gtest.h>

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

EventsResult events_of(const synth::Samples& x, bool steady_tone_sent = false) {
  EventsAnalyser a(rate, steady_tone_sent);
  a.push(x);
  return a.finish();
}

struct Sound {
  double from_s, to_s, hz, second_hz = 0;
};

// Sounds with raised-cosine edges; each starts with its own phase.
synth::Samples sounds(double seconds, const std::vector<Sound>& list, double edge_s, double dbfs = -18) {
  synth::Samples x(synth::count(seconds, rate), 0.0F);
  const double peak = std::pow(10.0, dbfs / 20.0);
  for (const Sound& s : list) {
    for (auto i = synth::count(s.from_s, rate); i < std::min(x.size(), synth::count(s.to_s, rate)); ++i) {
      const double t = static_cast<double>(i) / rate - s.from_s;
      const double near = std::min(t, s.to_s - s.from_s - t);
      const double g = near < edge_s ? 0.5 - 0.5 * std::cos(std::numbers::pi * near / edge_s) : 1.0;
      double v = std::sin(2.0 * std::numbers::pi * s.hz * t);
      if (s.second_hz > 0) v = 0.5 * (v + std::sin(2.0 * std::numbers::pi * s.second_hz * t));
      x[i] += static_cast<float>(peak * g * v);
    }
  }
  synth::add_noise(x, -80.0, 3);
  return x;
}

// On and off in turn, over and over.
std::vector<Sound> cadence(double seconds, const std::vector<double>& on_off_s, double hz,
                           double second = 0) {
  std::vector<Sound> list;
  double t = 0.3;
  for (std::size_t k = 0; t < seconds; k += 2) {
    const double on = on_off_s[k % on_off_s.size()];
    list.push_back({t, t + on, hz, second});
    t += on + on_off_s[(k + 1) % on_off_s.size()];
  }
  return list;
}

// Cadences from memory: busy and congestion tone and two-burst ringing as ITU-T E.180 has them at various
// administrations, dialling of 70 ms on and off [ITU-T Q.24], the quarter of a second in three by which the
// left side of a stereo line-up tone is known (EBU practice), Morse at 20 words a minute (dot 60 ms).
TEST(Keying, CallTonesHaveNoDropouts) {
  const std::vector<std::pair<const char*, std::vector<Sound>>> cases{
      {"busy", cadence(30, {0.5, 0.5}, 425)},
      {"congestion", cadence(30, {0.25, 0.25}, 425)},
      {"ringing", cadence(30, {0.4, 0.2, 0.4, 2.0}, 400, 450)},
      {"call", cadence(30, {0.25, 0.15, 0.25, 0.35}, 1020)},
      {"left side", cadence(30, {2.75, 0.25}, 1000)},
      {"morse CQ", cadence(30,
                           {0.18, 0.06, 0.06, 0.06, 0.18, 0.06, 0.06, 0.18, 0.18, 0.06, 0.18, 0.06, 0.06,
                            0.06, 0.18, 0.42},
                           700)},
      {"two beeps", {{1.0, 1.25, 1000}, {1.4, 1.65, 1000}}},
  };
  for (const auto& [name, list] : cases) {
    for (const double edge_s : {0.0, 0.002, 0.005}) {
      const EventsResult r = events_of(sounds(30, list, edge_s));
      EXPECT_EQ(r.dropouts, 0U) << name << " " << edge_s;
      EXPECT_EQ(r.doubtful_pauses, 0U) << name << " " << edge_s;
    }
  }
  std::vector<Sound> digits;
  constexpr double low[] = {697, 770, 852, 941};
  constexpr double high[] = {1209, 1336, 1477};
  for (int k = 0; k < 40; ++k)
    digits.push_back({0.5 + 0.14 * k, 0.57 + 0.14 * k, low[k * 7 % 4], high[k % 3]});
  EXPECT_EQ(events_of(sounds(30, digits, 0.001)).dropouts, 0U);
}

TEST(Keying, TheReadingSaysWhatWasLeftOut) {
  const synth::Samples busy = sounds(20, cadence(20, {0.5, 0.5}, 425), 0.001);
  const Readings readings = to_readings(events_of(busy), "");
  const Reading* count = find_reading(readings, "audio.dropout.count");
  EXPECT_EQ(count->number(), 0.0);
  EXPECT_NE(count->reason.find("on the cadence of a keyed tone"), std::string::npos) << count->reason;
  // Where a steady tone was sent, nobody keys it.
  EXPECT_GE(events_of(busy, true).dropouts, 18U);
}

// Beeps with a break in the midst of some: the breaks count, the pauses do not.
TEST(Keying, BreaksBesideACadenceCount) {
  synth::Samples x = sounds(30, cadence(30, {0.5, 0.5}, 425), 0.002);
  for (const double at : {1.45, 7.52, 12.6, 20.41}) {
    for (auto i = synth::count(at, rate); i < synth::count(at + 0.03, rate); ++i) x[i] *= 1e-3F;
  }
  const EventsResult r = events_of(x);
  EXPECT_EQ(r.dropouts, 4U);
  EXPECT_GT(r.keyed_pauses, 20U);
}

// Left and right in turn, 2 s each, for 12 s: two pauses of one length behind sounds of one length.
TEST(Keying, ALeftRightTestByHandHasNoDropouts) {
  for (const double start : {0.0, 2.0}) {
    std::vector<Sound> list;
    for (double t = start; t < 12; t += 4) list.push_back({t, t + 2, 1000});
    EXPECT_EQ(events_of(sounds(12, list, 0)).dropouts, 0U) << start;
  }
  EXPECT_EQ(events_of(sounds(12, {{0, 2, 1000}, {2.31, 5, 1000}, {5.42, 12, 1000}}, 0)).dropouts, 2U);
}

// Keyed by hand: no two alike. It may be a contact, so neither number is said.
TEST(Keying, AToneKeyedByHandIsInDoubt) {
  std::mt19937 gen(7);
  std::uniform_real_distribution<double> on(0.2, 0.9);
  std::uniform_real_distribution<double> off(0.2, 1.2);
  std::vector<Sound> list;
  for (double t = 0.4; t < 28;) {
    const double s = on(gen);
    list.push_back({t, t + s, 1000});
    t += s + off(gen);
  }
  const EventsResult r = events_of(sounds(30, list, 0.001));
  EXPECT_EQ(r.dropouts, 0U);
  EXPECT_GT(r.doubtful_pauses, 10U);
  const Readings readings = to_readings(r, "");
  const Reading* count = find_reading(readings, "audio.dropout.count");
  EXPECT_EQ(count->verdict, Verdict::Unmeasurable);
  EXPECT_EQ(count->at_most, static_cast<double>(r.doubtful_pauses));
}

// A contact that breaks at random times for random lengths, or for one and the same (a recorder's buffer).
TEST(Keying, RandomBreaksInATone) {
  for (const double fixed_s : {0.0, 0.0427, 0.0853}) {
    unsigned put = 0;
    unsigned found = 0;
    for (unsigned seed = 1; seed <= 6; ++seed) {
      std::mt19937 gen(seed);
      std::exponential_distribution<double> apart(seed % 3 == 0 ? 0.3 : 1.5);
      std::uniform_real_distribution<double> length(0.005, 0.15);
      synth::Samples x(synth::count(30, rate), 0.0F);
      synth::add_sine(x, rate, 997.0, -18.0);
      for (double t = 0.5 + apart(gen); t < 29;) {
        const double s = fixed_s > 0 ? fixed_s : length(gen);
        for (auto i = synth::count(t, rate); i < synth::count(t + s, rate); ++i) x[i] = 0.0F;
        ++put;
        t += s + 0.25 + apart(gen);
      }
      synth::add_noise(x, -80.0, seed);
      found += static_cast<unsigned>(events_of(x).dropouts);
    }
    std::printf("breaks of %g s: %u of %u\n", fixed_s, found, put);
    EXPECT_GE(found, put - put / 50);
    EXPECT_LE(found, put);
  }
}

// Phase-cut mains through a small capacitance: a spike at each edge, quiet between; by itself and under a
// voice, whose pauses leave it alone.
TEST(Keying, BetweenTheSpikesOfADimmerNothingIsMissing) {
  for (const double mains_hz : {50.0, 60.02}) {
    for (const double spike_dbfs : {-38.0, -45.0}) {
      for (const bool both : {true, false}) {
        for (const double width_s : {0.0001, 0.0004}) {
          for (unsigned seed = 0; seed < 3; ++seed) {
            synth::Samples x(synth::count(8.0, rate), 0.0F);
            if (seed > 0) synth::add_voice(x, rate, 95.0 + 20 * seed, -22.0, seed + 20);
            for (int k = 0;; ++k) {
              const double t = 0.004 + (both ? 0.5 : 1.0) * k / mains_hz;
              const auto from = synth::count(t, rate);
              if (from + 200 >= x.size()) break;
              const double sign = both && k % 2 != 0 ? -1.0 : 1.0;
              for (std::size_t n = 0; n < 200; ++n) {
                const double at = static_cast<double>(from + n) / rate - t;
                if (at >= 0)
                  x[from + n] +=
                      static_cast<float>(sign * std::pow(10.0, spike_dbfs / 20.0) * std::exp(-at / width_s));
              }
            }
            synth::add_noise(x, -80.0, seed);
            EXPECT_EQ(events_of(x).dropouts, 0U) << fmt::format("{} Hz {} dBFS both {} {} s seed {}",
                                                                mains_hz, spike_dbfs, both, width_s, seed);
          }
        }
      }
    }
  }
}

}  // namespace

// A link that loses data does so on a cadence: thirteen equal straight cuts in music that moves are no keyed
// tone. Notes of half a second that die away, three at a time.
TEST(Keying, EqualBreaksInMusicAreDropouts) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    synth::Samples x(synth::count(24.0, rate), 0.0F);
    std::mt19937_64 gen(seed);
    std::uniform_real_distribution<> pitch(0, 24);
    for (double t = 0.1; t < 23; t += 0.25) {
      for (int voice = 0; voice < 3; ++voice) {
        const double hz = 110 * std::pow(2.0, std::round(pitch(gen)) / 12);
        for (auto i = synth::count(t, rate); i < std::min(x.size(), synth::count(t + 1.5, rate)); ++i) {
          const double s = static_cast<double>(i) / rate - t;
          x[i] += static_cast<float>(0.05 * std::min(1.0, s / 0.01) * std::exp(-s / 0.4) *
                                     std::sin(2 * std::numbers::pi * hz * s));
        }
      }
    }
    std::uint64_t put = 0;
    for (double t = 1.3; t < 23; t += 1.7, ++put) {
      for (auto i = synth::count(t, rate); i < synth::count(t + 0.12, rate); ++i) x[i] *= 0.0005F;
    }
    synth::add_noise(x, -95.0, seed);
    const EventsResult r = events_of(x);
    EXPECT_GE(r.dropouts, put / 2) << seed;
    EXPECT_LE(r.dropouts, put) << seed;
  }
}

// Three sines held under a voice, cut on a cadence: before the breaks in which the voice is heard it is no
// tone.
TEST(Keying, EqualBreaksInAHeldSoundUnderAVoiceAreDropouts) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    for (const double away_s : {0.06, 0.12}) {
      synth::Samples x(synth::count(24.0, rate), 0.0F);
      for (const double hz : {220.0, 277.18, 329.63}) synth::add_sine(x, rate, hz, -24.0);
      synth::add_voice(x, rate, 110, -22.0, seed);
      std::uint64_t put = 0;
      for (double t = 1.3; t < 23; t += 1.7, ++put) {
        for (auto i = synth::count(t, rate); i < synth::count(t + away_s, rate); ++i) x[i] *= 0.0005F;
      }
      synth::add_noise(x, -95.0, seed);
      const EventsResult r = events_of(x);
      EXPECT_GE(r.dropouts, put - 1) << seed << " " << away_s;
      EXPECT_LE(r.dropouts, put) << seed << " " << away_s;
    }
  }
}
