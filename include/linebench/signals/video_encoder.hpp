// Composite video samples from a test picture, endless, at any sample rate.
//
// One continuous waveform is defined: line L (counted from 0H of line 1 of colour field 1, time 0) begins at
// exactly L line periods, its subcarrier phase is exact by whole numbers, every edge is a closed form seen
// through an ideal low-pass filter. Sample n is that waveform at n / sample rate: no drift, however long, and
// nothing folded back.
#pragma once

#include <cstdint>
#include <linebench/signals/video_picture.hpp>
#include <linebench/signals/video_shapes.hpp>
#include <linebench/standards/video.hpp>
#include <memory>
#include <span>

namespace linebench::signals {

/// Lowest sample rate with subcarrier, Hz; below it only the "sync" picture and monochrome ones make sense.
inline constexpr double lowest_composite_rate_hz = 10e6;

struct EncoderOptions {
  standards::VideoSystem system = standards::VideoSystem::B625;
  standards::Rational sample_rate_hz{27'000'000, 1};
  double bandwidth_hz = 0;  ///< flat band; 0 = 6 MHz, or 0.46 of the sample rate where that is less
  double sc_h_deg = 0;      ///< subcarrier-to-sync phase
  bool colour = true;       ///< false: no burst, no chrominance
};

/// Exact rate for a figure in Hz: within 1 Hz of 4 x subcarrier of the system it is that (14.318 181 8... or
/// 17.734 475 MHz), else the figure to the nearest 0.001 Hz. Throws Error(Usage) outside 8 kHz to 2 GHz.
[[nodiscard]] standards::Rational exact_sample_rate(double hz, const standards::VideoStandard& standard);

class CompositeEncoder {
 public:
  /// Throws Error(Usage) for a rate below lowest_composite_rate_hz with colour, or below 8 kHz.
  CompositeEncoder(TestPicture picture, const EncoderOptions& options);
  ~CompositeEncoder();
  CompositeEncoder(CompositeEncoder&&) noexcept;
  CompositeEncoder& operator=(CompositeEncoder&&) noexcept;
  CompositeEncoder(const CompositeEncoder&) = delete;
  CompositeEncoder& operator=(const CompositeEncoder&) = delete;

  /// Fills all of `out` with the next samples, volts across 75 ohm, blanking = 0. Accurate to 5 uV of the
  /// definition.
  void read(std::span<float> out);

  [[nodiscard]] std::uint64_t position() const;  ///< samples handed out so far
  [[nodiscard]] double sample_rate_hz() const;
  [[nodiscard]] const BandLimit& band_limit() const;
  [[nodiscard]] const standards::VideoStandard& standard() const;
  [[nodiscard]] const TestPicture& picture() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::signals
