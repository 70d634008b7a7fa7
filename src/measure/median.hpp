// The middle value; of an even number of values the upper of the two in the middle.
#pragma once

#include <algorithm>
#include <limits>
#include <vector>

namespace linebench::measure {

/// @return NaN of no values.
[[nodiscard]] inline double median(std::vector<double> values) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace linebench::measure
