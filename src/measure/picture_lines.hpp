// Sideways movement of lines: jitter, tearing, flagging.
#pragma once

#include <linebench/base/reading.hpp>
#include <vector>

#include "picture_hum_bend.hpp"
#include "picture_tear.hpp"
#include "picture_uprights.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureLineMeter final : public FrameMeter {
 public:
  explicit PictureLineMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  void finish(bool rolling, double noise, Readings& out, PictureTraces* traces) const;
  /// The level lines of a grid stand where they stood in all frames: it does not roll, whatever else it does.
  [[nodiscard]] bool grid_stands() const;

 private:
  [[nodiscard]] bool upright() const;
  [[nodiscard]] static double middle_of(const std::vector<double>& shift);
  [[nodiscard]] double all_move() const;

  const PictureSetup& setup_;
  UprightLines lines_;
  struct Sums {
    std::vector<double> px, squares;
  };
  void add(const std::vector<double>& shift, Sums& sums) const;

  // Of each row: how often seen, the variance noise gives it, sums of the shift and of its square as found
  // and without what hum on sync bends.
  std::vector<double> count_, noise_;
  Sums found_, unbent_;
  std::vector<std::uint8_t> lost_;              // rows not found in the frame before
  std::vector<double> first_frame_;             // shifts
  double common_sum_ = 0, common_squares_ = 0;  // of each frame's middle shift
  TearFinder tear_;
  HumBend bend_;
  std::uint64_t frames_ = 0, tried_ = 0, seen_ = 0, seen_frames_ = 0;
};

}  // namespace linebench::measure
