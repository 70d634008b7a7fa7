// Where in a channel the true peak lies, found fast, so that the loudness library has only that stretch to
// look at.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::measure {

/// Screens one channel with the interpolation that libebur128 uses for the true peak [BS.1770-4 annex 2]: a
/// sinc of 49 taps under a Hann window, 4 times oversampled below 96 kHz, twice below 192 kHz, not at all
/// from there on. Keeps a copy of the block that holds the largest value, with the samples before and after
/// it.
class TruePeakScreen {
 public:
  static constexpr std::size_t before =
      64;  ///< samples kept before the block: more than the interpolation's memory
  static constexpr std::size_t block = 1024;
  static constexpr std::size_t after = 32;  ///< samples kept after it

  explicit TruePeakScreen(double rate_hz);

  void push(std::span<const float> samples, std::size_t stride = 1);
  /// Takes the rest in. Afterwards stretch() and the others hold.
  void finish();

  /// Largest value found by the screen, samples included; 0 for silence.
  [[nodiscard]] double peak() const noexcept { return peak_; }
  [[nodiscard]] double sample_peak() const noexcept { return sample_peak_; }
  /// The block with the largest value: `before` samples, the block's, `after` samples (zeros outside the
  /// signal).
  [[nodiscard]] std::span<const float> stretch() const noexcept { return stretch_; }
  /// Samples of that block that belong to the signal (less than `block` only at its end).
  [[nodiscard]] std::size_t stretch_block() const noexcept { return stretch_block_; }
  /// 1, 2 or 4.
  [[nodiscard]] static int oversampling(double rate_hz) noexcept;

 private:
  void take_block(std::size_t count);
  [[nodiscard]] float interpolated_peak(std::size_t count) const;

  static constexpr std::size_t whole = before + block + after;
  int factor_;
  float gain_bound_ = 1;  ///< sum of the magnitudes of the taps: no output can exceed it times the peak
  std::array<float, 6>
      half_{};  ///< factor 4: taps half way between samples, one half of the symmetric twelve
  std::array<float, 6> even_{};  ///< factor 4: even and odd parts of the taps at a quarter
  std::array<float, 6> odd_{};
  std::array<float, 12> half_long_{};  ///< factor 2: one half of the symmetric 24
  std::array<float, whole> ring_{};
  std::size_t filled_ = before;
  float peak_ = 0;
  float sample_peak_ = 0;
  std::vector<float> stretch_;
  std::size_t stretch_block_ = 0;
};

/// True peak of a stretch by far finer interpolation (64 taps, 16 times): how much the standard's
/// oversampling misses.
/// @param samples at least 64; looked at are those from 32 on up to 32 before the end.
[[nodiscard]] double fine_peak(std::span<const float> samples);

}  // namespace linebench::measure
