// Clipping, clicks and dropouts put into signals at known places, and signals that have none.
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

EventsResult events_of(const synth::Samples& x, double rate) {
  EventsAnalyser a(rate);
  constexpr std::size_t block = 4096;
  for (std::size_t at = 0; at < x.size(); at += block) {
    a.push(std::span(x).subspan(at, std::min(block, x.size() - at)));
  }
  return a.finish();
}

void quantise(synth::Samples& x, int bits) {
  const float full = std::ldexp(1.0F, bits - 1);
  for (float& v : x) v = std::clamp(std::round(v * full), -full, full - 1.0F) / full;
}

void expect_nothing(const EventsResult& r, const std::string& what) {
  EXPECT_EQ(r.clipped_samples, 0U) << what;
  EXPECT_EQ(r.clicks, 0U) << what << (r.click_times.empty() ? 0.0 : r.click_times[0].time_s);
  EXPECT_EQ(r.dropouts, 0U) << what << (r.dropout_times.empty() ? 0.0 : r.dropout_times[0].time_s);
}

TEST(Events, CleanSinesOfAnyFrequencyHaveNone) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double hz : {5.0, 20.0, 50.0, 100.0, 315.0, 997.0, 1000.0, 3000.0, 6000.0, 12000.0, 15000.0}) {
      for (const double level : {0.0, -0.01, -20.0}) {
        for (const int bits : {16, 24}) {
          synth::Samples x(synth::count(1.5, rate), 0.0F);
          synth::add_sine(x, rate, hz, level, 0.3);
          quantise(x, bits);
          expect_nothing(events_of(x, rate), std::to_string(hz) + " Hz " + std::to_string(level));
        }
      }
    }
  }
}

TEST(Events, NoiseVoiceAndSilenceHaveNone) {
  for (const double rate : {44100.0, 48000.0}) {
    synth::Samples noise(synth::count(20.0, rate), 0.0F);
    expect_nothing(events_of(noise, rate), "silence");
    synth::add_noise(noise, -20.0, 3);
    expect_nothing(events_of(noise, rate), "noise");
    for (unsigned seed = 0; seed < 6; ++seed) {
      synth::Samples voice(synth::count(10.0, rate), 0.0F);
      synth::add_voice(voice, rate, 90.0 + 30 * seed, -22.0, seed);
      synth::add_noise(voice, -80.0, seed);
      expect_nothing(events_of(voice, rate), "voice " + std::to_string(seed));
    }
  }
}

TEST(Events, ClippedSamplesAreCountedExactly) {
  for (const double rate : {44100.0, 48000.0, 192000.0}) {
    for (const double hz : {50.0, 997.0, 1000.0}) {
      for (const double limit : {1.0, 0.5}) {
        synth::Samples x(synth::count(2.0, rate), 0.0F);
        synth::add_sine(x, rate, hz, 20 * std::log10(limit) + 3.0, 0.2);
        std::uint64_t truth = 0;
        for (float& v : x) {
          const auto top = static_cast<float>(limit);
          truth += std::abs(v) >= top ? 1 : 0;
          v = std::clamp(v, -top, top);
        }
        const EventsResult r = events_of(x, rate);
        // A slope's sample that comes within half a 16-bit step of the rail counts as on it: a few in 100
        // 000.
        EXPECT_GE(r.clipped_samples, truth) << hz << " Hz at " << rate;
        EXPECT_LE(r.clipped_samples, truth + truth / 5000 + 1) << hz << " Hz at " << rate;
        EXPECT_NEAR(r.clip_level, limit, 1e-4);
        EXPECT_EQ(r.clicks, 0U) << hz;
        EXPECT_EQ(r.dropouts, 0U) << hz;
      }
    }
  }
}

TEST(Events, OneBurstOfClippingHasItsTime) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(4.0, rate), 0.0F);
  synth::add_sine(x, rate, 400.0, -12.0);
  for (std::size_t i = 96000; i < 98400; ++i) x[i] = std::clamp(x[i] * 6.0F, -1.0F, 1.0F);
  const EventsResult r = events_of(x, rate);
  ASSERT_FALSE(r.clips.empty());
  EXPECT_NEAR(r.clips.front().time_s, 2.0, 0.003);
  EXPECT_NEAR(r.clips.back().time_s, 2.05, 0.003);
  EXPECT_NEAR(r.clip_level, 1.0, 1e-4);
}

