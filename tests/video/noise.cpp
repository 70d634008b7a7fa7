// Noise readings against noise of known spectrum. The weighted ratio is checked against scipy's integral of
// the unified weighting's formula [J.61] (from memory; its 7.4 dB for white noise in 5 MHz is the figure
// known from outside).
#include "support/python.hpp"
#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

Wave with_grey(Wave w) {
  w.picture = flat(350);
  w.start_line = 57.7;
  return w;
}
double band(const Wave& w) { return w.lines == 525 ? 4.2e6 : 5e6; }
double white_mv(const Wave& w) { return w.lines == 525 ? 5000.0 / 7 : 700.0; }

// Flat, unified-weighted power of psd = f^slope up to `top`, by scipy.
std::vector<double> powers(double slope, double corner_hz, double top) {
  return run_python_numbers(R"(
import sys
from scipy.integrate import quad
import numpy as np
slope, corner, top = map(float, sys.argv[1:])
tau, a = 245e-9, 4.5
def loss_db(f):
    w = 2 * np.pi * f
    return 10 * np.log10((1 + ((1 + 1 / a) * w * tau) ** 2) / (1 + (w * tau / a) ** 2))
psd = lambda f: (f / 1e6) ** slope / (1 + (f / corner) ** 8)
print(quad(psd, 0, top, limit=200)[0], quad(lambda f: psd(f) * 10 ** (-loss_db(f) / 10), 0, top, limit=200)[0])
)",
                            {std::to_string(slope), std::to_string(corner_hz), std::to_string(top)});
}

TEST(VideoNoise, OfKnownSpectrumUnweightedAndWeighted) {
  struct Case {
    const char* name;
    double slope;
    double corner_hz;
  };
  for (const Case& c : {Case{"white", 0, 1e9}, Case{"triangular", 2, 1e9}, Case{"white to 2 MHz", 0, 2e6}}) {
    for (const bool is_525 : {true, false}) {
      for (const bool with_picture : {false, true}) {
        const Wave w = with_picture ? with_bars(is_525 ? wave_525() : wave_625())
                                    : with_grey(is_525 ? wave_525() : wave_625());
        const double rate = is_525 ? 315e6 / 22 : 20.25e6;
        const std::vector<double> p = powers(c.slope, c.corner_hz, band(w));
        const double rms_mv = 7;
        const double scale = rms_mv * rms_mv * 1e-6 / p[0];  // 7 mV in the band
        std::vector<float> v = clean(w, rate, 0.1);
        add(v, noise_of(
                   v.size(), rate,
                   [&](double f) {
                     return scale * std::pow(f / 1e6, c.slope) / (1 + std::pow(f / c.corner_hz, 8));
                   },
                   7));
        std::printf("  %s, %s, %s\n", c.name, is_525 ? "525" : "625", with_picture ? "bars" : "grey");
        const Readings r = measured(rate, v);
        expect_near(r, "video.noise", rms_mv, 0.03 * rms_mv);
        expect_near(r, "video.snr.unweighted", 20 * std::log10(white_mv(w) / rms_mv), 0.3);
        expect_near(r, "video.snr.weighted", 20 * std::log10(white_mv(w) / (rms_mv * std::sqrt(p[1] / p[0]))),
                    0.3);
        EXPECT_NE(get(r, "video.noise").reason.find(is_525 ? "4.2 MHz" : "5 MHz"), std::string::npos);
      }
    }
  }
  // The figure known for the weighting: 7.4 dB in 5 MHz.
  const std::vector<double> p = powers(0, 1e9, 5e6);
  EXPECT_NEAR(10 * std::log10(p[0] / p[1]), 7.4, 0.1);
}

TEST(VideoNoise, HoldsFromTwentyToSixtyDecibelsAndAtAnyLevel) {
  for (const bool is_525 : {true, false}) {
    const Wave base = with_bars(is_525 ? wave_525() : wave_625());
    const double rate = 13.5e6;
    const double share = std::sqrt(band(base) / (rate / 2));  // of the white noise's rms
    for (const double mv : {70.0, 7.0, 0.7}) {
      Wave w = base;
      w.noise_mv = mv;
      std::printf("  %s, %.1f mV\n", is_525 ? "525" : "625", mv);
      expect_near(measured(w, rate, 0.1), "video.noise", mv * share, 0.05 * mv * share);
    }
    // The ratio is that of this signal's own white, whatever its level.
    for (const double gain : {0.3, 3.0}) {
      Wave w = base;
      w.gain = gain;
      w.noise_mv = 7 * gain;
      const Readings r = measured(w, rate, 0.1);
      expect_near(r, "video.noise", 7 * gain * share, 0.05 * 7 * gain * share);
      expect_near(r, "video.snr.unweighted", 20 * std::log10(white_mv(w) / (7 * share)), 0.5);
    }
  }
}

