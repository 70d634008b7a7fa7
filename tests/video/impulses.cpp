// Sparkle is counted and nothing else is. Impulses are put in at random times, so that their number in any
// stretch is Poisson's and their rate is known; what has none are clean signals and what a path does to them.
#include <fmt/format.h>

#include <algorithm>

#include "video/measuring.hpp"

namespace {

using namespace video_test;
using video_synth::make;
using video_synth::wave_525;
using video_synth::wave_625;

constexpr double rate = 13.5e6;

// Raised cosines of either sign, at a rate a second over the whole signal. Returns when each is at its
// middle.
std::vector<double> sparkle(std::vector<float>& v, double a_second, double from_mv, double to_mv, double us,
                            unsigned seed, double sample_hz = rate) {
  std::mt19937_64 gen(seed);
  std::exponential_distribution<double> wait(a_second);
  std::uniform_real_distribution<double> height(from_mv, to_mv);
  std::vector<double> times;
  const double end_s = static_cast<double>(v.size()) / sample_hz;
  for (double t = wait(gen); t < end_s; t += wait(gen)) {
    times.push_back(t);
    const double mv = height(gen) * (gen() % 2 == 0 ? 1 : -1);
    const double half = us * 1e-6;
    for (auto i = static_cast<std::size_t>(std::max(0.0, (t - half) * sample_hz));
         i < v.size() && static_cast<double>(i) < (t + half) * sample_hz; ++i) {
      const double x = (static_cast<double>(i) / sample_hz - t) / half;
      if (std::abs(x) < 1)
        v[i] += static_cast<float>(mv * 1e-3 * (0.5 + 0.5 * std::cos(video_synth::pi * x)));
    }
  }
  return times;
}

// Every line another one, as of a live picture.
video_synth::Picture live(const video_synth::Wave& w, unsigned seed) {
  return [w, seed](int line) {
    std::mt19937 gen(seed * 1000 + static_cast<unsigned>(line));
    std::uniform_real_distribution<double> level(20, 680), colour(-150, 150), width(0.3, 6);
    std::vector<video_synth::Piece> pieces;
    for (double at = w.active_from_us; at < 1e6 / w.line_hz - w.front_porch_us; at += width(gen))
      pieces.push_back({at, level(gen), colour(gen), colour(gen)});
    return pieces;
  };
}

void echo(std::vector<float>& v, double us, double share, double sample_hz = rate) {
  const std::vector<float> as_was = v;
  const auto late = static_cast<std::size_t>(us * 1e-6 * sample_hz);
  for (std::size_t i = late; i < v.size(); ++i) v[i] += static_cast<float>(share) * as_was[i - late];
}

TEST(VideoImpulses, TheRateIsKnownAsWellAsTheCountIs) {
  for (const bool is_625 : {true, false}) {
    video_synth::Wave w = with_bars(is_625 ? wave_625() : wave_525());
    w.noise_mv = 3;
    const std::vector<float> clean = make(w, rate, coverage::whole() ? 0.24 : 0.12);
    for (const double a_second : {700.0, 3300.0, 12000.0}) {
      coverage::expect_coverage(fmt::format("{} impulses/s, {}", a_second, is_625 ? 625 : 525).c_str(), 40,
                                [&](unsigned seed) {
                                  std::vector<float> v = clean;
                                  sparkle(v, a_second, 120, 400, 0.2 + 0.04 * (seed % 20), seed);
                                  const Reading r = get(measured(rate, std::move(v)), "video.impulses");
                                  if (!r.measured())
                                    return coverage::Trial{0, r.at_most.value_or(0), a_second};
                                  return coverage::Trial{r.number(), r.uncertainty.value_or(0), a_second};
                                });
    }
  }
}

// What a dimmer cuts comes twice in each period of the mains, at one place of it (by its definition); at
// random the same number keeps no time.
TEST(VideoImpulses, TwiceAMainsPeriodIsToldFromAnyTime) {
  video_synth::Wave w = with_bars(wave_625());
  w.noise_mv = 3;
  const std::vector<float> clean = make(w, rate, 3);
  for (const double mains_hz : {49.97, 60.03}) {
    std::vector<float> v = clean;
    for (double t = 0.0023; t < 3; t += 0.5 / mains_hz) {
      const auto at = static_cast<std::size_t>(t * rate);
      for (std::size_t k = 0; k < 40 && at + k < v.size(); ++k)
        v[at + k] += static_cast<float>(0.2 * std::exp(-static_cast<double>(k) / 20));
    }
    const Reading r = get(measured(rate, std::move(v)), "video.impulses.rhythm");
    ASSERT_TRUE(r.measured()) << mains_hz << ": " << r.reason;
    EXPECT_EQ(r.text(), "mains");
    constexpr std::string_view says = "twice in each period of ";
    ASSERT_TRUE(r.reason.starts_with(says)) << r.reason;
    EXPECT_NEAR(std::strtod(r.reason.c_str() + says.size(), nullptr), mains_hz, 0.1) << r.reason;
  }
  int told = 0;
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::vector<float> v = clean;
    sparkle(v, 100, 150, 300, 0.4, seed);
    const Reading r = get(measured(rate, std::move(v)), "video.impulses.rhythm");
    if (!r.measured()) continue;
    EXPECT_EQ(r.text(), "nothing") << seed << ": " << r.reason;
    ++told;
  }
  EXPECT_GE(told, 3);
}

