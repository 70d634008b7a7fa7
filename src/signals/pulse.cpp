// The polarity pulse.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "audio_kinds.hpp"

namespace linebench::signals {
namespace {

// Four harmonics under a bell: no DC, nothing above 3.7 kHz, one high positive peak.
constexpr double fundamental_hz = 800;
constexpr int harmonics = 4;
constexpr double bell_s = 1e-3;  ///< standard deviation of the envelope
// In phase at the peak they would be most lopsided at the input of a path, but a steep 300 to 3400 Hz band
// (fourth order and up at each end) turns the phases of its middle by more than a quarter turn against its
// edges and with that the sign of the higher peak. Starting a sixth of a turn early keeps it up, 1.5 times
// the lower one and more, from a straight wire to sixth-order ends; found by search over the phase.
constexpr double early_turns = 1.0 / 6;
/// Beyond this the bell is below 1e-15.
constexpr double reach_s = 8.5 * bell_s;

double shape(double t_s) {
  const double bell = std::exp(-0.5 * (t_s / bell_s) * (t_s / bell_s));
  double sum = 0;
  for (int h = 1; h <= harmonics; ++h) {
    sum += std::cos(2 * std::numbers::pi * (fundamental_hz * h * t_s - early_turns)) / h;
  }
  return bell * sum;
}

class PolarityPulse : public Generator {
 public:
  PolarityPulse(const Recipe& recipe, const GeneratorOptions& options)
      : rate_hz_(options.rate_hz), interval_(frames_of(recipe.number("interval_seconds"), options.rate_hz)) {
    frames_ = frames_of(seconds_of(recipe, options), rate_hz_);
    // Normalised by the samples themselves: the highest sample is the level.
    const auto reach = static_cast<int>(std::ceil(reach_s * rate_hz_));
    for (int n = -reach; n <= reach; ++n) highest_ = std::max(highest_, shape(n / rate_hz_));
  }

  void next(std::span<double> left, std::span<double>) override {
    for (double& v : left) {
      const double t = (static_cast<double>(at_ % interval_) - static_cast<double>(interval_ / 2)) / rate_hz_;
      v = std::abs(t) < reach_s ? shape(t) / highest_ : 0.0;
      ++at_;
    }
  }

 private:
  double rate_hz_;
  std::uint64_t interval_;
  double highest_ = 0;
  std::uint64_t at_ = 0;
};

std::unique_ptr<Generator> make_polarity_pulse(const Recipe& recipe, const GeneratorOptions& options) {
  return std::make_unique<PolarityPulse>(recipe, options);
}

}  // namespace

AudioKind polarity_pulse_kind() {
  return {{"polarity-pulse",
           Medium::Audio,
           "pulses that go further up than down; a path that turns them over has its polarity reversed",
           {number_parameter("interval_seconds", "s", "time from pulse to pulse", 0.1, 10, 0.5),
            seconds_parameter(10)}},
          make_polarity_pulse};
}

}  // namespace linebench::signals
