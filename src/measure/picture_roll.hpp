// Vertical roll: where the picture stands, frame by frame, from what changes across its rows.
#pragma once

#include <linebench/base/reading.hpp>

#include "picture_pan.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureRollMeter final : public FrameMeter {
 public:
  explicit PictureRollMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  /// @param grid_stands the level lines of a crosshatch are known to stay where they are
  void finish(bool grid_stands, Readings& out, PictureTraces* traces);
  /// After finish().
  [[nodiscard]] bool rolling() const { return rolling_; }
  /// After finish(): it does not stand still, however badly the roll is known.
  [[nodiscard]] bool moving() const { return moving_; }

 private:
  static constexpr int columns = 24;
  using Rows = std::vector<std::int16_t>;  // field rows x columns, each row's own mean taken out
  struct Match {
    double lines = 0;    // of the field
    double quality = 0;  // share of the picture's vertical change that the shift explains
    bool held = false;   // a shift to either side fits worse
    bool clear = false;
  };
  void features(const PictureView& view, Rows& out) const;
  void note_gap(const PictureView& view);
  [[nodiscard]] double cost(const Rows& now, int shift) const;
  [[nodiscard]] double agreement(const Rows& now, int at, double offset) const;
  [[nodiscard]] double standing(const Rows& now, int at) const;
  [[nodiscard]] double detail_cost(const Rows& now, int shift) const;
  [[nodiscard]] Match find(const Rows& now, double expected, bool everywhere) const;

  [[nodiscard]] bool held(const Rows& now, int at, int side, double best) const;
  void begin(double x);
  void close();
  void note_track(double time_s);
  void say_panned(const PicturePan::Speed& pan, bool gap_passes, Readings& out);
  void say(double lines, double u, std::string remark, bool gap_passes, Readings& out);

  const PictureSetup& setup_;
  int rows_ = 0;
  Rows reference_, now_;
  double reference_at_ = 0;  // lines of the field the reference had moved
  double at_ = 0, speed_ = 0;
  PicturePan pan_;
  std::vector<int> edges_;  // of the columns, px
  // Sums of the run of frames followed now, places over frame numbers counted from its first.
  struct Sums {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0, yy = 0;
  };
  Sums run_;
  double x0_ = 0, y0_ = 0;
  int misses_ = 0, run_references_ = 0;
  // Of the runs that are over, about each one's own mean.
  double frames_ = 0, runs_ = 0, xx_ = 0, xy_ = 0, yy_ = 0, steps_weight_ = 0;
  // Steps from a frame to the next: how many, their sum and that of their squares.
  double steps_ = 0, step_ = 0, step_square_ = 0, last_x_ = 0, last_y_ = 0;
  double agreement_ = 0;  // sum over the frames asked
  double standing_ = 0;   // sum over the frames that moved
  std::uint64_t asked_ = 0;
  // Of frames that stand some rows off: by how much fine detail fits worse where it was, and rest of it.
  double gained_ = 0, detail_rest_ = 0, moved_ = 0;
  std::uint64_t tried_ = 0, lost_ = 0, plain_ = 0;
  std::uint64_t gaps_ = 0;            // frames that show the gap between two pictures
  int first_gap_ = 0, last_gap_ = 0;  // field row below it, the highest and the lowest
  std::vector<double> track_s_, track_lines_;
  bool rolling_ = false, moving_ = false;
};

}  // namespace linebench::measure
