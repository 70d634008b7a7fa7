// `capture picture`.
#pragma once

#include "commands.hpp"

namespace linebench::app {

/// Adds `picture` below the command `capture`.
void add_capture_picture(CLI::App& capture_command, Context& context);

}  // namespace linebench::app
