// Which field was scanned first, and whether their rows are swapped.
#pragma once

#include <linebench/base/reading.hpp>

#include "picture_view.hpp"

namespace linebench::measure {

class PictureFieldMeter final : public FrameMeter {
 public:
  explicit PictureFieldMeter(const PictureSetup& setup) : setup_(setup) {}
  void push(const PictureView& view) override;
  void finish(bool rolling, Readings& out) const;

 private:
  static constexpr int tile_rows = 32, tile_blocks = 8;
  void look_at_rows(const std::uint16_t* now);
  void look_at_tile(const std::uint16_t* now, int row, int row_end, int block, int block_end);

  const PictureSetup& setup_;
  std::vector<std::uint8_t> as_one_;           // rows that change so
  std::vector<std::uint16_t> before_;          // block sums of the frame before
  double late_bottom_ = 0;                     // bottom field against the next frame's top
  double late_top_ = 0;                        // the next frame's bottom against this one's top
  std::uint64_t moving_ = 0, flickering_ = 0;  // blocks
  double near_ = 0, far_ = 0;  // differences of rows that are neighbours as they stand, or were they swapped
  std::uint64_t detail_ = 0;
};

}  // namespace linebench::measure
