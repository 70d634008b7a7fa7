// Taking in what a guided job asks for, from the devices that were named.
#pragma once

#include <filesystem>
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

}  // namespace linebench::app
