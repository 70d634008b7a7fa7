// The bend of all lines that hum on sync makes: sines of the mains and of twice it in line time.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <span>
#include <vector>

#include "picture_view.hpp"

namespace linebench::measure {

class HumBend {
 public:
  /// @param mains_hz near enough within one field
  HumBend(const PictureSetup& setup, double mains_hz);

  /// @param shift of each row of a frame, px; not a number: not known
  /// @return the shifts with the bend taken out, and where each field stands
  std::vector<double> push(std::span<const double> shift);
  /// Lines near each other are pulled aside alike, whatever does it.
  [[nodiscard]] bool wanders() const;
  /// Next to all that moves or stands from line to line but for what each does by itself is such a bend: a
  /// tear, or a bend of the top alone, is not.
  [[nodiscard]] bool found() const;
  [[nodiscard]] double mains_hz() const { return mains_hz_; }
  /// What it leaves, more of which is certainly more than the other leaves; of the same frames.
  [[nodiscard]] bool better_than(const HumBend& other) const;
  /// Of all rows' shifts in all frames, px^2: the bend, what each line does by itself, noise.
  [[nodiscard]] double whole_variance() const;
  /// Whether the bend was fitted to this row; to those at the top and the bottom it is only carried on.
  [[nodiscard]] bool fitted(int row) const {
    return row / setup_.fields >= first_ && row / setup_.fields < last_;
  }

 private:
  static constexpr int terms = 5;  // a constant, and sine and cosine of both
  using Terms = Eigen::Matrix<double, terms, 1>;
  [[nodiscard]] double doubt() const;
  void note_blocks(std::span<const double> shift, std::span<const double> rest, int field);

  const PictureSetup& setup_;
  double mains_hz_;
  int first_ = 0, last_ = 0;  // lines of a field: the top flags and the bottom tears
  std::vector<Terms> of_row_;
  struct Sums {
    double n = 0, px = 0, squares = 0;  // of rows
  };
  std::array<Sums, 2> bend_{};                                // of each field's rows
  double blocks_ = 0, whole_ = 0, rest_ = 0, by_chance_ = 0;  // squares of the means of some lines
};

}  // namespace linebench::measure
