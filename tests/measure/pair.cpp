// Left against right: delay, polarity and gain of what both share, over programmes made here.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>
#include <cstdio>
#include <functional>
#include <linebench/measure/pair.hpp>
#include <random>

#include "support/coverage.hpp"
#include "support/stopwatch.hpp"
#include "support/synth.hpp"

namespace {

using linebench::find_reading;
using linebench::Readings;
using linebench::measure::PairAnalyser;
using synth::Samples;

Readings analyse(double rate, const Samples& l, const Samples& r, std::size_t chunk = 5000) {
  PairAnalyser a(rate);
  for (std::size_t n = 0; n < l.size(); n += chunk) {
    const std::size_t part = std::min(chunk, l.size() - n);
    a.push(std::span(l).subspan(n, part), std::span(r).subspan(n, part));
  }
  return a.finish();
}

double number(const Readings& r, const char* id) {
  const auto* x = find_reading(r, id);
  EXPECT_NE(x, nullptr) << id;
  EXPECT_TRUE(x->measured()) << id << ": " << x->reason;
  return x->measured() ? x->number() : static_cast<double>(NAN);
}

// Random sines up to `top`, evaluated at any time: a band-limited noise whose delay is exact to any fraction.
class Noise {
 public:
  Noise(double low, double top, int lines, std::uint64_t seed) {
    std::mt19937_64 gen(seed);
    std::uniform_real_distribution<double> u(0.0, 1.0);
    for (int i = 0; i < lines; ++i) {
      hz_.push_back(low + (top - low) * (i + u(gen)) / lines);
      phase_.push_back(2 * std::numbers::pi * u(gen));
    }
  }
  [[nodiscard]] Samples at(double rate, double seconds, double delay_s, double rms) const {
    Samples x(synth::count(seconds, rate), 0.0F);
    const double a = rms * std::sqrt(2.0 / static_cast<double>(hz_.size()));
    for (std::size_t i = 0; i < hz_.size(); ++i) {
      // Rotation instead of a sine a sample: a test has to be quick too.
      const double w = 2 * std::numbers::pi * hz_[i] / rate;
      std::complex<double> z = std::polar(a, phase_[i] - 2 * std::numbers::pi * hz_[i] * delay_s);
      const std::complex<double> turn = std::polar(1.0, w);
      for (float& v : x) {
        v += static_cast<float>(z.real());
        z *= turn;
      }
    }
    return x;
  }

 private:
  std::vector<double> hz_, phase_;
};

TEST(Pair, DelayPolarityAndGainAtEveryRate) {
  const Noise programme(80, 7000, 150, 5);
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    for (const double delay_s : {0.0, 0.31e-3, -1.2345e-3, 27.7e-3}) {
      for (const double sign : {1.0, -1.0}) {
        Samples l = programme.at(rate, 1.0, 0, 0.1);
        Samples r = programme.at(rate, 1.0, delay_s, 0.1 * sign * std::pow(10, -3.0 / 20));
        synth::add_noise(l, -60, 1);
        synth::add_noise(r, -60, 2);
        const Readings x = analyse(rate, l, r);
        EXPECT_EQ(number(x, "audio.pair.polarity"), sign) << rate << " " << delay_s;
        EXPECT_NEAR(number(x, "audio.pair.delay") * rate, delay_s * rate, 0.2)
            << rate << " " << delay_s << " " << sign;
        EXPECT_NEAR(number(x, "audio.pair.gain"), -3.0, 0.2) << rate << " " << delay_s;
        // One programme on both sides, whatever the level and the delay; turned over it is another fault.
        EXPECT_EQ(find_reading(x, "audio.pair.sides")->text(), sign > 0 ? "mono" : "both");
      }
    }
  }
}

TEST(Pair, DecorrelatedProgrammeStillShowsWhatIsShared) {
  const Noise shared(100, 6000, 300, 9), left_only(100, 6000, 300, 10), right_only(100, 6000, 300, 11);
  Samples l = shared.at(48000, 6, 0, 0.05);
  Samples r = shared.at(48000, 6, 2.5e-3, -0.05);
  const Samples a = left_only.at(48000, 6, 0, 0.05), b = right_only.at(48000, 6, 0, 0.05);
  for (std::size_t n = 0; n < l.size(); ++n) {
    l[n] += a[n];
    r[n] += b[n];
  }
  const Readings x = analyse(48000, l, r);
  EXPECT_EQ(number(x, "audio.pair.polarity"), -1);
  EXPECT_NEAR(number(x, "audio.pair.delay"), 2.5e-3, 0.2 / 48000);
  EXPECT_NEAR(number(x, "audio.pair.gain"), 0, find_reading(x, "audio.pair.gain")->uncertainty.value());
}

