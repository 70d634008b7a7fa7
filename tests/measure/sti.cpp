// STI of STIPA signals built here from the standard's description [IEC 60268-16 ed.5].
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/sti.hpp>
#include <random>

#include "support/coverage.hpp"
#include "support/stipa_synth.hpp"
#include "support/stopwatch.hpp"
#include "support/synth.hpp"

namespace {

using linebench::measure::StiAnalyser;
using linebench::measure::StiResult;
using stipa_synth::closed_form;
using stipa_synth::fm;
using stipa_synth::stipa;
using synth::Samples;

StiResult analyse(double rate, const Samples& x, bool known = false) {
  StiAnalyser a(rate, known);
  for (std::size_t n = 0; n < x.size(); n += 7001)
    a.push(std::span(x).subspan(n, std::min<std::size_t>(7001, x.size() - n)));
  return a.finish();
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
  EXPECT_LT(s, stopwatch::most(0.3));
}

}  // namespace