TEST(Events, AnalogueClippingUnderFullScaleWithNoise) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(3.0, rate), 0.0F);
  synth::add_sine(x, rate, 700.0, -3.0);
  for (float& v : x) v = std::clamp(v, -0.5F, 0.5F);
  synth::add_noise(x, -70.0, 3);
  quantise(x, 16);
  const EventsResult r = events_of(x, rate);
  EXPECT_GT(r.clips.size(), 900U);
  EXPECT_NEAR(r.clip_level, 0.5, 0.005);
  EXPECT_LT(std::abs(r.clip_level - 0.5), 2.0 * r.clip_level_u + 0.001);
}

// Soft saturation as tanh [common practice for a stage that overloads gradually] and square waves are no
// clipping; a cut one tenth of a dB below the crest is, at any level.
TEST(Events, SaturationAndSquareWavesAreNotClipping) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double hz : {100.0, 440.3, 997.0, 3000.0}) {
      synth::Samples sine(synth::count(2.0, rate), 0.0F);
      synth::add_sine(sine, rate, hz, 0.0, 0.2);
      synth::Samples noise(sine.size(), 0.0F);
      synth::add_noise(noise, -80.0, 4);
      const auto made = [&](const auto& curve) {
        synth::Samples x(sine.size());
        for (std::size_t i = 0; i < x.size(); ++i) x[i] = curve(sine[i]) + noise[i];
        return events_of(x, rate);
      };
      const std::string what = std::to_string(hz) + " Hz at " + std::to_string(rate);
      for (const float drive : {1.0F, 2.0F, 3.0F, 5.0F}) {
        const auto soft = made([&](float v) { return 0.7F * std::tanh(drive * v); });
        EXPECT_EQ(soft.clipped_samples, 0U) << what << " driven " << drive;
      }
      EXPECT_EQ(made([](float v) { return std::copysign(0.5F, v); }).clipped_samples, 0U) << what;
      float rounded = 0;
      const auto slow = made([&](float v) { return rounded += 0.3F * (std::copysign(0.5F, v) - rounded); });
      EXPECT_EQ(slow.clipped_samples, 0U) << what;
      for (const float level : {1.0F, 0.6F, 0.1F}) {
        for (const float drive : {1.05F, 1.5F, 4.0F}) {
          const auto hard = made([&](float v) { return std::clamp(drive * level * v, -level, level); });
          // Of a short crest cut by 0.4 dB only a sample or two may be level.
          if (drive < 1.1F && hz > 0.02 * rate) continue;
          EXPECT_GT(hard.clips.size(), static_cast<std::size_t>(std::min(900.0, 3.0 * hz)))
              << what << " " << level;
          EXPECT_NEAR(hard.clip_level, static_cast<double>(level), 0.003 * static_cast<double>(level))
              << what;
        }
      }
    }
  }
}

TEST(Events, ClicksAreCountedExactlyWithTheirTimes) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const int under : {0, 1, 2, 3}) {
      synth::Samples x(synth::count(10.0, rate), 0.0F);
      if (under > 0) synth::add_noise(x, -90.0, 1);
      if (under == 2) synth::add_sine(x, rate, 1000.0, -20.0);
      if (under == 3) synth::add_noise(x, -50.0, 2);
      const std::vector<double> times{0.7, 1.9003, 3.3333, 5.05, 8.1};
      for (std::size_t k = 0; k < times.size(); ++k) {
        const std::size_t at = synth::count(times[k], rate);
        // A spike of one to five samples, or one that rings.
        for (std::size_t i = 0; i < 1 + k; ++i) x[at + i] += (i % 2 == 0 ? 0.2F : -0.1F);
      }
      const EventsResult r = events_of(x, rate);
      ASSERT_EQ(r.clicks, times.size()) << rate << " under " << under;
      for (std::size_t k = 0; k < times.size(); ++k) EXPECT_NEAR(r.click_times[k].time_s, times[k], 0.001);
      EXPECT_EQ(r.dropouts, 0U);
      EXPECT_EQ(r.clipped_samples, 0U);
    }
  }
}

