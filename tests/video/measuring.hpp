// What tests of the waveform measures share: measure samples, find a reading, do to samples what a path does.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstdio>
#include <functional>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/video.hpp>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "support/coverage.hpp"
#include "support/video_synth.hpp"

namespace video_test {

using namespace linebench;

inline Readings measured(double rate, std::vector<float> volts, const measure::VideoOptions& options = {}) {
  video_synth::MemoryVideo source(rate, std::move(volts));
  return measure::measure_video(source, options);
}
inline Readings measured(const video_synth::Wave& w, double rate, double seconds, unsigned seed = 1) {
  return measured(rate, video_synth::make(w, rate, seconds, seed));
}

/// Colour bars, 75 % on 525 lines with setup and 100/0/75/0 on 625; the capture starts in the midst of a
/// line.
inline video_synth::Wave with_bars(video_synth::Wave w) {
  w.picture = w.lines == 525 ? video_synth::bars(w, 5000.0 / 7, 0.75, 0.75, 375.0 / 7)
                             : video_synth::bars(w, 700, 1.0, 0.75, 0);
  w.start_line = 57.7;
  return w;
}
/// White at its nominal level.
inline video_synth::Wave with_white(video_synth::Wave w) {
  w.picture = video_synth::flat(w.lines == 525 ? 5000.0 / 7 : 700);
  w.start_line = 57.7;
  return w;
}

inline const Reading& get(const Readings& r, const std::string& id) {
  const Reading* found = find_reading(r, id);
  if (found == nullptr) throw std::runtime_error("no reading " + id);
  return *found;
}

/// Value within `within` of the truth and within twice its own claim; printed.
inline void expect_near(const Readings& r, const std::string& id, double truth, double within) {
  const Reading& x = get(r, id);
  if (!x.measured()) {
    ADD_FAILURE() << id << ": " << x.reason;
    return;
  }
  std::printf("    %-30s %12.4f  error %+9.4f  claimed %.4f (allowed %.4f) %s\n", id.c_str(), x.number(),
              x.number() - truth, x.uncertainty.value_or(0), within, x.unit.c_str());
  EXPECT_NEAR(x.number(), truth, within) << id;
  EXPECT_LE(std::abs(x.number() - truth), 2 * x.uncertainty.value_or(1e9)) << id << ": claimed too little";
}
inline void expect_none(const Readings& r, const std::string& id) {
  const Reading& x = get(r, id);
  EXPECT_EQ(x.verdict, Verdict::Unmeasurable) << id << " = " << (x.measured() ? x.number() : 0);
  EXPECT_FALSE(x.reason.empty()) << id;
  std::printf("    %-30s %s\n", id.c_str(), x.reason.c_str());
}

/// Passes samples through a response given by frequency (Hz); the record is taken as going round.
inline void filter(std::vector<float>& v, double rate,
                   const std::function<std::complex<double>(double)>& response) {
  const std::size_t n = dsp::next_fast_size(v.size());
  dsp::RealFft fft(n);
  for (std::size_t i = 0; i < n; ++i) fft.input()[i] = static_cast<double>(v[std::min(i, v.size() - 1)]);
  fft.forward();
  for (std::size_t k = 0; k <= n / 2; ++k)
    fft.output()[k] *= response(static_cast<double>(k) * rate / static_cast<double>(n));
  fft.inverse();
  for (std::size_t i = 0; i < v.size(); ++i)
    v[i] = static_cast<float>(fft.input()[i] / static_cast<double>(n));
}

/// Noise of one-sided spectral density `psd` (V^2/Hz by Hz), seeded.
inline std::vector<float> noise_of(std::size_t n, double rate, const std::function<double(double)>& psd,
                                   unsigned seed) {
  std::vector<float> v(n);
  std::mt19937 gen(seed);
  std::normal_distribution<float> normal(0.0F, 1.0F);
  for (float& x : v) x = normal(gen);
  filter(v, rate, [&](double hz) { return std::complex<double>(std::sqrt(psd(hz) * rate / 2), 0); });
  return v;
}
inline void add(std::vector<float>& to, const std::vector<float>& what) {
  for (std::size_t i = 0; i < to.size(); ++i) to[i] += what[i];
}
inline void add_tone(std::vector<float>& v, double rate, double hz, double pp_mv, double phase = 0.3) {
  synth::each_of_sine(v.size(), rate, hz, phase,
                      [&](std::size_t i, double sin) { v[i] += static_cast<float>(pp_mv / 2 * 1e-3 * sin); });
}
inline void quantise(std::vector<float>& v, double step_mv) {
  for (float& x : v)
    x = static_cast<float>(std::round(static_cast<double>(x) / (step_mv * 1e-3)) * step_mv * 1e-3);
}

/// Seeded trials on one clean waveform, each with noise of its own; ids and truths as given.
struct Truth {
  std::string id;
  double value;
};
inline void cover(const std::vector<float>& clean, double rate, int trials, const std::vector<Truth>& truths,
                  const std::function<void(std::vector<float>&, unsigned seed)>& spoil,
                  const measure::VideoOptions& options = {}) {
  std::vector<std::vector<coverage::Trial>> seen(truths.size());
  for (int i = 0; i < static_cast<int>(coverage::trials(static_cast<unsigned>(trials))); ++i) {
    std::vector<float> v = clean;
    spoil(v, static_cast<unsigned>(500 + i));
    const Readings r = measured(rate, std::move(v), options);
    for (std::size_t k = 0; k < truths.size(); ++k) {
      const Reading& x = get(r, truths[k].id);
      ASSERT_TRUE(x.measured()) << truths[k].id << ": " << x.reason;
      seen[k].push_back({x.number(), x.uncertainty.value_or(0), truths[k].value});
    }
  }
  for (std::size_t k = 0; k < truths.size(); ++k) {
    coverage::expect_coverage(truths[k].id.c_str(), trials, [&](unsigned seed) { return seen[k][seed - 1]; });
  }
}

}  // namespace video_test