TEST(Pair, UnrelatedSidesHaveNoDelay) {
  int claimed = 0;
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    Samples l(96000, 0.0F), r(96000, 0.0F);
    synth::add_noise(l, -20, 2 * seed);
    synth::add_noise(r, -20, 2 * seed + 1);
    claimed += find_reading(analyse(48000, l, r), "audio.pair.delay")->measured() ? 1 : 0;
  }
  EXPECT_EQ(claimed, 0);
}

// Two parts of one piece meet in notes, never in phase for long; and hum that both sides pick up says nothing
// of how the programme is connected.
TEST(Pair, UnlikePartsAndSharedHumHaveNoPolarity) {
  constexpr double rate = 48000;
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    std::mt19937_64 gen(seed);
    std::array<Samples, 2> side{Samples(12 * 48000, 0.0F), Samples(12 * 48000, 0.0F)};
    constexpr std::array notes{110.0, 130.8, 146.8, 164.8, 196.0, 220.0};  // equal temperament, A 440
    for (Samples& x : side) {
      for (int note = 0; note < 48; ++note) {
        Samples part(24000, 0.0F);
        synth::add_sine(part, rate, notes[gen() % notes.size()], -20, static_cast<double>(gen() % 628) / 100);
        const std::size_t at = gen() % (x.size() - part.size());
        for (std::size_t i = 0; i < part.size(); ++i)
          x[at + i] += part[i] * std::exp(-6.0F * static_cast<float>(i) / 24000);
      }
    }
    if (seed > 3) {
      for (Samples& x : side) {
        synth::add_noise(x, -25, 2 * seed + (&x == &side[1]));
        synth::add_sine(x, rate, 50, -40);
      }
    }
    const Readings x = analyse(rate, side[0], side[1]);
    for (const char* id : {"audio.pair.polarity", "audio.pair.gain"})
      EXPECT_FALSE(find_reading(x, id)->measured()) << id << " " << seed;
  }
}

TEST(Pair, ToneIsAmbiguousInDelay) {
  for (const double hz : {50.0, 440.0, 997.0, 1000.0, 10000.0}) {
    for (const double phase : {0.0, 1.0, std::numbers::pi, 2.5}) {
      for (const double noise : {-200.0, -70.0}) {
        Samples l(3 * 48000, 0.0F), r(3 * 48000, 0.0F);
        synth::add_sine(l, 48000, hz, -12);
        synth::add_sine(r, 48000, hz, -14, phase);
        if (noise > -150) {
          synth::add_noise(l, noise, 1);
          synth::add_noise(r, noise, 2);
        }
        const Readings x = analyse(48000, l, r);
        EXPECT_FALSE(find_reading(x, "audio.pair.delay")->measured()) << hz << " " << phase << " " << noise;
        EXPECT_EQ(number(x, "audio.pair.polarity"), std::cos(phase) < 0 ? -1 : 1) << hz << " " << phase;
        EXPECT_NEAR(number(x, "audio.pair.gain"), -2.0, 0.05) << hz << " " << phase << " " << noise;
        EXPECT_FALSE(find_reading(x, "audio.pair.polarity")->reason.empty());
      }
    }
  }
}

TEST(Pair, SaysWhichSidesCarrySignal) {
  const Noise programme(100, 5000, 100, 3);
  const Samples on = programme.at(48000, 2, 0, 0.1);
  Samples off(on.size(), 0.0F);
  EXPECT_EQ(find_reading(analyse(48000, on, off), "audio.pair.sides")->text(), "left only");
  EXPECT_EQ(find_reading(analyse(48000, off, on), "audio.pair.sides")->text(), "right only");
  EXPECT_EQ(find_reading(analyse(48000, on, on), "audio.pair.sides")->text(), "mono");
  EXPECT_EQ(find_reading(analyse(48000, off, off), "audio.pair.sides")->text(), "none");
  synth::add_noise(off, -90, 4);
  EXPECT_EQ(find_reading(analyse(48000, on, off), "audio.pair.sides")->text(), "left only");
  const Readings mono = analyse(48000, on, on);
  EXPECT_NEAR(number(mono, "audio.pair.delay"), 0, 1e-9);
  EXPECT_NEAR(number(mono, "audio.pair.gain"), 0, 1e-6);
}

// A mono programme by two paths of their own level, noise and hum; and a stereo one whose sides differ by
// ambience 20 dB down (common practice: less would not be heard as stereo).
TEST(Pair, MonoIsToldByWhatIsAlikeAndNotByLevel) {
  const Noise middle(80, 7000, 200, 21), ambience(80, 7000, 200, 22);
  for (const double gain_db : {0.0, 0.05, -0.5, 3.0}) {
    for (const double side_db : {-200.0, -20.0}) {
      const Samples m = middle.at(48000, 6, 0, 0.07);
      const Samples s = ambience.at(48000, 6, 0, 0.07 * std::pow(10, side_db / 20));
      Samples l = m, r = m;
      for (std::size_t i = 0; i < m.size(); ++i) {
        l[i] += s[i];
        r[i] = (m[i] - s[i]) * static_cast<float>(std::pow(10, gain_db / 20));
      }
      synth::add_noise(l, -70, 23);
      synth::add_noise(r, -68, 24);
      synth::add_sine(l, 48000, 50, -60);
      const Readings x = analyse(48000, l, r);
      const auto* sides = find_reading(x, "audio.pair.sides");
      EXPECT_EQ(sides->text(), side_db < -100 ? "mono" : "both") << gain_db << " " << sides->reason;
      EXPECT_NE(sides->reason.find("beyond level and delay"), std::string::npos) << sides->reason;
      EXPECT_NEAR(number(x, "audio.pair.gain"), gain_db, 0.05);
    }
  }
}