TEST(Events, ClicksUnderAVoice) {
  constexpr double rate = 48000;
  int found = 0;
  int extra = 0;
  for (unsigned seed = 0; seed < 5; ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_voice(x, rate, 110.0 + 20 * seed, -26.0, seed + 70);
    synth::add_noise(x, -80.0, seed);
    for (int k = 0; k < 8; ++k) x[synth::count(0.9 + 1.1 * k, rate)] += 0.7F;
    const EventsResult r = events_of(x, rate);
    for (const Event& e : r.click_times) {
      const double k = (e.time_s - 0.9) / 1.1;
      (std::abs(k - std::round(k)) * 1.1 < 0.001 ? found : extra)++;
    }
  }
  EXPECT_EQ(found, 40);
  EXPECT_EQ(extra, 0);
}

TEST(Events, StartsAndFadesOfTonesAreNotClicks) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(6.0, rate), 0.0F);
  synth::Samples tone(x.size(), 0.0F);
  synth::add_sine(tone, rate, 997.0, -10.0, 0.9);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    double g = 0;
    if (t > 0.5 && t < 1.5) g = 1;                                          // abrupt start and end
    if (t > 2 && t < 4) g = std::min({1.0, (t - 2) * 100, (4 - t) * 100});  // faded by 10 ms
    x[i] = static_cast<float>(g) * tone[i];
  }
  synth::add_noise(x, -80.0, 9);
  expect_nothing(events_of(x, rate), "gated tone ");
}

// A ringer's two tones in turn, their phase broken at each change, for 1 s on and 1 s off: the steps are its
// own. A step in the phase of one tone is a break all the same.
TEST(Events, TheToneChangesOfARingerAreNotClicks) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double turn_s : {0.025, 0.05, 0.0731}) {
      synth::Samples x(synth::count(8.0, rate), 0.0F);
      for (std::size_t i = 0; i < x.size(); ++i) {
        const double t = static_cast<double>(i) / rate;
        const double in = std::fmod(t, turn_s);
        const double hz = std::fmod(t, 2 * turn_s) < turn_s ? 800 : 1000;
        if (std::fmod(t, 2.0) < 1.0)
          x[i] = static_cast<float>(0.2 * std::sin(2 * std::numbers::pi * hz * in + 0.7));
      }
      synth::add_noise(x, -70.0, 9);
      EXPECT_EQ(events_of(x, rate).clicks, 0U) << rate << " " << turn_s;
    }
    synth::Samples broken(synth::count(4.0, rate), 0.0F);
    for (std::size_t i = 0; i < broken.size(); ++i) {
      const double t = static_cast<double>(i) / rate;
      broken[i] = static_cast<float>(0.2 * std::sin(2 * std::numbers::pi * 1000 * t + (t > 2.1002 ? 2 : 0)));
    }
    synth::add_noise(broken, -70.0, 9);
    EXPECT_EQ(events_of(broken, rate).clicks, 1U) << rate;
  }
}

TEST(Events, DropoutsAreCountedExactlyWithTheirTimes) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double hz : {100.0, 997.0, 5000.0}) {
      for (const double rest_db : {-200.0, -65.0}) {
        synth::Samples x(synth::count(8.0, rate), 0.0F);
        synth::add_sine(x, rate, hz, -20.0, 0.4);
        const std::vector<double> times{1.0, 2.2222, 4.5, 6.00042};
        const std::vector<double> lengths{0.003, 0.010, 0.3, 0.05};
        for (std::size_t k = 0; k < times.size(); ++k) {
          const std::size_t from = synth::count(times[k], rate);
          std::fill_n(x.begin() + static_cast<std::ptrdiff_t>(from), synth::count(lengths[k], rate), 0.0F);
        }
        synth::add_noise(x, rest_db, 4);
        const EventsResult r = events_of(x, rate);
        ASSERT_EQ(r.dropouts, times.size()) << rate << " " << hz << " " << rest_db;
        for (std::size_t k = 0; k < times.size(); ++k) {
          EXPECT_NEAR(r.dropout_times[k].time_s, times[k], 0.001);
          EXPECT_NEAR(r.dropout_times[k].strength, lengths[k], 0.001);
        }
        EXPECT_EQ(r.clicks, 0U) << rate << " " << hz;
        EXPECT_EQ(r.clipped_samples, 0U);
      }
    }
  }
}

