// Least-squares fit of a mains comb to field profiles: the row means of each field, taken apart into smooth
// shapes over the rows, with the picture's own standing part unknown.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <unordered_map>
#include <vector>

namespace linebench::measure {

inline constexpr int hum_shapes = 26;    ///< polynomials over a field's rows: up to about 8 cycles
inline constexpr int hum_strips = 8;     ///< columns side by side, each weighed by how quiet it is
inline constexpr int hum_harmonics = 8;  ///< up to 400 Hz of 50 Hz mains: a rectifier's pulses

/// Orthonormal shapes over the rows of a field (those that are used), and what they make of a turning phase.
class FieldShapes {
 public:
  FieldShapes() = default;
  /// @param rows of the field that are used, ascending; line_s: line period.
  FieldShapes(std::vector<int> rows, double line_s);
  [[nodiscard]] const std::vector<int>& rows() const { return rows_; }
  /// Value of shape k at used row i.
  [[nodiscard]] double at(int k, std::size_t i) const { return values_[static_cast<std::size_t>(k)][i]; }
  [[nodiscard]] const std::vector<double>& shape(int k) const { return values_[static_cast<std::size_t>(k)]; }
  using Turning = std::array<std::complex<double>, hum_shapes>;
  /// Shapes' parts of exp(i 2 pi hz t), t from the field's row 0.
  [[nodiscard]] Turning turning(double hz) const;

 private:
  [[nodiscard]] Turning summed(double hz) const;  // row by row
  mutable std::unordered_map<int, Turning> by_hertz_;
  std::vector<int> rows_;
  double line_s_ = 0;
  std::array<std::vector<double>, hum_shapes> values_;
};

/// One field: when its row 0 was scanned, and its shapes' amplitudes (codes times sqrt(rows)).
struct FieldProfile {
  double t = 0;
  int parity = 0;
  std::array<double, hum_shapes> c{};
};

struct HumProblem {
  const std::array<FieldShapes, 2>* shapes = nullptr;
  /// What stands still and is not hum: orthonormal directions over the shapes, for each parity.
  std::array<std::vector<std::array<double, hum_shapes>>, 2> standing{};
  double low_hz = 45;
  double high_hz = 65;
  double field_hz = 50;
  /// Profiles are differences from the frame before, so many seconds earlier; 0: they are not. What stands
  /// still is out of differences by itself, and what moves slowly nearly so.
  double difference_s = 0;
  double rounding = 0;  ///< rms error of whole codes that noise does not dither away; 0.29 without noise
};

struct HumFit {
  bool found = false;
  double seconds = 0;
  double base_hz = 0;           ///< of the comb
  double hz = 0;                ///< lowest harmonic that matters
  double hz_u = 0;              ///< k=1
  int lowest = 1;               ///< its number in the comb
  double pp = 0;                ///< codes, peak to peak of all harmonics found
  double pp_u = 0;              ///< k=1
  double least_pp = 0;          ///< codes: what is not found is below this (k=2)
  bool standing_still = false;  ///< too close to a multiple of the field rate to be seen moving
  int highest = 1;              ///< number of the highest harmonic counted
  bool cut_short = false;       ///< that is the last that could be
  /// Rows change at the fit's rate in the picture, but not as mains spreads over the rows: flicker, or
  /// another frequency. Then nothing is found.
  bool unlike = false;
  double other_hz = 0, other_pp = 0;  ///< a second comb beside it, codes; 0: none
  /// One tone of no mains that makes up most of what changes, and its codes peak to peak; 0: there is none.
  double tone_hz = 0, tone_pp = 0;
  double slowest_hz = 0;  ///< least_pp holds for bars that move at least so fast; 0: also for standing ones
  std::array<std::complex<double>, hum_harmonics>
      a{};  ///< of base_hz: sum of Re(a_j exp(i 2 pi j f t)), codes
};

/// Takes the part of the fields' mean that is picture out of them.
void take_out_standing(std::vector<FieldProfile>& fields, const HumProblem& problem);

/// Fields in order of time. Needs at least 4 fields and 0.08 s, else nothing is found and least_pp is
/// infinite.
[[nodiscard]] HumFit fit_hum(const std::vector<FieldProfile>& fields, const HumProblem& problem);

}  // namespace linebench::measure
