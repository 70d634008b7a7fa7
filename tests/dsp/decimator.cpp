// The half-band decimator against what a sine must become: same level in the pass band, nothing from above
// it.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/dsp/decimator.hpp>

#include "support/synth.hpp"

namespace {

using linebench::dsp::Decimator;

// Largest level over the settled part, dBFS as peak.
double settled_peak_db(double rate, double hz, std::size_t block) {
  synth::Samples x(synth::count(1.0, rate), 0.0F);
  synth::add_sine(x, rate, hz, 0.0, 0.3);
  Decimator d(rate, 5400.0);
  std::vector<float> out;
  for (std::size_t at = 0; at < x.size(); at += block) {
    const auto y = d.push(std::span(x).subspan(at, std::min(block, x.size() - at)));
    out.insert(out.end(), y.begin(), y.end());
  }
  double sum = 0.0;
  std::size_t n = 0;
  for (std::size_t i = out.size() / 4; i < out.size(); ++i, ++n)
    sum += std::pow(static_cast<double>(out[i]), 2);
  return 10.0 * std::log10(2.0 * sum / static_cast<double>(n) + 1e-30);
}

TEST(Decimator, KeepsThePassBandAndNothingElse) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0, 22050.0}) {
    const Decimator d(rate, 5400.0);
    EXPECT_GE(d.rate_hz(), 5400.0);
    EXPECT_LT(d.rate_hz(), 10800.0);
    for (const double share : {0.02, 0.2, 0.6, 0.99}) {
      EXPECT_NEAR(settled_peak_db(rate, share * d.pass_hz(), 777), 0.0, 0.005) << rate << " " << share;
    }
    // Everything that would fold into the pass band is gone.
    for (double hz = d.rate_hz() - 0.99 * d.pass_hz(); hz < rate / 2; hz += 0.37 * d.rate_hz()) {
      const double folded = std::abs(std::remainder(hz, d.rate_hz()));
      if (folded < d.pass_hz()) {
        EXPECT_LT(settled_peak_db(rate, hz, 1000), -115.0) << rate << " " << hz;
      }
    }
  }
}

TEST(Decimator, BlocksOfAnyLengthGiveTheSameSamples) {
  synth::Samples x(20011, 0.0F);
  synth::add_noise(x, -10, 3);
  Decimator a(48000, 5400);
  Decimator b(48000, 5400);
  const auto whole_span = a.push(x);
  const std::vector<float> whole(whole_span.begin(), whole_span.end());
  std::vector<float> parts;
  std::size_t step = 1;
  for (std::size_t at = 0; at < x.size();) {
    const std::size_t n = std::min(step, x.size() - at);
    const auto y = b.push(std::span(x).subspan(at, n));
    parts.insert(parts.end(), y.begin(), y.end());
    at += n;
    step = step % 613 + 7;
  }
  EXPECT_EQ(whole, parts);
}

TEST(Decimator, HandsSlowInputThrough) {
  const Decimator d(8000, 5400);
  EXPECT_EQ(d.rate_hz(), 8000);
  EXPECT_EQ(d.delay_s(), 0);
}

TEST(Decimator, DelayIsAsSaid) {
  synth::Samples x(48000, 0.0F);
  x[24000] = 1.0F;
  Decimator d(48000, 5400);
  const auto y = d.push(x);
  const auto at = std::max_element(y.begin(), y.end()) - y.begin();
  EXPECT_NEAR(static_cast<double>(at) / d.rate_hz() - d.delay_s(), 0.5, 0.5 / d.rate_hz());
}

}  // namespace
