// Which field was scanned first, and whether their rows are swapped.
#pragma once

#include <linebench/base/reading.hpp>

#include "picture_view.hpp"

namespace linebench::measure {

class PictureFieldMeter final : public FrameMeter {
 public:
  explicit PictureFieldMeter(const PictureSetup& setup) : setup_(setup) {}
  void push(const PictureView& view) override;
  void finish(Readings& out) const;

 private:
  const PictureSetup& setup_;
  std::vector<std::uint16_t> before_;  // block sums of the frame before
  double late_bottom_ = 0;             // bottom field against the next frame's top
  double late_top_ = 0;                // the next frame's bottom against this one's top
  std::uint64_t moving_ = 0;
  double near_ = 0, far_ = 0;  // differences of rows that are neighbours as they stand, or were they swapped
  std::uint64_t detail_ = 0;
};

}  // namespace linebench::measure
