// A job of captures made in a test: samples in memory measured as the program measures them, or readings
// written out by hand.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <linebench/base/reading.hpp>
#include <linebench/base/version.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/measure/audio.hpp>
#include <string>
#include <utility>
#include <vector>

#include "support/synth.hpp"

namespace diagnose_test {

using namespace linebench;
using namespace linebench::diagnose;

constexpr double rate = 48000;

inline const FaultBook& book() {
  static const FaultBook shipped = load_fault_book({share_dir() / "signals" / "faults"});
  return shipped;
}

/// Noise of a sound path: -80 dBFS in half the rate, the project's usual.
inline synth::Samples quiet(double seconds, std::uint64_t seed, double dbfs = -80) {
  synth::Samples x(synth::count(seconds, rate), 0.0F);
  synth::add_noise(x, dbfs, seed);
  return x;
}

inline synth::Samples tone(double seconds, std::uint64_t seed, double dbfs = -18) {
  synth::Samples x = quiet(seconds, seed);
  synth::add_sine(x, rate, 997, dbfs);
  return x;
}

inline Capture measured(std::vector<synth::Samples> channels, const std::string& name = "take.wav",
                        const std::string& signal = {}, std::optional<double> full_scale_v = {}) {
  // A converter's rails.
  for (synth::Samples& x : channels) {
    for (float& v : x) v = std::clamp(v, -1.0F, 1.0F - 0x1p-15F);
  }
  synth::MemorySource source(rate, std::move(channels));
  source.edit_facts().signal = signal;
  source.edit_facts().full_scale_v = full_scale_v;
  measure::AudioOptions options;
  options.signal = signal;
  Capture c;
  c.name = name;
  c.readings = measure::measure_audio(source, options);
  c.facts = source.facts();
  return c;
}

inline Capture of_readings(Readings readings, const std::string& name = "camera.raw") {
  Capture c;
  c.name = name;
  c.readings = std::move(readings);
  return c;
}

inline Reading number(const char* id, double value, double u) { return number_reading(id, value, u); }

/// Bars of 625 lines by the standard's levels.
inline Readings bars_625(double sync_mv = 300, double white_mv = 700, double burst_mv = 300) {
  Readings r;
  r.push_back(text_reading("video.signal", "present"));
  r.push_back(text_reading("video.system", "625"));
  r.push_back(text_reading("video.polarity", "normal"));
  r.push_back(text_reading("video.pattern", "bars"));
  r.push_back(text_reading("video.bars.kind", "100-0-75-0"));
  r.push_back(number("video.sync.amplitude", sync_mv, 1));
  r.push_back(number("video.white", white_mv, 2));
  r.push_back(number("video.burst.amplitude", burst_mv, 2));
  return r;
}

inline Diagnosis diagnosed(const std::vector<Capture>& captures, const Site& site = {}) {
  return diagnose::diagnose(book(), Job{captures, {}, site});
}

inline double probability(const Diagnosis& d, std::string_view fault) {
  for (const auto& [id, p] : d.ranking) {
    if (id == fault) return p;
  }
  ADD_FAILURE() << "no fault is called " << fault;
  return 0;
}

inline std::string first(const Diagnosis& d) { return d.findings.empty() ? "" : d.findings.front().fault; }

/// The evidence of one sign, if the captures give any.
inline std::optional<Evidence> evidence(const std::vector<Capture>& captures, std::string_view sign,
                                        const Site& site = {}) {
  for (const Evidence& e : gather(book(), captures, site)) {
    if (e.sign == sign) return e;
  }
  return std::nullopt;
}

/// For messages: the ranking's head.
inline std::string shown(const Diagnosis& d) {
  std::string s =
      "nothing wrong " + std::to_string(d.nothing_wrong) + ", not in the book " + std::to_string(d.unlisted);
  for (std::size_t i = 0; i < 4; ++i)
    s += ", " + d.ranking[i].first + " " + std::to_string(d.ranking[i].second);
  return s;
}

}  // namespace diagnose_test
