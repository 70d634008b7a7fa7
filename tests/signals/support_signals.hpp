// Rendering a recipe, shipped or written on the spot, into memory for a test to look at.
#pragma once

#include <gtest/gtest.h>

#include <fstream>
#include <linebench/signals/audio_signal.hpp>
#include <string>
#include <support/python.hpp>
#include <vector>
#include <where.hpp>

namespace signal_tests {

using linebench::signals::AudioSignalOptions;
using linebench::signals::Recipe;

inline std::string shipped(const std::string& name) {
  return std::string(LINEBENCH_SOURCE_DIR) + "/signals/" + name + ".toml";
}

inline Recipe shipped_recipe(const std::string& name) {
  return linebench::signals::read_recipe(shipped(name));
}

/// A recipe of a kind with the parameters given as TOML lines.
inline Recipe made_recipe(const std::string& kind, const std::string& parameters) {
  const testing_support::TempDir dir;
  std::ofstream(dir / "test.toml")
      << "name = \"test\"\ntitle = \"t\"\npurpose = \"p\"\nsource = \"s\"\nkind = \"" << kind
      << "\"\n[parameters]\n"
      << parameters << "\n";
  return linebench::signals::read_recipe(dir / "test.toml");
}

/// All samples of one channel, read in odd pieces so that block borders fall everywhere.
inline std::vector<float> render(const Recipe& recipe, AudioSignalOptions options = {}, int channel = 0) {
  const auto source = linebench::signals::make_audio_signal(recipe, options);
  const auto channels = static_cast<std::size_t>(options.channels);
  std::vector<float> out;
  std::vector<float> block(channels * 1777);
  for (std::size_t n = source->read(block); n > 0; n = source->read(block)) {
    for (std::size_t i = 0; i < n; ++i)
      out.push_back(block[i * channels + static_cast<std::size_t>(channel)]);
  }
  EXPECT_EQ(out.size(), source->facts().frames);
  return out;
}

inline AudioSignalOptions mono(double rate = 48000) {
  AudioSignalOptions o;
  o.sample_rate_hz = rate;
  o.channels = 1;
  return o;
}

/// rms of x[from, to) in dBFS, full-scale sine = 0 [AES17].
inline double dbfs(const std::vector<float>& x, std::size_t from, std::size_t to) {
  double sum = 0;
  for (std::size_t i = from; i < to; ++i) sum += static_cast<double>(x[i]) * static_cast<double>(x[i]);
  return 10 * std::log10(2 * sum / static_cast<double>(to - from));
}

}  // namespace signal_tests