// A connection that breaks in the midst of a voice, whole (digital zero) or to a floor 40 dB down; and the
// same voice whole, whose pauses and stops are none (NoiseVoiceAndSilenceHaveNone too).
TEST(Events, CutsInAVoiceAreDropouts) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const float floor : {0.0F, 0.01F}) {
      int cuts = 0;
      int found = 0;
      for (unsigned seed = 0; seed < 6; ++seed) {
        synth::Samples x(synth::count(12.0, rate), 0.0F);
        synth::add_voice(x, rate, 95.0 + 25 * seed, -22.0, seed + 300);
        synth::add_noise(x, -80.0, seed);
        const auto loudest = [&](double from_s, double to_s) {
          float top = 0;
          for (auto i = synth::count(from_s, rate); i < synth::count(to_s, rate); ++i)
            top = std::max(top, std::abs(x[i]));
          return top;
        };
        std::vector<std::pair<double, double>> put;
        const double lengths[] = {0.002, 0.003, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5};
        for (double t = 0.5; t < 11.0 && put.size() < 9; t += 0.0173) {
          const double length = lengths[put.size()];
          if (!put.empty() && t < put.back().first + put.back().second + 0.7) continue;
          // In the midst of sound on both sides.
          if (loudest(t - 0.004, t) < 0.05F || loudest(t - 0.02, t - 0.01) < 0.05F) continue;
          if (loudest(t + length, t + length + 0.003) < 0.05F) continue;
          put.emplace_back(t, length);
        }
        for (const auto& [t, length] : put) {
          for (auto i = synth::count(t, rate); i < synth::count(t + length, rate); ++i) x[i] *= floor;
        }
        const EventsResult r = events_of(x, rate);
        cuts += static_cast<int>(put.size());
        for (const Event& e : r.dropout_times) {
          const bool one = std::any_of(put.begin(), put.end(), [&](const auto& c) {
            return std::abs(c.first - e.time_s) < 0.003 && std::abs(c.second - e.strength) < 0.004;
          });
          EXPECT_TRUE(one) << "none at " << e.time_s << " s, " << e.strength << " s long, seed " << seed;
          found += one ? 1 : 0;
        }
      }
      std::printf("%g Hz, floor %g: %d of %d cuts found\n", rate, static_cast<double>(floor), found, cuts);
      EXPECT_GT(cuts, 30);
      EXPECT_GT(found, (floor > 0 ? 6 : 8) * cuts / 10);
    }
  }
}

// A contact ticks as it closes again (common practice).
TEST(Events, DropoutsThatEndWithATick) {
  for (const double rate : {16000.0, 48000.0}) {
    synth::Samples x(synth::count(6.0, rate), 0.0F);
    synth::add_sine(x, rate, 1000.0, -18.0);
    const std::vector<double> times{1.31, 3.07, 3.64};
    for (const double t : times) {
      const std::size_t from = synth::count(t, rate);
      const std::size_t length = synth::count(0.06, rate);
      std::fill_n(x.begin() + static_cast<std::ptrdiff_t>(from), length, 0.0F);
      float tick = 0.35F;
      for (std::size_t n = 0; n < 12; ++n, tick *= -0.6F) x[from + length + n] += tick;
    }
    synth::add_noise(x, -84.0, 5);
    const EventsResult r = events_of(x, rate);
    ASSERT_EQ(r.dropouts, times.size()) << rate;
    for (std::size_t k = 0; k < times.size(); ++k) EXPECT_NEAR(r.dropout_times[k].time_s, times[k], 0.001);
  }
}

TEST(Events, AMillionClicksStayInBounds) {
  constexpr double rate = 48000;
  synth::Samples x(synth::count(60.0, rate), 0.0F);
  for (std::size_t i = 1000; i + 10 < x.size(); i += 2000) x[i] = 0.5F;
  const EventsResult r = events_of(x, rate);
  EXPECT_EQ(r.clicks, 1440U);
  EXPECT_EQ(r.click_times.size(), most_events_kept);
  const Readings readings = to_readings(r, ".left");
  EXPECT_EQ(find_reading(readings, "audio.click.count.left")->number(), 1440.0);
}

TEST(Events, OddInput) {
  expect_nothing(events_of({}, 48000), "empty");
  expect_nothing(events_of(synth::Samples(7, 0.3F), 48000), "seven samples");
  expect_nothing(events_of(synth::Samples(96000, 0.3F), 48000), "dc");
  EXPECT_EQ(to_readings(events_of(synth::Samples(7, 0.3F), 48000), "").front().verdict,
            Verdict::Unmeasurable);
}

}  // namespace
