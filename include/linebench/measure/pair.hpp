// What the two sides of a stereo capture have to do with each other.
#pragma once

#include <linebench/base/reading.hpp>
#include <memory>
#include <span>

namespace linebench::measure {

/// Polarity, delay and gain between left and right of what both share, which sides carry signal, and
/// crosstalk where the signal shows it. Streaming, constant memory: cross-spectra over segments,
/// cross-correlation with whitening.
class PairAnalyser {
 public:
  explicit PairAnalyser(double rate_hz);
  ~PairAnalyser();
  PairAnalyser(PairAnalyser&&) noexcept;
  PairAnalyser& operator=(PairAnalyser&&) noexcept;

  /// @param left, right equally long, finite, full scale = 1; any length a call.
  void push(std::span<const float> left, std::span<const float> right);
  /// audio.pair.sides, .polarity, .delay, .gain and .crosstalk.
  [[nodiscard]] Readings finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Longest delay between the sides that is looked for.
inline constexpr double pair_longest_delay_s = 0.04;

}  // namespace linebench::measure
