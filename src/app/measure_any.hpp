// Files of any kind, measured by what they hold.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <string>
#include <vector>

#include "commands.hpp"

namespace linebench::app {

/// What is known about the files beside what they say themselves.
struct AnyOptions {
  std::string mains = "auto", system, signal;
  std::optional<double> full_scale_v;
};

/// --mains, --system, --signal, --full-scale. The options must live as long as the command.
void add_any_options(CLI::App& command, AnyOptions& options);

/// The captures in a file: a document of readings (measure --json), composite samples or audio. Throws as the
/// readers and measurements do.
[[nodiscard]] std::vector<diagnose::Capture> measure_any(const std::string& file, const AnyOptions& options,
                                                         const Context& context);

}  // namespace linebench::app
