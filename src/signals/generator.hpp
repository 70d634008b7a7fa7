// What each kind of audio signal has to provide; the rest (level, fades, silence round it, channels) is done
// once, in audio_signal.cpp.
#pragma once

#include <cstdint>
#include <linebench/signals/recipe.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::signals {

class Generator {
 public:
  Generator() = default;
  Generator(const Generator&) = delete;
  Generator& operator=(const Generator&) = delete;
  virtual ~Generator() = default;

  [[nodiscard]] std::uint64_t frames() const { return frames_; }
  [[nodiscard]] bool stereo() const { return stereo_; }
  /// The largest |sample| there can be when the level is 0 dBFS.
  [[nodiscard]] double peak() const { return peak_; }
  /// What differs from the recipe, one sentence each.
  [[nodiscard]] const std::vector<std::string>& notes() const { return notes_; }

  /// The next samples at a level of 0 dBFS; `right` is as long as `left` when stereo(), else empty. Called in
  /// order, for frames() samples in all. Heavy preparation waits for the first call, so that asking for
  /// lengths is cheap.
  virtual void next(std::span<double> left, std::span<double> right) = 0;

 protected:
  std::uint64_t frames_ = 0;
  bool stereo_ = false;
  double peak_ = 1;
  std::vector<std::string> notes_;
};

struct GeneratorOptions {
  double rate_hz = 0;
  std::optional<double> seconds;  ///< instead of the recipe's length
  double fade_in_s = 0;           ///< rise and fall that will be laid over it
  double fade_out_s = 0;
};

/// Throws Error(Usage) where the recipe cannot be made at this rate or length.
using MakeGenerator = std::unique_ptr<Generator> (*)(const Recipe&, const GeneratorOptions&);

/// Samples in a time.
[[nodiscard]] std::uint64_t frames_of(double seconds, double rate_hz);

/// The recipe's "seconds" or what stands in for it.
[[nodiscard]] double seconds_of(const Recipe& recipe, const GeneratorOptions& options);

/// Throws Error(Usage) unless a frequency has room below half the sample rate.
void require_below_nyquist(const Recipe& recipe, double hz, double rate_hz);

/// Raised cosine rising from 0 at x = 0 to 1 at x = 1: no step in value or slope at either end.
[[nodiscard]] double raised_cosine(double x);

}  // namespace linebench::signals
