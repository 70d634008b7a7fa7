// Files of any kind, measured by what they hold.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <string>
#include <vector>

#include "commands.hpp"

namespace linebench::app {

/// What is known about the files beside what they say themselves.
struct AnyOptions {
  std::string mains = "auto", system, signal, sides;
  std::optional<double> full_scale_v;
  std::vector<std::string> lowband;  ///< which of the files are composite signals taken in by a sound card
  std::optional<double> pad;         ///< before the card, volts on the line over volts at the card
};

/// What the site's video is meant to be: as given, else as the profile has it where one was chosen, else
/// nothing is expected.
[[nodiscard]] std::string site_system(const AnyOptions& options);
/// The same and what its sound is meant to be.
[[nodiscard]] diagnose::Site site_of(const AnyOptions& options);

/// --mains, --system, --sides, --signal, --full-scale, --pad. The options must live as long as the command.
void add_any_options(CLI::App& command, AnyOptions& options);

/// The captures in a file: a document of readings (measure --json), composite samples, frames, a composite
/// signal in a sound card's recording (named in `lowband`, or a test picture was the signal sent) or audio.
/// Throws as the readers and measurements do.
[[nodiscard]] std::vector<diagnose::Capture> measure_any(const std::string& file, const AnyOptions& options,
                                                         const Context& context);

}  // namespace linebench::app
