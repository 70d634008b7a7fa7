// Whether the camera sways or the light flickers: what frames differ by then goes with the picture's own
// detail, noise does not.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <cstddef>
#include <vector>

#include "picture_view.hpp"

namespace linebench::measure {

class SwayFit {
 public:
  /// @param block px of a row that are looked at together
  SwayFit(const PictureSetup& setup, int block);
  /// Variance of the difference of two frames, halved, in a block of a row; `group` of frames it counts in.
  void add(std::size_t block, float variance, std::size_t group);
  struct Share {
    double variance = 0;  ///< of the blocks' mean variance
    double u = 0;         ///< k=2
  };
  /// What moving up and down makes of it, and what all that goes with detail does.
  [[nodiscard]] Share vertical() const;
  [[nodiscard]] Share all() const;

 private:
  // What goes with the variance: noise alike everywhere, slopes that move up and down or sideways, light.
  enum Cause { Noise, Vertical, Sideways, Light, causes };
  using Values = Eigen::Matrix<double, causes, 1>;
  struct Sums {
    Eigen::Matrix<double, causes, causes> squares = Eigen::Matrix<double, causes, causes>::Zero();
    Values products = Values::Zero();  // with the variance
  };
  [[nodiscard]] Share share(bool all) const;
  static constexpr std::size_t groups = 16;
  std::vector<Values> detail_;  // of each block: 1, and variances within it; empty of a test picture
  std::array<Sums, groups> sums_;
};

}  // namespace linebench::measure
