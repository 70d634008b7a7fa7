// What `calibrate` does with a video grabber.
#pragma once

#include <linebench/base/error.hpp>
#include <linebench/capture/grabber_calibration.hpp>
#include <string>
#include <vector>

#include "commands.hpp"
#include "open_grabber.hpp"

namespace linebench::app {

struct GrabberSteps {
  std::vector<std::string> frames;  ///< captures of bars or the multiburst through a short cable
  std::string padded;               ///< the same bars through a pad
  double pad_db = 0;
  std::string device;     ///< for captures that do not name theirs
  GrabberChoice grabber;  ///< to take the pictures in now, step by step
  double seconds = 4;     ///< of each of those: hum is told within 5 % then

  [[nodiscard]] bool any() const { return !frames.empty() || !padded.empty() || !grabber.from.empty(); }
};

/// Measures the captures, stores what they show of the grabber and prints it.
Exit calibrate_grabber(const GrabberSteps& steps, Context& context);

/// Asks for the pictures one after another, takes them in from the grabber, learns and stores.
/// Throws Error(Unusable) where nothing was learnt.
Exit calibrate_grabber_guided(const GrabberSteps& steps, Context& context);

/// Dates, stores and prints it.
void store_grabber_calibration(capture::GrabberCalibration& calibration, const Context& context);

void print_grabber(const capture::GrabberCalibration& calibration);

}  // namespace linebench::app
