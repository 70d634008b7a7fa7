// Sideways movement of lines: jitter, tearing, flagging.
#pragma once

#include <array>
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
  /// Of a steady tone that lies on the picture: its share is not the lines' own.
  /// @param stands it is the same in each frame, so that it moves each line for good
  void set_tone(double amplitude, double radians_per_px, bool stands);
  /// Rms within rows that is the same in each frame, codes: it moves a row's edges for good.
  void set_standing_noise(double rms) { standing_noise_ = rms; }
  /// Many lines alike are pulled aside: bent, torn, or all of them.
  [[nodiscard]] bool pulled() const;
  /// The level lines of a grid stand where they stood in all frames: it does not roll, whatever else it does.
  [[nodiscard]] bool grid_stands() const;

 private:
  [[nodiscard]] bool upright() const;
  [[nodiscard]] static double middle_of(const std::vector<double>& shift);
  [[nodiscard]] double all_move() const;
  [[nodiscard]] double middle_of_rows(double n2) const;
  static void leave_out(const std::vector<double>& rest, std::vector<double>& shift);
  [[nodiscard]] double beyond_noise(double square_noise) const;

  const PictureSetup& setup_;
  UprightLines lines_;
  struct Sums {
    std::vector<double> px, squares;
  };
  void add(const std::vector<double>& shift, Sums& sums) const;

  // Of each row: how often seen, the variance noise gives it, sums of the shift and of its square as found
  // and without what all lines do alike.
  std::vector<double> count_, noise_;
  Sums found_, alone_;
  std::vector<std::uint8_t> lost_;   // rows not found in the frame before
  std::vector<double> first_frame_;  // shifts
  double standing_noise_ = 0;
  bool tone_stands_ = false;
  double by_tone_ = 0;                                         // px^2
  double disagree_ = 0, disagree_noise_ = 0, disagree_n_ = 0;  // edges of a row, see disagreement()
  double common_sum_ = 0, common_squares_ = 0;                 // of each frame's middle shift
  TearFinder tear_;
  // A bend by either mains, and the rows' shifts without it.
  struct Unbent {
    Unbent(const PictureSetup& setup, double mains_hz) : bend(setup, mains_hz) {}
    HumBend bend;
    Sums rows;
  };
  [[nodiscard]] const Unbent& likelier() const;
  std::array<Unbent, 2> mains_;
  std::uint64_t frames_ = 0, tried_ = 0, seen_ = 0, seen_frames_ = 0;
};

}  // namespace linebench::measure
