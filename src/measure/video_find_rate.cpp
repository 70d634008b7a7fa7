#include <algorithm>
#include <cmath>

#include "video_find.hpp"

namespace linebench::measure {
namespace {

constexpr double farthest = 4.2;         // times the rate that was given, or a part of it
constexpr double step = 1.03;            // television line rates lie within +-1.8 % of one another
constexpr std::size_t most = 250'000;    // samples looked at
constexpr double surely = 0.9;           // of the lines, with sync
constexpr double enough = 0.85;          // of the lines by the rate given, for it to be right
constexpr double better = 0.1;           // than by the rate given, all told
constexpr double middle_line_us = 63.8;  // between the two systems'
constexpr double alike = 0.02;           // the rate that was given, by this
constexpr double like = width_and_porches_like - 1e-6;

}  // namespace

std::optional<double> rate_that_fits(std::span<const float> volts, double rate_hz,
                                     const FoundSync& as_given) {
  if (as_given.share >= enough && as_given.like >= like) return std::nullopt;
  const std::span<const float> some = volts.first(std::min(volts.size(), most));
  double best = as_given.share + as_given.like + better;
  double best_hz = 0;
  for (double factor = 1 / farthest; factor <= farthest; factor *= step) {
    if (static_cast<double>(some.size()) < least_to_find_s * rate_hz * factor) break;
    const FoundSync found = find_sync(some, rate_hz * factor);
    if (found.share < surely || found.like < like || found.share + found.like <= best) continue;
    best = found.share + found.like;
    best_hz = found.period_samples / middle_line_us * 1e6;
  }
  if (best_hz == 0 || std::abs(best_hz / rate_hz - 1) < alike) return std::nullopt;
  return best_hz;
}

}  // namespace linebench::measure
