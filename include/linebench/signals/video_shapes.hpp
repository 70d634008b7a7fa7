// Steps, pulses and slopes as they look after an ideal low-pass filter, for any sampling instant.
//
// A waveform is a sum of such shapes, each placed at its exact time. The filter is part of the shape, so
// samples are those of one continuous band-limited waveform and nothing folds back, whatever the sample rate.
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <memory>
#include <span>
#include <tuple>
#include <vector>

namespace linebench::signals {

/// Linear-phase low-pass filter: flat (80 dB) up to pass_hz, 80 dB down from stop_hz; a Kaiser-windowed sinc
/// in continuous time.
struct BandLimit {
  double pass_hz = 0;
  double stop_hz = 0;
};

/// The widest limit that suits a sample rate: flat to 6 MHz where that leaves room, never wider than 13.5
/// MHz.
/// @param bandwidth_hz flat band asked for, 0 = as wide as the rate allows
[[nodiscard]] BandLimit band_limit_for(double sample_rate_hz, double bandwidth_hz = 0);

enum class ShapeKind : std::uint8_t {
  Step,   ///< integrated sin^2 step 0 -> 1, 50 % at time 0
  Pulse,  ///< sin^2 pulse, peak 1 at time 0
  Slope,  ///< integral over time of the Step, in samples: what begins a ramp
};

/// One shape sampled at every fraction of a sample. With a carrier, the complex envelope that makes
/// Im{A e^(j w t) g(t)} the band-limited product of carrier and shape.
class ShapeTable {
 public:
  /// Values g(n - t) for the samples n = first .. first + taps() - 1, t being the event's place in samples.
  /// Before them the shape is 0, after them end() (Slope: samples since the event).
  struct Place {
    std::int64_t first = 0;
    const float* low = nullptr;  ///< the two neighbouring rows and how much of the upper one to take
    const float* high = nullptr;
    const float* low_im = nullptr;
    const float* high_im = nullptr;
    float weight = 0;
  };
  [[nodiscard]] Place place(double at_samples) const;
  [[nodiscard]] std::size_t taps() const { return taps_; }
  [[nodiscard]] double half_width() const { return half_; }
  [[nodiscard]] double end_re() const { return end_re_; }
  [[nodiscard]] bool complex() const { return !im_.empty(); }

 private:
  friend class ShapeBank;
  std::size_t taps_ = 0;
  std::size_t rows_ = 0;
  double half_ = 0;  ///< samples
  double end_re_ = 0;
  std::vector<float> re_;
  std::vector<float> im_;
};

/// Tables for one sample rate and limit, made when first asked for.
class ShapeBank {
 public:
  ShapeBank(double sample_rate_hz, BandLimit limit);

  /// @param had_ns half-amplitude duration of the sin^2, > 0 @param carrier_hz 0: none
  [[nodiscard]] const ShapeTable& get(ShapeKind kind, double had_ns, double carrier_hz = 0);
  /// Samples to each side of an event that a shape of this duration reaches.
  [[nodiscard]] double half_width(double had_ns) const {
    return (kernel_half_s_ + had_ns * 1e-9) * rate_ + 1;
  }
  [[nodiscard]] double sample_rate_hz() const { return rate_; }
  [[nodiscard]] const BandLimit& limit() const { return limit_; }

 private:
  [[nodiscard]] double kernel(double t) const;
  [[nodiscard]] std::unique_ptr<ShapeTable> make(ShapeKind kind, double had_ns, double carrier_hz) const;

  double rate_;
  BandLimit limit_;
  double kernel_half_s_ = 0;
  double kernel_step_s_ = 0;
  std::vector<double> kernel_;  ///< one side, with points beyond the end for interpolation
  std::map<std::tuple<ShapeKind, double, double>, std::unique_ptr<ShapeTable>> tables_;
};

}  // namespace linebench::signals
