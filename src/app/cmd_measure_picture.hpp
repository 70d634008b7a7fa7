// The picture view of `measure`.
#pragma once

#include "cmd_measure_video.hpp"

namespace linebench::app {

/// Frames of a grabber: every picture reading.
Exit measure_picture_file(Context& context, MeasureOptions& options);

}  // namespace linebench::app
