// Frames measured as they are, for the commands that judge a grabber by them.
#pragma once

#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <string>

#include "commands.hpp"

namespace linebench::app {

struct MeasuredFrames {
  CaptureFacts facts;
  Readings readings;
  int lines = 625;
};

/// With no calibration taken into account. @param sent name of the signal; empty: as the capture says.
/// Throws Error(Unusable).
[[nodiscard]] MeasuredFrames measure_frames_raw(const std::string& file, const std::string& sent,
                                                Context& context);

}  // namespace linebench::app
