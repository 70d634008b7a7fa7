// Words that every reading in volts shares.
#pragma once

namespace linebench::measure {

inline constexpr const char* as_calibrated = "as exact as the calibration it rests on";
inline constexpr const char* uncalibrated =
    "the input is not calibrated; calibrate it, or give --full-scale in volts";

}  // namespace linebench::measure
