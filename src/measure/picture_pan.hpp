// Sideways motion of the whole picture, from frame to frame: what is panned carries slanting detail along,
// which seems to go up or down.
#pragma once

#include <cstdint>
#include <vector>

#include "picture_view.hpp"

namespace linebench::measure {

class PicturePan {
 public:
  explicit PicturePan(const PictureSetup& setup) : setup_(setup) {}
  /// @param rows means of columns by row of the field, each row's own mean taken out; eighths of a code
  /// @param edges where the columns begin and the last one ends, px
  /// @param moved whole lines of the field the picture went down by since the frame before
  void push(const PictureView& view, const std::vector<std::int16_t>& rows, const std::vector<int>& edges,
            int moved);
  /// The frame is no next one of the last.
  void begin(const PictureView& view, const std::vector<std::int16_t>& rows, const std::vector<int>& edges);

  struct Speed {
    double px = 0, lines = 0;      ///< a frame, to the right and down, lines of the field, found together
    double u_px = 0, u_lines = 0;  ///< k = 2
    bool known = false;
    bool sideways = false;  ///< beyond doubt, and half of the columns do
    bool whole = false;     ///< most columns move as the whole does
  };
  [[nodiscard]] Speed speed() const;

 private:
  // Of least squares over both slopes.
  struct Normal {
    double xx = 0, xy = 0, yy = 0, xt = 0, yt = 0;
    void add(double x, double y, double t);
    [[nodiscard]] bool tells() const { return xx > 0 && xx * yy - xy * xy > least * xx * yy; }
    [[nodiscard]] double px() const { return (xt * yy - yt * xy) / (xx * yy - xy * xy); }
    [[nodiscard]] double lines() const { return (yt * xx - xt * xy) / (xx * yy - xy * xy); }
    static constexpr double least = 0.02;  // of one is beside the other
  };
  struct Fit {
    std::vector<Normal> columns;
    Normal all;
    int moved = 0;
    double rest = 0;  // of what changed, mean square
  };
  [[nodiscard]] Fit fit(const std::vector<std::int16_t>& rows, int moved) const;
  void slopes(const PictureView& view, const std::vector<int>& edges, std::vector<float>& out) const;

  const PictureSetup& setup_;
  std::vector<std::int16_t> before_;
  std::vector<float> slope_, slope_before_;  // of the columns' means sideways, eighths of a code a px
  std::vector<Normal> columns_;
  int last_moved_ = 0;
  double n_ = 0, px_ = 0, px_square_ = 0, lines_ = 0, lines_square_ = 0;
};

}  // namespace linebench::measure
