// The video side of `signals write`, `show` and `send`.
#pragma once

#include <linebench/signals/recipe.hpp>
#include <optional>
#include <string>

#include "commands.hpp"

namespace linebench::app {

struct VideoSignalOptions {
  std::string system = "625";     ///< --system
  std::optional<double> rate_hz;  ///< --rate
  bool four_fsc = false;          ///< --rate 4fsc
  std::optional<double> seconds;  ///< --seconds
  std::optional<std::int64_t> frames;
  std::optional<std::int64_t> fields;
  std::string format = "s16le";  ///< --samples
  double sc_h_deg = 0;
  std::optional<double> bandwidth_hz;
  int rows = 0;  ///< --rows: 480 or 486; 0: all
};

/// Adds the options only video signals have: --system, --frames, --fields, --samples, --sc-h, --bandwidth,
/// --rows.
void add_video_signal_options(CLI::App& command, VideoSignalOptions& options);

/// Writes a test picture: .wav, .raw, .csv composite samples; .png, .avi, .yuv frames.
Exit write_video_signal(const Context& context, const signals::Recipe& recipe,
                        const VideoSignalOptions& options, const std::string& out);

/// Shows it on the screen until the window is closed.
Exit show_picture(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& options);

}  // namespace linebench::app
