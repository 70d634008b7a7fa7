// The noise meter of BS.468-4: weighting filter and quasi-peak detector, in the time domain.
#pragma once

#include <array>
#include <cstddef>
#include <linebench/dsp/biquad.hpp>
#include <span>

namespace linebench::measure {

/// The weighting network of [BS.468-4] as a recursive filter, 0 dB at 1 kHz. Follows the network within 0.1
/// dB from 31.5 Hz to 16 kHz (where the rate carries it). Throws std::invalid_argument for rates under 8 kHz.
[[nodiscard]] dsp::Cascade bs468_filter(double rate_hz);

/// The complete quasi-peak meter of [BS.468-4]: weighting, full-wave rectifier, detector with the standard's
/// tone-burst behaviour. Reads the rms of a steady 1 kHz sine.
class QuasiPeakMeter {
 public:
  explicit QuasiPeakMeter(double rate_hz);
  void push(std::span<const float> samples);
  /// The highest reading since the detector had settled (0.5 s after the start; for shorter signals, at all),
  /// rms.
  [[nodiscard]] double reading() const { return settled() ? highest_ * calibration_ : any_ * calibration_; }
  [[nodiscard]] bool settled() const { return samples_ > settle_samples_; }

 private:
  std::array<dsp::Section, 3> sections_;
  std::array<double, 6> state_{};
  double fast_charge_, fast_leak_, slow_charge_, slow_leak_;
  double calibration_ = 1;
  double fast_ = 0;
  double slow_ = 0;
  double highest_ = 0;
  double any_ = 0;
  std::size_t samples_ = 0;
  std::size_t settle_samples_ = 0;
};

}  // namespace linebench::measure