TEST(VideoNoise, HumTiltAndSubcarrierAreNotNoise) {
  Wave w = with_bars(wave_625());
  w.noise_mv = 1;
  w.hum_pp_mv = 400;
  const double rate = 13.5e6;
  const double truth = std::sqrt(5e6 / (rate / 2));
  expect_near(measured(w, rate, 0.1), "video.noise", truth, 0.05 * truth);
  w.hum_pp_mv = 0;
  w.picture = [](int line) {  // a red field that fades along the line and down the field
    const double level = 300 + 0.3 * line;
    return std::vector<Piece>{{10.5, level, -60, 250}, {30, level - 5, -60, 250}, {45, level - 9, -60, 250}};
  };
  expect_near(measured(w, rate, 0.1), "video.noise", truth, 0.05 * truth);
}

TEST(VideoNoise, FinePictureIsNotNoise) {
  Wave w = with_grey(wave_625());
  w.noise_mv = 3;
  w.picture = [](int line) {  // low-contrast detail, different on every line, the same in every frame
    std::vector<Piece> p;
    unsigned state = static_cast<unsigned>(line) * 2654435761U;
    for (int i = 0; i < 50; ++i) {
      state = state * 1664525U + 1013904223U;
      p.push_back({10.5 + i, 300 + 6.0 * static_cast<double>(state >> 16) / 65536});
    }
    return p;
  };
  const double rate = 13.5e6;
  const double truth = 3 * std::sqrt(5e6 / (rate / 2));
  expect_near(measured(w, rate, 0.2), "video.noise", truth, 0.07 * truth);
  // Nothing flat at all: field blanking serves, and that is said.
  w.picture = [](int) {
    std::vector<Piece> p;
    for (int i = 0; i < 50; ++i) p.push_back({10.5 + i, (i % 5) * 150.0});
    return p;
  };
  const Readings r = measured(w, rate, 0.1);
  expect_near(r, "video.noise", truth, 0.07 * truth);
  EXPECT_NE(get(r, "video.noise").reason.find("field blanking"), std::string::npos);
}

TEST(VideoNoise, TheRecordersStepsAreCountedForWhatTheyAre) {
  // An 8-bit recorder over 2 V: steps of 7.8 mV. Noise of a step is measured without the steps' own [Widrow].
  Wave w = with_grey(wave_625());
  w.noise_mv = 7;
  const double rate = 13.5e6;
  std::vector<float> v = make(w, rate, 0.1);
  quantise(v, 7.8125);
  const double truth = 7 * std::sqrt(5e6 / (rate / 2));
  Readings r = measured(rate, v);
  expect_near(r, "video.noise", truth, 0.04 * truth);
  EXPECT_NE(get(r, "video.noise").reason.find("steps"), std::string::npos);
  // Noise well below a step cannot be measured with it: said, with a bound above the truth.
  w.noise_mv = 0.5;
  v = make(w, rate, 0.1);
  quantise(v, 7.8125);
  r = measured(rate, v);
  expect_none(r, "video.noise");
  ASSERT_TRUE(get(r, "video.noise").at_most.has_value());
  EXPECT_GT(*get(r, "video.noise").at_most, 0.5);
}

TEST(VideoNoise, PeriodicNoise) {
  const double rate = 13.5e6;
  unsigned combination = 0;
  for (const bool is_525 : {true, false}) {
    for (const double hz : {67'013.0, 167'000.0, 1.0e6, 1.003e6, 2'718'281.0}) {
      for (const bool with_picture : {false, true}) {
        if (!coverage::taken(combination++, 3)) continue;
        Wave w = with_picture ? with_bars(is_525 ? wave_525() : wave_625())
                              : with_grey(is_525 ? wave_525() : wave_625());
        w.noise_mv = 4;
        std::vector<float> v = make(w, rate, 0.12);
        add_tone(v, rate, hz, 6);
        std::printf("  %s, %.0f Hz, %s\n", is_525 ? "525" : "625", hz, with_picture ? "bars" : "grey");
        const Readings r = measured(rate, v);
        expect_near(r, "video.noise.periodic.frequency", hz, 20);
        expect_near(r, "video.noise.periodic.level", 6, 0.3);
        const double random = 4 * std::sqrt(band(w) / (rate / 2));  // random noise without the tone
        expect_near(r, "video.noise", random, 0.05 * random);
      }
    }
  }
}

// Load and ripple move a switching supply's frequency (common practice): sine of that deviation.
TEST(VideoNoise, ToneThatWandersIsNotMissed) {
  const double rate = 13.5e6;
  for (const auto& [deviation, at_hz] : {std::pair{60.0, 33.1}, {500.0, 100.7}, {2000.0, 100.7}}) {
    Wave w = with_bars(wave_625());
    w.noise_mv = 2;
    std::vector<float> v = make(w, rate, 0.24);
    for (std::size_t i = 0; i < v.size(); ++i) {
      const double t = static_cast<double>(i) / rate;
      const double turns =
          std::fmod(87313 * t, 1.0) + deviation / at_hz / (2 * pi) * std::sin(2 * pi * at_hz * t);
      v[i] += static_cast<float>(12e-3 * std::sin(2 * pi * turns));
    }
    const Readings r = measured(rate, std::move(v));
    expect_near(r, "video.noise.periodic.frequency", 87313, 3000);
    expect_near(r, "video.noise.periodic.level", 24, 7);
  }
}

