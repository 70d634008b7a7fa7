// Signals for tests, made here from closed forms and never by the program's own generators, so that a
// measurement is not checked against its own house's habits.
#pragma once

#include <cmath>
#include <cstdint>
#include <linebench/base/audio_source.hpp>
#include <numbers>
#include <random>
#include <utility>
#include <vector>

#include "support/sine.hpp"

namespace synth {

using Samples = std::vector<float>;

inline std::size_t count(double seconds, double rate) {
  return static_cast<std::size_t>(std::llround(seconds * rate));
}

/// Adds a sine of the given level (dBFS per AES17: rms of a full-scale sine = 0) to x.
inline void add_sine(Samples& x, double rate, double hz, double dbfs, double phase = 0.0) {
  const double a = std::pow(10.0, dbfs / 20.0);
  each_of_sine(x.size(), rate, hz, phase,
               [&](std::size_t n, double sin) { x[n] += static_cast<float>(a * sin); });
}

/// Adds white Gaussian noise of the given rms in dBFS (full-scale sine = 0) over the whole band 0..rate/2.
inline void add_noise(Samples& x, double dbfs, std::uint64_t seed) {
  std::mt19937_64 gen(seed);
  std::normal_distribution<double> normal(0.0, std::pow(10.0, dbfs / 20.0) / std::numbers::sqrt2);
  for (float& v : x) v += static_cast<float>(normal(gen));
}

/// Level in dBFS of the part of that white noise inside [lo, hi] Hz.
inline double noise_in_band(double dbfs, double rate, double lo, double hi) {
  return dbfs + 10.0 * std::log10((hi - lo) / (rate / 2.0));
}

/// A source over memory: planar channels in, interleaved out.
class MemorySource : public linebench::AudioSource {
 public:
  MemorySource(double rate, std::vector<Samples> channels) : channels_(std::move(channels)) {
    facts_.source = "memory";
    facts_.kind = "audio file";
    facts_.sample_rate_hz = rate;
    facts_.channels = static_cast<int>(channels_.size());
    facts_.frames = channels_.empty() ? 0 : channels_.front().size();
  }
  [[nodiscard]] const linebench::CaptureFacts& facts() const override { return facts_; }
  linebench::CaptureFacts& edit_facts() { return facts_; }
  std::size_t read(std::span<float> interleaved) override {
    const std::size_t c = channels_.size();
    std::size_t n = 0;
    for (; (n + 1) * c <= interleaved.size() && at_ < facts_.frames; ++n, ++at_) {
      for (std::size_t k = 0; k < c; ++k) interleaved[n * c + k] = channels_[k][at_];
    }
    return n;
  }

 private:
  std::vector<Samples> channels_;
  linebench::CaptureFacts facts_;
  std::size_t at_ = 0;
};

}  // namespace synth
