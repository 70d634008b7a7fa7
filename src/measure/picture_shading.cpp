#include "picture_shading.hpp"

#include <numeric>

namespace linebench::measure {

bool straight_shading(const PictureSetup& setup) {
  constexpr int edge = 4;  // rows that may hold blanking
  const int rows = setup.height() - 2 * edge;
  if (rows < 100 || setup.mean.empty()) return false;
  double sum = 0, square = 0, cross = 0;
  const double middle = 0.5 * (rows - 1);
  for (int r = 0; r < rows; ++r) {
    const auto row = setup.mean.begin() + static_cast<std::ptrdiff_t>(edge + r) * setup.width();
    const double v = std::accumulate(row + setup.first_col, row + setup.last_col, 0.0) /
                     (setup.last_col - setup.first_col);
    sum += v;
    square += v * v;
    cross += (r - middle) * v;
  }
  const double all = square - sum * sum / rows;
  const double line = cross * cross * 12 / (static_cast<double>(rows) * rows * rows);
  return line > 0.9 * all;
}

}  // namespace linebench::measure
