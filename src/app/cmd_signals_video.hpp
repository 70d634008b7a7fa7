// The video side of `signals write`, `show` and `send`.
#pragma once

#include <linebench/signals/recipe.hpp>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "commands.hpp"

namespace linebench::app {

struct VideoSignalOptions {
  std::string system = "625";     ///< --system
  std::optional<double> rate_hz;  ///< --rate
  bool four_fsc = false;          ///< --4fsc
  std::optional<double> seconds;  ///< --seconds
  std::optional<std::int64_t> frames;
  std::optional<std::int64_t> fields;
  std::string format = "s16le";  ///< --samples
  double sc_h_deg = 0;
  std::optional<double> bandwidth_hz;
  int rows = 0;                      ///< --rows: 480 or 486; 0: all
  std::vector<std::string> given{};  ///< which options were given that only one medium has
};

/// Adds --system.
void add_system_option(CLI::App& command, VideoSignalOptions& options);

/// Adds the options only video signals have: --system, --frames, --fields, --samples, --4fsc, --sc-h,
/// --bandwidth, --rows.
void add_video_signal_options(CLI::App& command, VideoSignalOptions& options);

/// Keeps which of the options that only one medium has were given on the command line.
void note_given(const CLI::App& command, VideoSignalOptions& options);

/// Throws Error(Usage) where one was given that a signal of this medium does not have.
void check_video_options(const signals::Recipe& recipe, const VideoSignalOptions& options);

/// What stands on the lines of a test picture, for a person, and for the JSON document.
[[nodiscard]] std::string picture_words(const signals::Recipe& recipe, const VideoSignalOptions& options);
[[nodiscard]] nlohmann::json picture_json(const signals::Recipe& recipe, const VideoSignalOptions& options);

/// Writes a test picture: .wav, .raw, .csv composite samples; .png, .avi, .yuv frames.
Exit write_video_signal(const Context& context, const signals::Recipe& recipe,
                        const VideoSignalOptions& options, const std::string& out);

/// Puts it on the whole screen until a key is pressed, or for --seconds.
/// @param border_percent of width and height on each side that the screen may cut off.
Exit show_picture(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& options,
                  double border_percent);

}  // namespace linebench::app
