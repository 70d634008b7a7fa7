// The video views of `measure`.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "commands.hpp"
#include "show.hpp"

namespace linebench::app {

/// What `measure` was asked for.
struct MeasureOptions {
  std::string file, view = "auto", mains = "auto", signal, limits;
  std::optional<double> full_scale_v, tone_hz;
  std::string system = "auto";       ///< --system
  std::string cable = "rg59";        ///< --cable, type for the equivalent length
  double velocity_factor = 0.66;     ///< --velocity-factor, of the cable; the type's own unless given
  std::optional<double> pad;         ///< --pad, volts on the line over volts at the card
  std::string png;                   ///< --png, pictures of the signal to this file
  std::vector<int> lines;            ///< --line, which lines to draw
  std::vector<std::string> given{};  ///< which options were given that only some views have
  ShowOptions show;
};

/// Adds --system, --cable, --velocity-factor, --pad, --png and --line.
void add_video_measure_options(CLI::App& command, MeasureOptions& options);

/// Keeps which of the options that only some views have were given; fills in those that follow from others.
void note_video_options(const CLI::App& command, MeasureOptions& options);

/// Throws Error(Usage) for an option this view does not have; options.view is settled by now.
void check_view_options(const MeasureOptions& options);

/// The waveform view: composite samples, every waveform reading.
Exit measure_waveform(Context& context, MeasureOptions& options);

/// The lowband view: the composite signal in a sound card's recording.
Exit measure_lowband_file(Context& context, MeasureOptions& options);

}  // namespace linebench::app
