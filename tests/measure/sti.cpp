// STI of STIPA signals built here from the standard's description [IEC 60268-16 ed.5].
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/sti.hpp>
#include <random>

#include "support/coverage.hpp"
#include "support/stopwatch.hpp"
#include "support/synth.hpp"

namespace {

using linebench::measure::StiAnalyser;
using linebench::measure::StiResult;
using synth::Samples;

constexpr double centres[7] = {125, 250, 500, 1000, 2000, 4000, 8000};
constexpr double fm[7][2] = {{1.6, 8}, {1, 5}, {0.63, 3.15}, {2, 10}, {1.25, 6.25}, {0.8, 4}, {2.5, 12.5}};
constexpr double alpha[7] = {0.085, 0.127, 0.230, 0.233, 0.309, 0.224, 0.173};
constexpr double beta[6] = {0.085, 0.078, 0.065, 0.011, 0.047, 0.095};

// Gaussian noise in a band, rms 1, by transform.
std::vector<double> band_noise(std::size_t n, double rate, double lo, double hi, std::mt19937_64& gen) {
  const std::size_t size = linebench::dsp::next_fast_size(n + n % 2);
  linebench::dsp::RealFft fft(size);
  std::normal_distribution<double> normal;
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    const double hz = static_cast<double>(k) * rate / static_cast<double>(size);
    fft.output()[k] = hz >= lo && hz <= hi ? std::complex<double>(normal(gen), normal(gen)) : 0.0;
  }
  fft.inverse();
  std::vector<double> x(fft.input().begin(), fft.input().begin() + static_cast<std::ptrdiff_t>(n));
  double s = 0;
  for (const double v : x) s += v * v;
  for (double& v : x) v /= std::sqrt(s / static_cast<double>(n));
  return x;
}

// Received STIPA: modulation of each component reduced to m(fm), half-octave carriers, octave noise where snr
// is given.
template <typename M>
Samples stipa(double rate, double seconds, unsigned seed, M&& m, double noise_ratio = 0, double clock = 0) {
  std::mt19937_64 gen(seed);
  const std::size_t n = synth::count(seconds, rate);
  Samples x(n, 0.0F);
  for (int b = 0; b < 7; ++b) {
    const double q = std::pow(2.0, 0.25);
    const auto carrier = band_noise(n, rate, centres[b] / q, centres[b] * q, gen);
    std::vector<double> noise;
    if (noise_ratio > 0) noise = band_noise(n, rate, centres[b] / q, centres[b] * q, gen);
    const double level = 0.05 * std::pow(10.0, -std::abs(b - 2) / 20.0);
    for (std::size_t i = 0; i < n; ++i) {
      const double t = static_cast<double>(i) / rate * (1 + clock) * 2 * std::numbers::pi;
      const double intensity =
          1 + 0.55 * (m(b, 0) * std::sin(fm[b][0] * t + 0.3) - m(b, 1) * std::sin(fm[b][1] * t + 0.3));
      double v = carrier[i] * std::sqrt(std::max(0.0, intensity));
      if (noise_ratio > 0) v += std::sqrt(noise_ratio) * noise[i];
      x[i] += static_cast<float>(level * v);
    }
  }
  return x;
}

StiResult analyse(double rate, const Samples& x, bool known = false) {
  StiAnalyser a(rate, known);
  for (std::size_t n = 0; n < x.size(); n += 7001)
    a.push(std::span(x).subspan(n, std::min<std::size_t>(7001, x.size() - n)));
  return a.finish();
}

double closed_form(double (*m)(int, int)) {
  double mti[7], sti = 0;
  for (int b = 0; b < 7; ++b) {
    mti[b] = 0;
    for (int j = 0; j < 2; ++j) {
      const double v = m(b, j);
      const double snr = v >= 1 ? 15.0 : std::clamp(10 * std::log10(v / (1 - v)), -15.0, 15.0);
      mti[b] += 0.5 * (snr + 15) / 30;
    }
  }
  for (int b = 0; b < 7; ++b)
    sti += alpha[b] * mti[b] - (b < 6 ? beta[b] * std::sqrt(mti[b] * mti[b + 1]) : 0.0);
  return std::min(1.0, sti);
}

