// What the commands that use sound devices share: choosing them, levels and cautions, taking in to a file.
#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <linebench/base/error.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/session.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <linebench/signals/recipe.hpp>
#include <memory>
#include <optional>
#include <string>

#include "commands.hpp"

namespace linebench::app {

/// A length in seconds from the command line. Throws Error(Usage) unless it is above 0 and at most a week.
void check_seconds(double seconds);

/// Where a file may be written. Throws Error(Usage) when it is a folder, or is there already and may not be
/// replaced.
void check_out(const std::filesystem::path& out, bool replace);

/// Adds --rate. Only a number above 0 is taken. @param otherwise which rate it is when none is given.
void add_rate_option(CLI::App& command, double& rate_hz, const std::string& otherwise);

/// The recipe of a signal that can be heard. Throws as signals::load_recipe(), and Error(Usage) for a test
/// picture.
[[nodiscard]] signals::Recipe audio_recipe(const std::string& name);

/// The recipe that a capture's facts name, where it is known here and can be heard: facts may come from
/// elsewhere.
[[nodiscard]] std::optional<signals::Recipe> known_recipe(const std::string& name);

/// The calibration of this device at this rate; a damaged one is said on standard error and not used.
[[nodiscard]] std::optional<capture::Calibration> calibration_of(const capture::SoundDevice& device,
                                                                 double rate_hz);

/// What to send and how loud.
struct SignalOptions {
  std::string name;
  std::string level;            ///< as parse_level(); empty: the recipe's
  std::string channel = "all";  ///< all, left, right
  std::optional<double> seconds;
  bool loud = false;  ///< the user has read the caution
};

/// Adds --level, --seconds, --channel and --loud. The reference must live as long as the command.
void add_signal_options(CLI::App& command, SignalOptions& options);

/// Whether the caution is said again where the same signal is made a second time.
enum class Caution { Say, Said };

/// The signal for a session's output. dBu and dBV need the output's calibration.
/// Says the caution on standard error before anything louder than the safe level, and throws Error(Usage)
/// unless options.loud.
[[nodiscard]] std::unique_ptr<AudioSource> signal_to_send(const SignalOptions& options,
                                                          const capture::SoundDevice& to, double rate_hz,
                                                          int outputs, Caution caution);

/// The level it is sent at, rms in dBFS. Throws as signal_to_send().
[[nodiscard]] double level_to_send(const SignalOptions& options, const capture::SoundDevice& to,
                                   double rate_hz);

/// What a capture came to.
struct Taken {
  capture::Outcome outcome;
  CaptureFacts facts;  ///< as stored
};

/// Runs the session into a file with a meter, applies the device's calibration, stores the facts. A file into
/// which nothing came is removed.
/// @param signal name of the recipe that is being sent, or empty.
[[nodiscard]] Taken take_to_file(capture::Session& session, const capture::SoundDevice& from,
                                 capture::RunPlan plan, const std::filesystem::path& out,
                                 capture::SampleFormat format, const std::string& signal);

/// The exit code of an outcome; its line is said on standard error for a stop and thrown as Error(Unusable)
/// for a lost device or failed storage.
[[nodiscard]] Exit exit_of(const capture::Outcome& outcome);

/// A folder for the time of a command.
class ScratchFolder {
 public:
  /// Throws Error(Unusable) where none can be made.
  ScratchFolder();
  ~ScratchFolder();
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  [[nodiscard]] std::filesystem::path operator/(const char* name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

}  // namespace linebench::app
