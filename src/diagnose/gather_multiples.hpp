// What the named multiples of a sound's hum say of it together; readings of one channel each.
#pragma once

#include <linebench/base/reading.hpp>
#include <string>

namespace linebench::diagnose {

inline constexpr int most_multiples = 200;  ///< readings name none above

/// Mean square of the multiples that are in the hum's level and not named one by one: the tail of a buzz.
[[nodiscard]] double hum_tail(const Readings& readings, const std::string& suffix);
/// The multiples hardly fall as far as they are named: as a dimmer's they go on above, and what noise is
/// there may be theirs.
[[nodiscard]] bool hum_goes_on(const Readings& readings, const std::string& suffix);
/// Mean square of the named multiples by the A curve [IEC 61672-1].
[[nodiscard]] double hum_a_weighted(const Readings& readings, const std::string& suffix);

}  // namespace linebench::diagnose
