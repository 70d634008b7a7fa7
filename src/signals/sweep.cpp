#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/signals/sweep.hpp>
#include <numbers>

#include "audio_kinds.hpp"
#include "plans.hpp"

namespace linebench::signals {

std::uint64_t Sweep::frames() const { return frames_of(seconds, rate_hz); }
double Sweep::growth_s() const { return seconds / std::log(f2_hz / f1_hz); }
double Sweep::frequency_at(double t_s) const { return f1_hz * std::exp(t_s / growth_s()); }

double Sweep::sample(std::uint64_t n) const {
  const double l = growth_s();
  const double turns = f1_hz * l * std::expm1(static_cast<double>(n) / rate_hz / l);
  return std::sin(2 * std::numbers::pi * (turns - std::floor(turns)));
}

Sweep synchronised_sweep(double f1_hz, double f2_hz, double about_seconds, double rate_hz) {
  if (!(f1_hz > 0) || !(f2_hz > f1_hz) || !(f2_hz < rate_hz / 2)) {
    throw bad_usage(fmt::format(
        "sweep from {:g} to {:g} Hz at {:g} Hz sample rate: the start must be above 0, the end above the "
        "start and below half the rate",
        f1_hz, f2_hz, rate_hz));
  }
  const double span = std::log(f2_hz / f1_hz);
  const double turns = std::round(f1_hz * about_seconds / span);
  if (turns < 1) {
    throw bad_usage(fmt::format("sweep from {:g} to {:g} Hz: {:g} s is too short; use {:.1f} s or more",
                                f1_hz, f2_hz, about_seconds, std::ceil(10 * span / f1_hz) / 10));
  }
  return {f1_hz, f2_hz, turns / f1_hz * span, rate_hz};
}

Sweep plan_sweep(const Recipe& recipe, const GeneratorOptions& options) {
  require_below_nyquist(recipe, recipe.number("to_hz"), options.rate_hz);
  return synchronised_sweep(recipe.number("from_hz"), recipe.number("to_hz"), seconds_of(recipe, options),
                            options.rate_hz);
}

namespace {

class SweepGenerator : public Generator {
 public:
  explicit SweepGenerator(const Sweep& sweep) : sweep_(sweep) { frames_ = sweep.frames(); }
  void next(std::span<double> left, std::span<double>) override {
    for (double& v : left) v = sweep_.sample(at_++);
  }

 private:
  Sweep sweep_;
  std::uint64_t at_ = 0;
};

std::unique_ptr<Generator> make_sweep(const Recipe& recipe, const GeneratorOptions& options) {
  return std::make_unique<SweepGenerator>(plan_sweep(recipe, options));
}

}  // namespace

AudioKind sweep_kind() {
  return {{"sweep",
           Medium::Audio,
           "a sine gliding upwards, the same time for every octave, with phase-synchronised harmonics",
           {frequency_parameter("from_hz", "start"), frequency_parameter("to_hz", "end"),
            seconds_parameter(10, 0.1)}},
          make_sweep};
}

}  // namespace linebench::signals
