#include "generator.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <numbers>

namespace linebench::signals {

std::uint64_t frames_of(double seconds, double rate_hz) {
  return static_cast<std::uint64_t>(std::llround(std::max(0.0, seconds) * rate_hz));
}

double seconds_of(const Recipe& recipe, const GeneratorOptions& options) {
  return options.seconds.value_or(recipe.number("seconds"));
}

void require_below_nyquist(const Recipe& recipe, double hz, double rate_hz) {
  if (hz < rate_hz / 2) return;
  throw bad_usage(fmt::format(
      "signal {}: {:g} Hz does not fit below half of the sample rate {:g} Hz; use a rate above {:g} Hz "
      "or a signal of a narrower band",
      recipe.name, hz, rate_hz, 2 * hz));
}

double raised_cosine(double x) {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  return 0.5 - 0.5 * std::cos(std::numbers::pi * x);
}

}  // namespace linebench::signals
