// Measuring a synthetic capture and looking up its readings.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <linebench/measure/audio.hpp>
#include <string>
#include <utility>
#include <vector>

#include "support/synth.hpp"

namespace readings_support {

inline linebench::Readings measure(double rate, std::vector<synth::Samples> channels,
                                   const linebench::measure::AudioOptions& options = {}) {
  synth::MemorySource source(rate, std::move(channels));
  return linebench::measure::measure_audio(source, options);
}

inline const linebench::Reading& reading(const linebench::Readings& r, const std::string& id) {
  static const linebench::Reading none;
  const linebench::Reading* found = linebench::find_reading(r, id);
  if (found == nullptr) ADD_FAILURE() << id << " is missing";
  return found == nullptr ? none : *found;
}

inline double value(const linebench::Readings& r, const std::string& id) {
  const linebench::Reading& found = reading(r, id);
  if (!found.measured()) {
    ADD_FAILURE() << id << " unmeasurable: " << found.reason;
    return std::numeric_limits<double>::quiet_NaN();
  }
  return found.number();
}

inline bool measured(const linebench::Readings& r, const std::string& id) {
  return reading(r, id).measured();
}

/// Raised-cosine fades and silence before and after.
inline synth::Samples faded(synth::Samples x, double rate, double fade_s, double silence_s) {
  const auto n = synth::count(fade_s, rate);
  for (std::size_t i = 0; i < n && i < x.size(); ++i) {
    const auto g = static_cast<float>(
        0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(i) / static_cast<double>(n)));
    x[i] *= g;
    x[x.size() - 1 - i] *= g;
  }
  synth::Samples out(synth::count(silence_s, rate));
  out.insert(out.end(), x.begin(), x.end());
  out.resize(out.size() + synth::count(silence_s, rate));
  return out;
}

}  // namespace readings_support
