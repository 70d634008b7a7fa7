// Line-rate whistle: the steady tone a television line scan (15 625 Hz, or 15 734.27 Hz) leaves in an audio
// path.
#pragma once

#include <complex>
#include <cstddef>
#include <linebench/base/reading.hpp>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct WhistleResult {
  double seconds = 0;  ///< looked at
  bool rate_too_low = false;
  bool too_short = false;
  bool found = false;
  double frequency_hz = 0;
  double frequency_u = 0;  ///< k=1
  double power = 0;        ///< mean square
  double power_u = 0;      ///< k=1
  double least_power = 0;  ///< anything not found is below this mean square (k=2)
};

/// Rates under this do not carry the line rate.
inline constexpr double lowest_whistle_rate_hz = 36000.0;
inline constexpr double shortest_whistle_s = 0.5;

/// Streaming search within +-0.1 % of both line rates [BT.1700], against the noise beside them, in stretches
/// of about ten seconds; found when at least a third of the stretches show it. Memory independent of length.
class WhistleAnalyser {
 public:
  explicit WhistleAnalyser(double rate_hz);
  void push(std::span<const float> channel_samples);
  [[nodiscard]] WhistleResult finish();

 private:
  void process();

  double rate_hz_;
  std::size_t hop_;                   // input samples per baseband sample
  std::vector<float> cosine_, sine_;  // the band-pass at the centre frequency, real and imaginary
  std::vector<float> pending_;
  double turns_ = 0;  // of the centre frequency since the start, modulo 1
  std::vector<std::complex<double>> stretch_;
  std::size_t capacity_;
  float loudest_ = 0;
  double seconds_ = 0;
  double found_seconds_ = 0;
  double frequency_sum_ = 0, frequency_weight_ = 0;
  double power_time_ = 0, power_variance_time_ = 0, least_time_ = 0;
};

/// audio.whistle.frequency and .level with the suffix appended.
[[nodiscard]] Readings to_readings(const WhistleResult& result, std::string_view suffix);

}  // namespace linebench::measure
