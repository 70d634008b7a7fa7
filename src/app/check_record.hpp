// Taking in what a guided job asks for, from the devices that were named.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/check/picture_soak.hpp>
#include <linebench/check/soak.hpp>
#include <linebench/check/step.hpp>

#include "commands.hpp"

namespace linebench::app {

struct CheckDevices {
  std::string from, to, grabber;
};

/// Whether the devices that were named can take this in. A tone or silence may come from a sender elsewhere;
/// what is compared with what was sent is sent from here.
[[nodiscard]] bool can_take(const CheckDevices& devices, const check::CaptureWish& wish);

/// Throws Error(Usage) or Error(Unusable) for a device that is named and not there, before a job is begun
/// with it.
void check_devices(const CheckDevices& devices);

/// Takes it in to this file, sending the wish's signal meanwhile where a device to send from was named.
/// Throws Error(Usage) where none was named to take in from, else as the sessions do; Error(Interrupted)
/// after Ctrl-C.
void record_for(const check::CaptureWish& wish, const CheckDevices& devices,
                const std::filesystem::path& file, const Context& context);

/// What a long run is told of while it lasts.
struct SoakTalk {
  std::function<void(const check::SoakEvent&)> event;  ///< every event, as it is found
  std::function<void(const check::PictureEvent&)> picture_event;
  /// A line that was typed, and the run's time then. False: the run is to end.
  std::function<bool(double at_s, const std::string& line)> line;
  std::string prompt;  ///< before what is being typed
};

/// Sends the wish's tone for its length and looks at the return as it comes, or looks at the grabber's
/// frames; nothing but events is kept. Ends early, with what was found by then, on Ctrl-C, when a line says
/// so, and when the card is lost: why is in the capture's notes and is said. Throws Error(Unusable) when it
/// was lost before anything came in.
[[nodiscard]] job::Capture record_soak(const check::CaptureWish& wish, const CheckDevices& devices,
                                       const Context& context, const SoakTalk& talk);

}  // namespace linebench::app
