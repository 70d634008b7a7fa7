// Tops cut before a converter: the cut is made at eight times the rate, and the converter's own low pass (a
// linear-phase FIR of 100 dB, flat to 0.4535 and shut from 0.5465 of the rate, as sigma-delta converters'
// data sheets have it; common practice) takes it to the rate. Kaiser's window design [Oppenheim and Schafer].
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

constexpr double rate = 48000;
constexpr std::size_t over = 8;

std::vector<double> converter_filter() {
  constexpr double beta = 0.1102 * (100 - 8.7);
  const double width = 2 * std::numbers::pi * (0.5465 - 0.4535) / static_cast<double>(over);
  const auto half = static_cast<std::ptrdiff_t>(std::ceil((100 - 8) / (2.285 * width) / 2));
  std::vector<double> h;
  double sum = 0;
  for (std::ptrdiff_t n = -half; n <= half; ++n) {
    const double t = static_cast<double>(n) / static_cast<double>(over);
    const double sinc = n == 0 ? 1.0 : std::sin(std::numbers::pi * t) / (std::numbers::pi * t);
    const double edge = static_cast<double>(n) / static_cast<double>(half);
    h.push_back(sinc * std::cyl_bessel_i(0.0, beta * std::sqrt(std::max(0.0, 1 - edge * edge))));
    sum += h.back();
  }
  for (double& v : h) v /= sum;
  return h;
}

synth::Samples converted(const synth::Samples& x) {
  static const std::vector<double> h = converter_filter();
  const std::size_t half = h.size() / 2;
  synth::Samples y;
  for (std::size_t at = half; at + half < x.size(); at += over) {
    double sum = 0;
    for (std::size_t k = 0; k < h.size(); ++k) sum += h[k] * static_cast<double>(x[at + k - half]);
    y.push_back(static_cast<float>(sum));
  }
  return y;
}

synth::Samples voice(unsigned seed) {
  synth::Samples x(synth::count(5.0, rate * over), 0.0F);
  synth::add_voice(x, rate * over, 100.0 + 17 * seed, -20.0, seed);
  return x;
}

// The level that this share of all samples lies beyond.
float level_of_share(const synth::Samples& x, double share) {
  synth::Samples sizes;
  for (std::size_t i = 0; i < x.size(); i += over) sizes.push_back(std::abs(x[i]));
  const auto at =
      sizes.begin() + static_cast<std::ptrdiff_t>((1 - share) * static_cast<double>(sizes.size()));
  std::nth_element(sizes.begin(), at, sizes.end());
  return *at;
}

EventsResult events_of(synth::Samples x, double noise_dbfs, unsigned seed) {
  synth::add_noise(x, noise_dbfs, seed);
  EventsAnalyser a(rate);
  for (std::size_t at = 0; at < x.size(); at += 4096)
    a.push(std::span(x).subspan(at, std::min<std::size_t>(4096, x.size() - at)));
  return a.finish();
}

}  // namespace

TEST(ConverterClipping, AVoiceCutBeforeTheConverterIsClipped) {
  for (const double share : {0.01, 0.03, 0.08}) {
    for (unsigned seed = 1; seed <= 1; ++seed) {
      synth::Samples x = voice(seed + (share > 0.02 ? 1 : 0));
      const float top = level_of_share(x, share);
      double truth = 0;
      for (std::size_t i = 0; i < x.size(); i += over) truth += std::abs(x[i]) >= top ? 1 : 0;
      for (float& v : x) v = std::clamp(v, -top, top);
      for (const double noise_dbfs : {-95.0, -80.0}) {
        const EventsResult r = events_of(converted(x), noise_dbfs, seed);
        EXPECT_GT(static_cast<double>(r.clipped_samples), 0.1 * truth) << share << ", seed " << seed;
        EXPECT_LT(static_cast<double>(r.clipped_samples), 1.1 * truth) << share << ", seed " << seed;
        EXPECT_NEAR(20 * std::log10(r.clip_level / static_cast<double>(top)), 0, 0.1);
      }
    }
  }
}

TEST(ConverterClipping, WhatWasNotCutIsNotClippedBehindIt) {
  for (unsigned seed = 1; seed <= 2; ++seed) {
    const synth::Samples x = voice(seed);
    EXPECT_EQ(events_of(converted(x), -90, seed).clipped_samples, 0U) << "as it is";
    synth::Samples soft = x;
    const float top = level_of_share(x, 0.03);
    for (float& v : soft) v = top * std::tanh(v / top);
    EXPECT_EQ(events_of(converted(soft), -90, seed).clipped_samples, 0U) << "driven softly";
    // A limiter: the gain follows what the next 5 ms will need, and comes back over 80 ms.
    synth::Samples limited = x;
    const auto ahead = synth::count(0.005, rate * over);
    double gain = 1;
    for (std::size_t i = 0; i + ahead < x.size(); ++i) {
      const double need = static_cast<double>(top) / std::max<double>(std::abs(x[i + ahead]), 1e-9);
      gain = need < gain ? gain + (need - gain) * 8 / static_cast<double>(ahead)
                         : gain + (1 - gain) / (0.08 * rate * over);
      gain = std::min(gain, 1.0);
      limited[i] = static_cast<float>(static_cast<double>(x[i]) * gain);
    }
    EXPECT_EQ(events_of(converted(limited), -90, seed).clipped_samples, 0U) << "limited";
  }
}
