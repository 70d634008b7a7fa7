// Programme loudness and true peak, by libebur128.
#pragma once

#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

struct LoudnessResult {
  int channels = 0;
  double rate_hz = 0;
  double duration_s = 0;
  std::optional<double> integrated_lufs;  ///< empty: nothing above the -70 LUFS gate, or too short
  std::optional<double> range_lu;         ///< empty: too short or nothing above the gate
  std::vector<double> true_peak;          ///< per channel, 1.0 = full scale
  std::vector<double>
      true_peak_uncertainty_db;  ///< k=2: what the oversampling missed of this signal, at least 0.02
};

/// Integrated loudness and range [BS.1770-4, EBU Tech 3342] and true peak [BS.1770-4 annex 2] of 1 to 5
/// channels (mono, left/right, ... surround), one pass. Memory: 16 bytes per 100 ms for the gate.
///
/// The true peak is libebur128's. A screen with the same interpolation in single precision finds the stretch
/// of each channel where it lies, and only that stretch goes through the library: equal to the library's
/// answer for the whole within 0.001 dB, at a fraction of its time.
class LoudnessAnalyser {
 public:
  /// @param rate_hz 1000 to 2 822 400. @param channels 1 to 64.
  LoudnessAnalyser(double rate_hz, int channels);
  ~LoudnessAnalyser();
  LoudnessAnalyser(LoudnessAnalyser&&) noexcept;
  LoudnessAnalyser& operator=(LoudnessAnalyser&&) noexcept;

  /// @param interleaved finite samples, a multiple of the channel count; any number of frames a call.
  void push(std::span<const float> interleaved);
  [[nodiscard]] LoudnessResult finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// audio.loudness.integrated, audio.loudness.range, audio.programme.level, audio.programme.voltage (of the
/// programme, no suffix), audio.true_peak and audio.true_peak.voltage per channel.
/// @param full_scale_v volts of a sample of 1.0, where known
/// @param carrying channels that carry the programme: loudness adds up their powers
[[nodiscard]] Readings to_readings(const LoudnessResult& result, std::optional<double> full_scale_v,
                                   int carrying);

}  // namespace linebench::measure
