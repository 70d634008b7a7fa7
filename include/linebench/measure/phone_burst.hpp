// Mobile-phone bursts: the pulses of a nearby handset, demodulated by an audio input, 26 frames in 120 ms.
#pragma once

#include <linebench/base/reading.hpp>
#include <memory>
#include <span>
#include <string_view>

namespace linebench::measure {

struct PhoneBurstResult {
  double seconds = 0;  ///< looked at
  bool too_short = false;
  bool found = false;
  double rate_hz = 0;
  double rate_u = 0;         ///< k=1
  double power = 0;          ///< mean square of the burst's harmonics (up to 2.2 kHz) while it lasts
  double power_u = 0;        ///< k=1
  double burst_seconds = 0;  ///< for how long there were bursts
  double first_s = 0;        ///< when they began
  double least_power = 0;    ///< anything not found is below this mean square (k=2)
};

/// TDMA frame rate: 26 frames in 120 ms [ETSI TS 145 002].
inline constexpr double phone_frame_rate_hz = 26.0 / 0.12;
inline constexpr double shortest_phone_burst_s = 0.5;

/// Streaming search of one channel for stretches of 0.4 s or more in which most of the first ten harmonics of
/// the frame rate stand out and keep their phase to it. Mains harmonics share only every third of them; a
/// voice at that pitch does not hold it to 0.1 %. Memory independent of length.
class PhoneBurstAnalyser {
 public:
  explicit PhoneBurstAnalyser(double rate_hz);
  ~PhoneBurstAnalyser();
  PhoneBurstAnalyser(PhoneBurstAnalyser&&) noexcept;
  PhoneBurstAnalyser& operator=(PhoneBurstAnalyser&&) noexcept;
  PhoneBurstAnalyser(const PhoneBurstAnalyser&) = delete;
  PhoneBurstAnalyser& operator=(const PhoneBurstAnalyser&) = delete;

  void push(std::span<const float> channel_samples);
  [[nodiscard]] PhoneBurstResult finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// audio.phone_burst.rate and .level with the suffix appended.
[[nodiscard]] Readings to_readings(const PhoneBurstResult& result, std::string_view suffix);

}  // namespace linebench::measure
