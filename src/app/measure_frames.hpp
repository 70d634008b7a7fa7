// Frames measured as they are, for the commands that judge a grabber by them.
#pragma once

#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/measure/picture.hpp>
#include <string>

#include "commands.hpp"

namespace linebench::app {

struct MeasuredFrames {
  CaptureFacts facts;
  Readings readings;
  int lines = 625;
};

/// With no calibration taken into account. @param sent name of the signal; empty: as the capture says (so
/// options.signal is not read). @param pictures if given, what is drawn. Throws Error(Unusable), and
/// Error(Interrupted) after Ctrl-C.
[[nodiscard]] MeasuredFrames measure_frames_raw(const std::string& file, const std::string& sent,
                                                const Context& context, measure::PictureOptions options = {},
                                                measure::PictureTraces* pictures = nullptr);

/// Where the grabber of the capture is calibrated, takes it out and names the calibration in the facts.
void take_out_known_grabber(CaptureFacts& facts, int lines, Readings& readings);

}  // namespace linebench::app