TEST(VideoImpulses, InNoiseOverALivePictureAndAtOtherRates) {
  for (const double sample_hz : {13.5e6, 17.73e6, 27e6}) {
    for (const double noise : {1.0, 5.0, 12.0}) {
      video_synth::Wave w = sample_hz > 20e6 ? wave_525() : wave_625();
      w.picture = live(w, 3);
      w.noise_mv = noise;
      w.hum_pp_mv = 200;
      std::vector<float> v = make(w, sample_hz, 0.2);
      const auto times = sparkle(v, 5000, 350, 450, 0.3, 11, sample_hz);
      const Readings r = measured(sample_hz, std::move(v));
      const Reading& x = get(r, "video.impulses");
      ASSERT_TRUE(x.measured()) << noise << " mV: " << x.reason;
      EXPECT_LE(std::abs(x.number() - 5000), 1.3 * x.uncertainty.value_or(0)) << x.number();
      // The first one told is one that was put in.
      const double first = get(r, "video.impulses.time").number();
      double nearest = 1;
      for (const double t : times) nearest = std::abs(t - first) < std::abs(nearest) ? t - first : nearest;
      EXPECT_NEAR(nearest, 0, 1e-6) << sample_hz << " " << noise << " " << x.reason;
    }
  }
}

TEST(VideoImpulses, ThereAreNoneWhereNoneWerePutIn) {
  const auto none = [](const Readings& r, const char* what, bool may_refuse = false) {
    const Reading& x = get(r, "video.impulses");
    EXPECT_FALSE(x.measured()) << what << ": " << (x.measured() ? x.number() : 0) << " " << x.reason;
    if (may_refuse) return;
    EXPECT_TRUE(x.at_most.has_value()) << what << ": " << x.reason;
    EXPECT_LT(x.at_most.value_or(1e9), 500) << what;
  };
  for (const bool is_625 : {true, false}) {
    const video_synth::Wave plain = is_625 ? wave_625() : wave_525();
    for (const double noise : {0.0, 2.0, 15.0, 60.0}) {
      video_synth::Wave w = with_bars(plain);
      w.noise_mv = noise;
      none(measured(w, rate, 0.16), "bars in noise");
      w.picture = live(w, 8);
      none(measured(w, rate, 0.16), "a live picture in noise");
    }
    video_synth::Wave w = plain;
    w.picture = live(w, 5);
    w.noise_mv = 2;
    const std::vector<float> clean = make(w, rate, 0.16);
    for (const double us : {0.4, 1.7, 3.1}) {
      for (const double share : {-0.2, 0.25}) {
        std::vector<float> v = clean;
        echo(v, us, share);
        none(measured(rate, std::move(v)), "an echo", true);
      }
    }
    std::vector<float> tone = clean;
    add_tone(tone, rate, 3.1e6, 90);
    none(measured(rate, std::move(tone)), "a carrier");
    std::vector<float> narrow = clean;
    filter(narrow, rate, [](double hz) { return 1.0 / std::complex<double>(1, hz / 1.5e6); });
    none(measured(rate, std::move(narrow)), "a long cable");
    std::vector<float> coarse = clean;
    quantise(coarse, 4);
    none(measured(rate, std::move(coarse)), "steps of a converter");
    // Half a millisecond of something else, 200 times a second.
    std::vector<float> bursts = clean;
    std::mt19937 gen(4);
    std::normal_distribution<float> normal(0, 0.03F);
    for (std::size_t i = 0; i < bursts.size(); ++i) {
      if (std::fmod(static_cast<double>(i) / rate, 0.005) < 0.0006) bursts[i] += normal(gen);
    }
    // One that reaches into the picture's first line alone is taken for an impulse, and says how little it
    // is.
    const Reading x = get(measured(rate, std::move(bursts)), "video.impulses");
    EXPECT_TRUE(x.measured() ? x.number() < x.uncertainty.value_or(0) : x.at_most.has_value()) << x.reason;
  }
}

TEST(VideoImpulses, SyncMadeAnewHidesThem) {
  // The picture alone is noisy and sparkles: sync and blanking were put in behind it.
  video_synth::Wave w = with_bars(wave_625());
  std::vector<float> v = make(w, rate, 0.16);
  std::vector<float> dirty = v;
  add(dirty, noise_of(
                 v.size(), rate, [](double) { return 36e-6 * 2 / rate; }, 5));
  sparkle(dirty, 5000, 200, 400, 0.4, 2);
  const double line = rate / w.line_hz;
  const double start = (w.start_line - std::floor(w.start_line)) * line;
  for (std::size_t i = 0; i < v.size(); ++i) {
    const double t_us = std::fmod(static_cast<double>(i) + start, line) / rate * 1e6;
    if (t_us > w.active_from_us && t_us < 62) v[i] = dirty[i];
  }
  const Reading r = get(measured(rate, std::move(v)), "video.impulses");
  EXPECT_FALSE(r.measured());
  EXPECT_FALSE(r.at_most.has_value());
  EXPECT_NE(r.reason.find("made anew"), std::string::npos) << r.reason;
}

}  // namespace
