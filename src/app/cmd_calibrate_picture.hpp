// What `calibrate` does with a video grabber.
#pragma once

#include <linebench/base/error.hpp>
#include <linebench/capture/grabber_calibration.hpp>
#include <string>
#include <vector>

#include "commands.hpp"

namespace linebench::app {

struct GrabberSteps {
  std::vector<std::string> frames;  ///< captures of bars or the multiburst through a short cable
  std::string padded;               ///< the same bars through a pad
  double pad_db = 0;
  std::string device;  ///< for captures that do not name theirs

  [[nodiscard]] bool any() const { return !frames.empty() || !padded.empty(); }
};

/// Measures the captures, stores what they show of the grabber and prints it.
Exit calibrate_grabber(const GrabberSteps& steps, Context& context);

void print_grabber(const capture::GrabberCalibration& calibration);

}  // namespace linebench::app
