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
  explicit HumBend(const PictureSetup& setup);

  /// @param shift of each row of a frame, px; not a number: not known
  /// @return the shifts with the bend taken out
  std::vector<double> push(std::span<const double> shift);
  /// Next to all that moves or stands from line to line but for what each does by itself is such a bend: a
  /// tear, or a bend of the top alone, is not.
  [[nodiscard]] bool found() const;
  /// Of the bend, over all rows and frames.
  [[nodiscard]] double rms_px() const;

 private:
  static constexpr int terms = 5;  // a constant, and sine and cosine of both
  using Terms = Eigen::Matrix<double, terms, 1>;
  void note_blocks(std::span<const double> shift, std::span<const double> rest, int field);

  const PictureSetup& setup_;
  int first_ = 0, last_ = 0;  // lines of a field: the top flags and the bottom tears
  std::vector<Terms> of_row_;
  double rows_ = 0, sum_ = 0, squares_ = 0;                   // of the bend
  double blocks_ = 0, whole_ = 0, rest_ = 0, by_chance_ = 0;  // squares of the means of some lines
};

}  // namespace linebench::measure
