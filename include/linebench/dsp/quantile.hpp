// The middle of values, and other ranks, without sorting them all.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>
#include <ranges>
#include <vector>

namespace linebench::dsp {

/// Value that about `share` (0 to 1) of the values lie below: the one of rank floor(share n), the last at
/// most. The values are put in another order. @param values at least one.
template <std::ranges::random_access_range Values>
[[nodiscard]] std::ranges::range_value_t<Values> quantile(Values&& values, double share) {
  const auto rank = static_cast<std::size_t>(share * static_cast<double>(values.size()));
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(std::min(rank, values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

/// The middle value; of an even number of values the upper of the two in the middle. To be moved in where
/// they are not needed any more. @return NaN of no values, 0 where T has none.
template <typename T>
[[nodiscard]] T median(std::vector<T> values) {
  return values.empty() ? std::numeric_limits<T>::quiet_NaN() : quantile(values, 0.5);
}

}  // namespace linebench::dsp
