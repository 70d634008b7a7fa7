// Words for what samples of a signal and a grabber's picture show alike.
#pragma once

#include <linebench/report/words.hpp>

namespace linebench::report {

inline constexpr Words picture_sparkles{
    "the picture sparkles",
    "Black and white dots or short dashes at random places: sparks of a dimmer, a motor, an ignition or a "
    "fence get into the cable, or a connector makes bad contact.",
    "Move each connector gently while watching the dots; then switch off dimmers, motors and supplies nearby "
    "one at a time. If they come from outside, look for an open or corroded shield at the plugs and keep the "
    "cable away from mains wiring."};

}  // namespace linebench::report
