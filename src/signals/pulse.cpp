// The polarity pulse.
#include <cmath>
#include <numbers>

#include "audio_kinds.hpp"

namespace linebench::signals {
namespace {

/// The slow negative lobe is so many times as wide as the positive one.
constexpr double lobe_ratio = 4;

/// A narrow positive Gaussian less a wide one of the same area: no DC, one high positive peak, a shallow
/// negative rest. Its spectrum, exp(-(2 pi f s)^2 / 2) - exp(-(2 pi f 4s)^2 / 2), is band-limited at both
/// ends and lies around 1 kHz, so that a 300 to 3400 Hz path keeps the peak and with it the sign.
class PolarityPulse : public Generator {
 public:
  PolarityPulse(const Recipe& recipe, const GeneratorOptions& options)
      : interval_(frames_of(recipe.number("interval_seconds"), options.rate_hz)),
        per_sigma_(1 / (recipe.number("width_ms") * 1e-3 * options.rate_hz)) {
    frames_ = frames_of(seconds_of(recipe, options), options.rate_hz);
  }

  void next(std::span<double> left, std::span<double>) override {
    for (double& v : left) {
      const auto from_middle = static_cast<double>(at_ % interval_) - static_cast<double>(interval_ / 2);
      v = shape(from_middle * per_sigma_);
      ++at_;
    }
  }

 private:
  static double shape(double x) {
    const double wide = x / lobe_ratio;
    return (std::exp(-0.5 * x * x) - std::exp(-0.5 * wide * wide) / lobe_ratio) / (1 - 1 / lobe_ratio);
  }

  std::uint64_t interval_;
  double per_sigma_;
  std::uint64_t at_ = 0;
};

std::unique_ptr<Generator> make_polarity_pulse(const Recipe& recipe, const GeneratorOptions& options) {
  return std::make_unique<PolarityPulse>(recipe, options);
}

}  // namespace

AudioKind polarity_pulse_kind() {
  return {{"polarity-pulse",
           Medium::Audio,
           "pulses that go up much further than down; a path that turns them over has its polarity reversed",
           {number_parameter("width_ms", "ms", "half width of the positive peak (standard deviation)", 0.12,
                             2, 0.12),
            number_parameter("interval_seconds", "s", "time from pulse to pulse", 0.1, 10, 0.5),
            seconds_parameter(10)}},
          make_polarity_pulse};
}

}  // namespace linebench::signals
