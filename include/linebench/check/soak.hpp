// A long run with a steady tone: what happens, and when. Memory is constant whatever the length.
#pragma once

#include <cstdint>
#include <functional>
#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>

namespace linebench::check {

struct SoakEvent {
  enum class Kind {
    Click,
    Crackle,
    Dropout,
    Clip,
    Step,
    Drift,
    HumRise,
    NoiseRise,
    DistortionRise,
    Gone,
    Back
  } kind = Kind::Click;
  double at_s = 0;    ///< from the start of the run
  double amount = 0;  ///< Click: of full scale; Crackle: dB re the tone; Dropout: s; Clip: samples; else dB,
                      ///< of a drift against the start
  std::string channel{};  ///< ".left", ".right", ".chN"; empty for mono
};
/// "01:02:03.4" from the start.
[[nodiscard]] std::string soak_time(double seconds);

/// Less than this says nothing.
inline constexpr double shortest_soak_s = 0.1;

struct SoakOptions {
  std::optional<double> tone_hz{};  ///< the steady tone that is sent
  std::string signal{};             ///< its recipe
  double window_s = 10;             ///< measured at a time; a level step is told from window to window
  double overlap_s = 1;             ///< windows overlap, so that nothing falls between two
  double step_db = 0.5;             ///< least level step
};

/// Clicks, crackle, dropouts, clipping, level steps, a level that drifts, hum, noise and distortion that come
/// in, by the program's own audio measurement, window by window; a tone that goes away for longer than a
/// window, and comes back. Of each kind and channel all are counted and the first 500 kept with their times.
class Soak {
 public:
  /// @param told every event, as it is found; may be empty.
  Soak(double rate_hz, int channels, SoakOptions options, std::function<void(const SoakEvent&)> told = {});
  ~Soak();
  Soak(const Soak&) = delete;
  Soak& operator=(const Soak&) = delete;

  /// @param interleaved whole frames.
  void push(std::span<const float> interleaved);
  /// audio.signal, audio.click.count and .times, audio.dropout.count and .times, audio.clip.samples,
  /// audio.crackle.count and .times, audio.tone.step, audio.tone.drift, audio.hum.rise, audio.noise.rise,
  /// audio.thd.rise (the largest) of each channel.
  /// Throws Error(Unusable) when less than 0.1 s was pushed.
  [[nodiscard]] Readings finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::check
