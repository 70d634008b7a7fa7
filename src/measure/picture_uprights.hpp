// The line each row shows, to see by it how far the row is moved sideways.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "picture_shift.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class UprightLines {
 public:
  explicit UprightLines(const PictureSetup& setup);
  /// The first frame's rows: of a test picture whose lines move, the mean over frames is smeared, or shows
  /// what is torn twice.
  void meet(const PictureView& first);
  /// @return nullptr where a row has no edges to see a shift by
  [[nodiscard]] const ShiftReference* of(int row) const;
  /// The row shows no line of its own that stands: now and then perhaps that of most others.
  [[nodiscard]] bool at_times(int row) const { return at_times_[static_cast<std::size_t>(row)]; }
  /// Of a grid, px: what moves by more than half of it looks as if it moved by less.
  [[nodiscard]] int period() const;
  [[nodiscard]] bool empty() const { return lines_.empty(); }

 private:
  struct Line {
    std::vector<double> y;
    std::unique_ptr<ShiftReference> reference;
    int period = 0;  // px after which it comes again; 0: it does not
  };
  [[nodiscard]] Line line_of(std::vector<double> y, double noise) const;
  void each_band_its_own();
  void each_row_its_own();
  void sharpen(const PictureView& first);
  [[nodiscard]] std::optional<double> spread(const PictureView& first, std::size_t band,
                                             const ShiftReference& line) const;
  [[nodiscard]] bool shows_edges(const PictureView& first, std::size_t band,
                                 const ShiftReference& sharp) const;
  void adopt(const PictureView& first);

  const PictureSetup& setup_;
  int reach_ = 0, first_ = 0, last_ = 0;
  std::vector<Line> lines_;       // of the bands, or of rows
  std::vector<int> line_of_row_;  // -1: none
  std::vector<bool> at_times_;
};

}  // namespace linebench::measure