TEST(Pair, CrosstalkFromLeftRightIdentification) {
  const double rate = 48000;
  Samples l(synth::count(12, rate), 0.0F), r(l.size(), 0.0F);
  for (std::size_t n = 0; n < l.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const float v = static_cast<float>(0.2 * std::sin(2 * std::numbers::pi * 1000 * t));
    const bool left = std::fmod(t, 4.0) < 2.0;
    l[n] = left ? v : v * 0.001F;  // right into left -60 dB
    r[n] = left ? v * 0.01F : v;   // left into right -40 dB
  }
  synth::add_noise(l, -85, 1);
  synth::add_noise(r, -85, 2);
  const Readings x = analyse(rate, l, r);
  EXPECT_NEAR(number(x, "audio.pair.crosstalk"), -40, 0.3);
  EXPECT_NE(find_reading(x, "audio.pair.crosstalk")->reason.find("right into left -60"), std::string::npos)
      << find_reading(x, "audio.pair.crosstalk")->reason;
  EXPECT_EQ(find_reading(x, "audio.pair.sides")->text(), "both");
}

// Hum that stands on both lines is coherent between them and yet no crosstalk, and hides none.
TEST(Pair, HumOnBothLinesIsNoCrosstalk) {
  const double rate = 48000;
  for (const double leak : {0.029, 0.0}) {  // -30.75 dB
    Samples l(synth::count(15, rate), 0.0F), r(l.size(), 0.0F);
    for (std::size_t n = 0; n < l.size(); ++n) {
      const double t = static_cast<double>(n) / rate;
      const bool left = std::fmod(t, 4.0) < 2.0;
      const double v = 0.03 * std::sin(2 * std::numbers::pi * (left ? 400 : 1000) * t);
      const double hum = 0.004 * std::sin(2 * std::numbers::pi * 50.03 * t) +
                         0.002 * std::sin(2 * std::numbers::pi * 150.09 * t + 1);
      l[n] = static_cast<float>((left ? v : leak * v) + hum);
      r[n] = static_cast<float>((left ? leak * v : v) + 0.7 * hum);
    }
    synth::add_noise(l, -85, 1);
    synth::add_noise(r, -85, 2);
    const Readings x = analyse(rate, l, r);
    const auto* found = find_reading(x, "audio.pair.crosstalk");
    if (leak > 0) {
      EXPECT_NEAR(number(x, "audio.pair.crosstalk"), 20 * std::log10(leak), 0.2) << found->reason;
    } else {
      ASSERT_FALSE(found->measured()) << found->number();
      EXPECT_LT(*found->at_most, -50);
    }
  }
}

TEST(Pair, DelayUncertaintyIsTrue) {
  coverage::expect_coverage("pair delay, white noise at 3 dB SNR on both sides", 200, [](unsigned seed) {
    const std::size_t late = seed % 97;
    Samples all(48000 + 97, 0.0F);
    synth::add_noise(all, -20, seed);
    Samples l(all.begin() + 97, all.end());
    Samples r(all.begin() + 97 - static_cast<std::ptrdiff_t>(late),
              all.end() - static_cast<std::ptrdiff_t>(late));
    synth::add_noise(l, -23, 1000 + 2 * seed);
    synth::add_noise(r, -23, 1001 + 2 * seed);
    const double delay = static_cast<double>(late) / 48000;
    const Readings x = analyse(48000, l, r);
    const auto* d = find_reading(x, "audio.pair.delay");
    if (!d->measured()) return coverage::Trial{NAN, 0, 0};
    return coverage::Trial{d->number(), *d->uncertainty, delay};
  });
}

TEST(Pair, AMinuteCostsLittle) {
  Samples l(48000 * 60, 0.0F), r;
  synth::add_noise(l, -20, 1);
  for (const bool same : {true, false}) {
    r = l;
    if (!same) {
      std::fill(r.begin(), r.end(), 0.0F);
      synth::add_noise(r, -20, 2);
    }
    const stopwatch::Stopwatch watch;
    (void)analyse(48000, l, r);
    const double s = watch.seconds();
    std::printf("  60 s of stereo at 48 kHz, %s: %.3f s\n", same ? "same on both sides" : "unrelated sides",
                s);
    EXPECT_LT(s, stopwatch::most(0.5));
  }
}

}  // namespace
