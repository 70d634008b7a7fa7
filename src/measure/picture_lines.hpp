// Sideways movement of lines: jitter, tearing, flagging.
#pragma once

#include <linebench/base/reading.hpp>
#include <memory>
#include <utility>
#include <vector>

#include "picture_shift.hpp"
#include "picture_tear.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureLineMeter final : public FrameMeter {
 public:
  explicit PictureLineMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  void finish(bool rolling, double noise, Readings& out, PictureTraces* traces) const;

 private:
  [[nodiscard]] bool upright() const;
  [[nodiscard]] static double middle_of(const std::vector<std::pair<std::size_t, RowShift>>& found);
  [[nodiscard]] double camera_moves() const;

  const PictureSetup& setup_;
  std::vector<std::unique_ptr<ShiftReference>> references_;
  std::vector<int> reference_of_row_;  // -1: none
  // Of each row: how often seen, sums of the shift and of its square, and the variance noise gives it.
  std::vector<double> count_, sum_, squares_, noise_;
  std::vector<std::uint8_t> lost_;              // rows not found in the frame before
  std::vector<double> first_frame_;             // shifts
  double common_sum_ = 0, common_squares_ = 0;  // of each frame's middle shift, live pictures
  TearFinder tear_;
  std::uint64_t frames_ = 0, tried_ = 0, seen_ = 0, seen_frames_ = 0;
};

}  // namespace linebench::measure
