// What vertical sync looks like through a Gaussian low-pass, and its fit to samples.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/standards/video.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// A stretch of samples in memory, mV; sample k of it is sample first + k of the capture.
struct LowbandWindow {
  std::span<const float> mv;
  std::int64_t first = 0;
  double rate_hz = 0;
  /// Whether `from_s` to `to_s` (of the capture) with the smoothing's reach lies inside.
  [[nodiscard]] bool covers(double from_s, double to_s) const;
};

/// Standard deviation of the smoothing Gaussian. -3 dB at 5.3 kHz: a broad-pulse group stays whole, and
/// nothing above 20 kHz, where sound cards begin to differ, is left (-43 dB).
inline constexpr double lowband_sigma_s = 25e-6;

/// Samples seen through the Gaussian at any time (s).
[[nodiscard]] double smoothed_at(const LowbandWindow& w, double t_s);

/// One fit. Levels as the samples (mV); times in s.
struct VerticalFit {
  double sync = 0;      ///< blanking minus tip; negative where the signal is inverted
  double shift_s = 0;   ///< found later than looked for
  double level = 0;     ///< blanking at the first broad pulse
  double slope = 0;     ///< of it, per s
  double step = 0;      ///< coefficient of the integral of sync: minus the coupling's rate times sync
  double drawn = 0;     ///< how far edges are drawn out: added variance re the smoothing's own
  double residual = 0;  ///< rms of what the fit leaves
};

/// The vertical sync of one system, fitted on a fixed grid of times round the first broad pulse.
class VerticalShape {
 public:
  explicit VerticalShape(const standards::VideoStandard& standard);
  [[nodiscard]] double from_s() const { return grid_.front(); }
  [[nodiscard]] double to_s() const { return grid_.back(); }
  [[nodiscard]] std::size_t points() const { return grid_.size(); }
  /// Smoothed samples on the grid when the first broad pulse begins at t_s.
  void sample(const LowbandWindow& w, double t_s, std::span<double> out) const;
  /// Least squares on values of the grid.
  [[nodiscard]] VerticalFit fit(std::span<const double> values) const { return fit(values, followed_); }
  /// The same with edges free to be drawn out, as a card does whose response falls early. For what stands in
  /// its place already: from farther away the edges would draw out instead of moving.
  [[nodiscard]] VerticalFit fit_drawn_out(std::span<const double> values) const {
    return fit(values, drawn_out_);
  }
  /// Relative standard deviation of sync by the tolerances of the pulses' widths (uniform).
  [[nodiscard]] double width_uncertainty() const { return width_uncertainty_; }

 private:
  static constexpr std::size_t columns = 7;
  using Rows = std::vector<std::array<double, columns>>;
  [[nodiscard]] VerticalFit fit(std::span<const double> values, const Rows& inverse) const;
  std::vector<double> grid_;
  Rows rows_;
  Rows followed_, drawn_out_;  // pseudo-inverses, transposed
  double width_uncertainty_ = 0;
};

}  // namespace linebench::measure