// A supply's sawtooth has even ramps as long as a bar is wide; its fundamental is 2/pi of it (Fourier
// series).
TEST(VideoNoise, SawtoothIsSeenWhereNoPictureIs) {
  const double rate = 13.5e6;
  for (const bool is_525 : {true, false}) {
    for (const double hz : {66'100.0, 87'311.7, 112'900.0, 139'400.0}) {
      for (const double pp : {3.0, 26.0}) {
        for (const bool with_picture : {false, true}) {
          Wave w = with_picture ? with_bars(is_525 ? wave_525() : wave_625())
                                : with_grey(is_525 ? wave_525() : wave_625());
          w.noise_mv = 1.2;
          std::vector<float> v = make(w, rate, 0.12);
          for (std::size_t i = 0; i < v.size(); ++i)
            v[i] +=
                static_cast<float>(1e-3 * pp * (std::fmod(hz / rate * static_cast<double>(i), 1.0) - 0.5));
          const Readings r = measured(rate, std::move(v));
          std::printf("  %d, %.1f Hz, %.0f mV\n", w.lines, hz, pp);
          expect_near(r, "video.noise.periodic.frequency", hz, 400);
          expect_near(r, "video.noise.periodic.level", 2 / pi * pp, 0.05 * pp);
          // The strongest tone is taken out of the noise, and no other.
          const double random = 1.2 * std::sqrt(band(w) / (rate / 2));
          const double harmonics = pp * std::sqrt(1.0 / 12 - 1 / (2 * pi * pi));
          const double noise = get(r, "video.noise").number();
          EXPECT_GT(noise, 0.95 * random);
          EXPECT_LT(noise, 1.15 * std::hypot(random, harmonics));
        }
      }
    }
  }
}

TEST(VideoNoise, NoToneWhereThereIsNone) {
  for (const bool is_525 : {true, false}) {
    for (const bool with_picture : {false, true}) {
      Wave w = with_picture ? with_bars(is_525 ? wave_525() : wave_625())
                            : with_grey(is_525 ? wave_525() : wave_625());
      for (const unsigned seed : {1U, 2U}) {
        w.noise_mv = seed % 2 == 0 ? 7 : 0.3;
        const Readings r = measured(w, 13.5e6, 0.1, seed);
        expect_none(r, "video.noise.periodic.frequency");
        EXPECT_TRUE(get(r, "video.noise.periodic.level").at_most.has_value());
      }
    }
  }
}

TEST(VideoNoise, UncertaintyIsTrue) {
  const double rate = 13.5e6;
  const Wave w = with_bars(wave_625());
  const std::vector<float> still = clean(w, rate, 0.06);
  const std::vector<double> p = powers(0, 1e9, 5e6);
  const double rms = 12 * std::sqrt(5e6 / (rate / 2));
  cover(still, rate, 100,
        {{"video.noise", rms},
         {"video.snr.unweighted", 20 * std::log10(700 / rms)},
         {"video.snr.weighted", 20 * std::log10(700 / rms) + 10 * std::log10(p[0] / p[1])}},
        [](std::vector<float>& v, unsigned seed) { add_noise(v, 12, seed); });
  const std::vector<float> grey = clean(with_grey(wave_525()), rate, 0.06);
  cover(grey, rate, 100, {{"video.noise.periodic.frequency", 123'456}, {"video.noise.periodic.level", 6}},
        [&](std::vector<float>& v, unsigned seed) {
          add_noise(v, 12, seed);
          add_tone(v, rate, 123'456, 6, 0.1 * seed);
        });
}

// Steps of a staircase so narrow that nothing flat is long enough between their edges: what passes for flat
// there has an edge in it.
TEST(VideoNoise, StaircaseOfManyRisersIsNoNoise) {
  for (const bool is_525 : {true, false}) {
    for (const double rate : {13.5e6, 15.3e6, 27e6}) {
      Wave w = is_525 ? wave_525() : wave_625();
      const double from = w.active_from_us + 0.4;
      const double to = 1e6 / w.line_hz - w.front_porch_us - 0.6;
      const video_lines::Line line = video_lines::stairs(from, to, 10, is_525 ? 5000.0 / 7 : 700, 280, 0.3);
      std::vector<float> x = clean(w, rate, 0.14);
      video_lines::add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      add_noise(x, 7, 4);
      const double band = std::min(is_525 ? 4.2e6 : 5e6, 0.45 * rate);
      const double truth = 7 * std::sqrt(band / (rate / 2));
      const Readings r = measured(rate, std::move(x));
      expect_near(r, "video.noise", truth, 0.07 * truth);
      expect_none(r, "video.noise.periodic.level");
    }
  }
}

}  // namespace