double perfect(int, int) { return 1; }
double reverberant(int b, int j) { return 1 / std::hypot(1.0, 2 * std::numbers::pi * fm[b][j] * 1.5 / 13.8); }
double half(int, int) { return 0.5; }

TEST(Sti, PerfectPathReadsOne) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    const StiResult r = analyse(rate, stipa(rate, 25, 5, perfect));
    ASSERT_TRUE(r.sti) << r.reason;
    EXPECT_NEAR(*r.sti, 1.0, r.uncertainty) << rate;
    EXPECT_NEAR(*r.sti, 1.0, 0.04) << rate;
    EXPECT_LT(r.uncertainty, 0.06);
  }
}

TEST(Sti, KnownReductionsGiveTheClosedForm) {
  const StiResult echoing = analyse(48000, stipa(48000, 25, 3, reverberant));
  ASSERT_TRUE(echoing.sti) << echoing.reason;
  EXPECT_NEAR(*echoing.sti, closed_form(reverberant), std::max(echoing.uncertainty, 0.03));
  // Noise as strong as the signal in each band: m = 1 / (1 + 1) = 0.5, so 0 dB and an index of 0.5.
  const StiResult noisy = analyse(48000, stipa(48000, 25, 4, perfect, 1.0));
  ASSERT_TRUE(noisy.sti) << noisy.reason;
  EXPECT_NEAR(*noisy.sti, 0.5, std::max(noisy.uncertainty, 0.02));
}

TEST(Sti, ClockOffsetAndSilenceAroundItDoNotMatter) {
  Samples x(72000, 0.0F);
  const Samples s = stipa(48000, 20, 6, half, 0, 200e-6);
  x.insert(x.end(), s.begin(), s.end());
  x.insert(x.end(), 60000, 0.0F);
  const StiResult r = analyse(48000, x, true);
  ASSERT_TRUE(r.sti) << r.reason;
  EXPECT_NEAR(*r.sti, 0.5, std::max(r.uncertainty, 0.02));
  EXPECT_NEAR(r.used_s, 19, 1.1);
}

TEST(Sti, OtherSignalsHaveNone) {
  for (unsigned seed = 1; seed <= 10; ++seed) {
    Samples x(48000 * 18, 0.0F);
    synth::add_noise(x, -20, seed);
    if (seed > 5) {  // syllables: noise whose level wanders at a few Hz
      std::mt19937_64 gen(seed);
      std::normal_distribution<double> normal;
      double a = 0;
      for (std::size_t n = 0; n < x.size(); ++n) {
        a += (-a * 2 * std::numbers::pi * 4 +
              std::sqrt(2 * 2 * std::numbers::pi * 4 * 48000.0) * normal(gen)) /
             48000.0;
        x[n] *= static_cast<float>(std::exp(a));
      }
    }
    const StiResult r = analyse(48000, x);
    EXPECT_FALSE(r.sti) << seed << " " << r.sti.value_or(0);
    EXPECT_NE(r.reason.find("STIPA"), std::string::npos);
  }
  const StiResult brief = analyse(48000, stipa(48000, 5, 1, perfect), true);
  EXPECT_FALSE(brief.sti);
  EXPECT_NE(brief.reason.find("8 s"), std::string::npos) << brief.reason;
  EXPECT_FALSE(analyse(16000, Samples(16000 * 10, 0.1F)).sti);
}

TEST(Sti, UncertaintyIsTrue) {
  coverage::expect_coverage(
      "STI 0.5", 40,
      [](unsigned seed) {
        const StiResult r = analyse(24000, stipa(24000, 12, seed, half), true);
        return coverage::Trial{r.sti.value_or(9), r.uncertainty, 0.5};
      },
      0.93, 1.0);
}

TEST(Sti, OrdinaryCapturesPayLittle) {
  Samples x(48000 * 60, 0.0F);
  synth::add_noise(x, -20, 1);
  const stopwatch::Stopwatch watch;
  (void)analyse(48000, x);
  const double s = watch.seconds();
  std::printf("  60 s of one channel without STIPA: %.4f s\n", s);
  EXPECT_LT(s, 0.3);
}

}  // namespace
