// Live readings of an audio stream, by the same measurements as a capture's, over short windows that move
// along.
#pragma once

#include <cstdint>
#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::live {

struct AudioMeterOptions {
  std::optional<double> mains_hz;  ///< 50 or 60: look for hum near this only; otherwise 45 to 65 Hz
  std::optional<double> tone_hz;   ///< a tone that is being sent: never taken for hum
};

/// What an audio stream shows at a moment.
struct AudioView {
  double time_s = 0;  ///< of the stream: the end of the newest samples looked at
  Readings readings;
  std::vector<Curve> spectra;  ///< one a channel: Hz / dBFS per line, the last second; may be empty at first
  std::vector<double> hum_window_s;  ///< one a channel: what the hum reading stands on
};

/// How often a new view comes, seconds of stream.
inline constexpr double audio_step_s = 0.05;
/// What levels are taken over: whole periods of 50 and of 60 Hz, so that hum does not make them waver.
inline constexpr double level_window_s = 0.1;

/// Streaming, any block length, constant memory. Windows: level 0.1 s, hum as HumFollower, all else
/// (spectrum, tone, distortion, noise, clipping, clicks, dropouts) the last second, twice a second. A change
/// of level is fully read 0.15 s after it at the most, a change of hum as HumFollower says.
class AudioMeter {
 public:
  /// @param facts rate (8 kHz or more), channels, format and calibration are used. Throws Error(Unusable) for
  /// a rate or channel count that cannot be measured.
  AudioMeter(const CaptureFacts& facts, const AudioMeterOptions& options);
  ~AudioMeter();
  AudioMeter(AudioMeter&&) noexcept;
  AudioMeter& operator=(AudioMeter&&) noexcept;

  /// @param interleaved a multiple of the channel count.
  /// @return true when there is a newer view. Throws Error(Unusable) for a sample that is NaN or infinite.
  bool push(std::span<const float> interleaved);
  [[nodiscard]] const AudioView& view() const;
  /// Samples were lost before the next ones: windows that reach over the gap start anew.
  void gap();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::live
