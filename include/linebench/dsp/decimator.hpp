// Sample-rate reduction by powers of two through half-band FIR stages, for measurements that look at low
// frequencies only.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace linebench::dsp {

/// Half of the taps of a Kaiser-windowed half-band low-pass: h[j] stands at the odd distances +-(2j+1), the
/// centre tap is 1/2 and all others are 0. `transition` is the width from pass to stop edge as a share of the
/// input rate.
[[nodiscard]] std::vector<float> half_band_taps(double attenuation_db, double transition);

/// Halves the rate as often as the result stays at or above a wanted rate. Flat to 1e-6 and free of aliases
/// to -120 dB from 0 to pass_hz() (0.4 of the output rate). Streaming; any block length.
class Decimator {
 public:
  /// @param rate_hz of the input, > 0. @param at_least_hz the output rate lies in [at_least, 2 at_least)
  /// unless the input is already slower, which is then handed through.
  Decimator(double rate_hz, double at_least_hz);

  [[nodiscard]] double rate_hz() const { return out_rate_hz_; }
  [[nodiscard]] double pass_hz() const { return 0.4 * out_rate_hz_; }
  /// By how much the output is late, seconds.
  [[nodiscard]] double delay_s() const { return delay_s_; }

  /// Takes the next samples and gives back what came out; the span is valid until the next call.
  std::span<const float> push(std::span<const float> samples);

 private:
  struct Stage {
    std::vector<float> taps;
    std::vector<float> even, odd;  // samples not yet used up, history first
    std::vector<float> out;
    bool odd_next = false;
    void run(std::span<const float> in);
  };
  std::vector<Stage> stages_;
  double out_rate_hz_;
  double delay_s_ = 0;
};

}  // namespace linebench::dsp
