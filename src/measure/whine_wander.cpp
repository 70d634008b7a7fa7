// A whine that wanders: in no bin for long, and still at one level.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>

#include "whine.hpp"
#include "whine_parts.hpp"

namespace linebench::measure {
namespace {

using namespace whine;

constexpr std::size_t width = 40;  // bins of a band, 250 Hz
constexpr std::size_t step = width / 2;
constexpr std::size_t half_line = 12;  // bins that a line which glides fills to either side
constexpr double furthest_move = 3;    // bins from segment to segment; notes are further apart
constexpr double least_wander = 0.75;  // bins to either side; less is steady
constexpr std::size_t nearest = 3;  // bands off that one is compared with: those that share no line with it
constexpr std::size_t furthest = 8;

}  // namespace

std::optional<WhineSearch::Line> WhineSearch::wandering_at(std::size_t first, double least) const {
  const std::size_t from = first > step ? first - step : 1;
  const std::size_t to = std::min(bins_ - 1, first + width + step);
  std::vector<At> all;
  for (std::size_t s = 0; s < segments_; ++s) {
    const std::uint16_t* row = codes_.data() + s * bins_;
    const auto top = static_cast<std::size_t>(std::max_element(row + from, row + to) - row);
    At a{s, 0, 0};
    double n = 0;
    for (std::size_t b = from; b < to; ++b) {
      const double p = power_of(row[b]);
      if (b + half_line >= top && b <= top + half_line) {
        a.power += p;
        a.bins += p * static_cast<double>(b);
      } else {
        a.beside += p;
        n += 1;
      }
    }
    a.bins /= std::max(a.power, smallest_power);
    a.beside *= (2 * half_line + 1) / std::max(1.0, n);
    all.push_back(a);
  }
  Clear c = clear_ones(std::move(all), least);
  if (c.at.empty()) return std::nullopt;
  std::ranges::sort(c.at, {}, &At::segment);
  const auto leaps = [](const At& a, const At& b) {
    return b.segment == a.segment + 1 && std::abs(b.bins - a.bins) > furthest_move;
  };
  if (std::ranges::adjacent_find(c.at, leaps) != c.at.end()) return std::nullopt;
  double power = 0, bins = 0;
  const auto n = static_cast<double>(c.at.size());
  for (const At& a : c.at) {
    power += (a.power - a.beside) / n;
    bins += a.bins / n;
  }
  const auto [low, high] = std::ranges::minmax(c.at, {}, &At::bins);
  const double wander = 0.5 * (high.bins - low.bins);
  if (wander < least_wander) return std::nullopt;
  const double looks = std::max(1.0, shape_.looks_at_line(c.at.size()));
  return Line{bins, power, 2 * std::hypot(c.spread_db, code_spread_db) / std::sqrt(looks) + least_u_db,
              wander};
}

double WhineSearch::find_wandering(std::size_t from, std::size_t to, std::vector<Line>& lines) const {
  std::vector<double> low;
  std::vector<double> sums(segments_);
  for (std::size_t first = from; first + width < to; first += step) {
    for (std::size_t s = 0; s < segments_; ++s) {
      const std::uint16_t* row = codes_.data() + s * bins_ + first;
      sums[s] = 0;
      for (std::size_t b = 0; b < width; ++b) sums[s] += power_of(row[b]);
    }
    low.push_back(dsp::quantile(sums, quantile));
  }
  const auto side = [&](std::size_t i, bool above) {
    std::vector<double> part;
    for (std::size_t k = nearest; k <= furthest; ++k) {
      if (above && i + k < low.size()) part.push_back(low[i + k]);
      if (!above && i >= k) part.push_back(low[i - k]);
    }
    return part.empty() ? 0.0 : dsp::median(std::move(part));
  };
  constexpr double share = (2 * half_line + 1) / static_cast<double>(width);
  double least = 0;
  for (std::size_t i = 0; i < low.size(); ++i) {
    const double background = std::max({side(i, false), side(i, true), smallest_power});
    least = std::max(least, sure * std::max(stands_out, clear * share) * background);
    const bool highest = (i == 0 || low[i] >= low[i - 1]) && (i + 1 == low.size() || low[i] > low[i + 1]);
    if (!highest || low[i] < stands_out * background) continue;
    const std::size_t first = from + i * step;
    const bool known = std::ranges::any_of(lines, [&](const Line& l) {
      return l.bins > static_cast<double>(first) - step && l.bins < static_cast<double>(first + width + step);
    });
    if (known) continue;
    if (const auto line = wandering_at(first, low[i] / ambiguous)) {
      lines.push_back(*line);
    } else {
      least = std::max(least, ambiguous * low[i]);
    }
  }
  return least;
}

}  // namespace linebench::measure
