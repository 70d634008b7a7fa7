// A grabber as a command names it, opened.
#pragma once

#include <linebench/capture/grabber.hpp>
#include <memory>
#include <string>

namespace linebench::app {

struct GrabberChoice {
  std::string from{}, input{}, standard = "auto";
  bool compressed = false;
};

struct OpenGrabber {
  std::unique_ptr<capture::GrabberSystem> system;
  std::unique_ptr<capture::GrabberStream> stream;
  std::string identity;  ///< "V4L2: NAME"
  std::string device;    ///< "V4L2: NAME, input INPUT", as captures carry it
};

/// Chooses, sets and opens it, and says how it was set. Errors as choose_grabber, choose_input and open.
[[nodiscard]] OpenGrabber open_grabber(const GrabberChoice& choice);

}  // namespace linebench::app
