// How strong the colours of bars are for their burst, which is what a receiver sets its colour by.
#pragma once

#include <linebench/base/reading.hpp>

namespace linebench::measure {

/// video.saturation of readings that hold the bars, the burst and the system; 1: as strong as it should be.
[[nodiscard]] Reading saturation_reading(const Readings& readings);

}  // namespace linebench::measure
