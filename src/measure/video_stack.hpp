// The mean of many lines on one time grid, in groups, and what is read off it: crossings, widths, levels.
#pragma once

#include <functional>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <span>
#include <vector>

#include "video_statistics.hpp"

namespace linebench::measure {

/// A waveform on an even grid of times.
struct Trace {
  double from_us = 0;
  double step_us = 1;
  std::vector<float> y;
  [[nodiscard]] bool empty() const { return y.empty(); }
  [[nodiscard]] double end_us() const { return from_us + step_us * static_cast<double>(y.size() - 1); }
  /// Mean over from..to; NaN where not covered.
  [[nodiscard]] double mean(double from, double to) const;
  /// Time nearest to `near` at which the trace crosses `level`, walking from `near` towards `limit`;
  /// band-limited interpolation between the points. NaN when it does not.
  [[nodiscard]] double crossing(double level, double near, double limit) const;
};

/// Value with its expanded uncertainty by the scatter of groups.
struct Estimate {
  double value = 0;
  double u = 0;
};

/// Weighted mean of stretches of lines. Grid step: one sample.
class LineStack {
 public:
  LineStack() = default;
  LineStack(double from_us, double to_us, double rate_hz);
  /// Adds the stretch of the line that lies `shift_us` later than the grid says, times `factor`, and `weight`
  /// to the sum of weights (for a weighted fit: factor = level, weight = level squared).
  void add(const LineView& v, double shift_us = 0, double factor = 1, double weight = 1);
  [[nodiscard]] double count() const { return count_; }
  [[nodiscard]] Trace mean() const;
  [[nodiscard]] Trace mean(std::size_t group) const;
  /// `read` on the mean of all lines, uncertainty by the groups. nullopt when either fails (NaN, too few
  /// lines).
  [[nodiscard]] std::optional<Estimate> read(const std::function<double(const Trace&)>& read) const;

 private:
  double from_us_ = 0;
  double step_us_ = 1;
  std::size_t points_ = 0;
  double count_ = 0;
  std::vector<float> scratch_;
  std::vector<std::vector<double>> sums_;
  std::vector<double> weights_;
};

/// The mean over the groups of one half (0: even, 1: odd), one of them left out or none (line_groups). Groups
/// count as of one size. Empty when there are none.
[[nodiscard]] Trace mean_of_half(const LineStack& stack, std::size_t half, std::size_t without = line_groups);

}  // namespace linebench::measure
