// Hum while cables are moved: a fit over a window that grows as long as nothing changes and starts again when
// something does, so that the figure is there within a second of a change and gets sharper by itself.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/hum.hpp>
#include <memory>
#include <span>
#include <string_view>

namespace linebench::live {

/// One channel, streaming, any block length, constant memory. Every 0.2 s the last 0.45 s are fitted by
/// themselves. Two such fits in a row that contradict the reading (by three standard uncertainties and 10 %
/// of the power, or by hum that came or went) are a change: the window then starts anew, and until it is
/// 0.65 s long the short fit is the reading. So a step at the input is read, from samples after it only,
/// 0.85 s later at the most. The window grows to 10 s and then slides. Each fit is
/// measure::HumAnalyser's, its uncertainty included.
class HumFollower {
 public:
  /// @param rate_hz 8 kHz or more.
  HumFollower(double rate_hz, const measure::HumOptions& options);
  ~HumFollower();
  HumFollower(HumFollower&&) noexcept;
  HumFollower& operator=(HumFollower&&) noexcept;

  /// @return true when there is a newer fit.
  bool push(std::span<const float> channel_samples);
  /// audio.hum.* of the newest fit; the level's remark says over how long. Before 0.45 s: unmeasurable.
  [[nodiscard]] const Readings& readings() const;
  /// Length of what the newest fit stands on; 0 before the first.
  [[nodiscard]] double window_s() const;
  /// How often the window started anew since the beginning.
  [[nodiscard]] std::uint64_t changes() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::live
