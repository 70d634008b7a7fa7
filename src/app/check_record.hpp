// Taking in what a guided job asks for, from the devices that were named.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/check/soak.hpp>
#include <linebench/check/step.hpp>

#include "commands.hpp"

namespace linebench::app {

struct CheckDevices {
  std::string from, to, grabber;
  [[nodiscard]] bool can_take(const check::CaptureWish& wish) const {
    if (wish.view == check::CaptureWish::View::Video) return !grabber.empty();
    return !from.empty() && (wish.signal.empty() || !to.empty());
  }
};

/// Takes it in to this file, sending the wish's signal meanwhile. Throws Error(Usage) where no device was
/// named for it, else as the sessions do; Error(Interrupted) after Ctrl-C.
void record_for(const check::CaptureWish& wish, const CheckDevices& devices,
                const std::filesystem::path& file, const Context& context);

/// Sends the wish's tone for its length and looks at the return as it comes; nothing but events is kept.
/// @param told every event, as it is found. Ends early, with what was found by then, on Ctrl-C.
[[nodiscard]] job::Capture record_soak(const check::CaptureWish& wish, const CheckDevices& devices,
                                       const Context& context,
                                       const std::function<void(const check::SoakEvent&)>& told);

}  // namespace linebench::app
