// Audio test signals made from recipes, as a stream in constant memory. The same recipe and options give the
// same samples on every run.
#pragma once

#include <linebench/base/audio_source.hpp>
#include <linebench/signals/recipe.hpp>
#include <linebench/signals/sweep.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace linebench::signals {

/// Which channels carry the signal; the others are silent.
enum class Route { All, Left, Right };

struct AudioSignalOptions {
  double sample_rate_hz = 48000;  ///< whole number, 8000 to 192000
  int channels = 2;               ///< 1 to 64
  Route route = Route::All;       ///< Left, Right: the first, the second channel only
  std::optional<double> seconds;  ///< length instead of the recipe's (without lead and tail), 0.1 s to 24 h
  std::optional<double> level_dbfs;    ///< instead of the recipe's; resolve_dbfs() makes it of dBu and dBV
  std::optional<double> fade_seconds;  ///< rise and fall instead of the recipe's, 0 to 60 s
  /// For an output of so many bits (8 to 24): triangular dither of +-1 step, so that rounding makes noise and
  /// not distortion [AES17]. Where the signal is silence it stays silence.
  std::optional<int> dither_bits;
};

/// The stream. Its facts name the recipe under `signal`, the length under `frames`, and under `notes` what
/// had to differ from the recipe (tones left out above half the sample rate, say).
///
/// Level is the rms in dBFS [AES17] of the steady part (of the bursts, where the signal is bursts; of the
/// sine whose peak equals the pulse's, for the polarity pulse): exact to 0.001 dB for everything made of
/// tones, in the mean over time for noise. Rise and fall are raised cosines. Throws Error(Usage): an option
/// out of range, a frequency that does not fit the rate, a level whose peaks would pass full scale, a
/// two-channel signal for one channel, a recipe that is not audio.
[[nodiscard]] std::unique_ptr<AudioSource> make_audio_signal(const Recipe& recipe,
                                                             const AudioSignalOptions& options = {});

/// Whole length in seconds, lead and tail included. Errors as make_audio_signal.
[[nodiscard]] double signal_seconds(const Recipe& recipe, const AudioSignalOptions& options = {});

/// The level it will have: the option's, else the recipe's.
[[nodiscard]] double signal_level_dbfs(const Recipe& recipe, const AudioSignalOptions& options = {});

/// One tone of a stepped-tones signal and when it is steady, from the start of the signal (lead included).
struct ToneStep {
  double hz = 0;
  double from_s = 0;
  double to_s = 0;
};

/// When which tone sounds. Throws Error(Usage) when the recipe is not of kind "stepped-tones"; else as
/// make_audio_signal.
[[nodiscard]] std::vector<ToneStep> tone_steps(const Recipe& recipe, const AudioSignalOptions& options = {});

/// The silent stretch of a signal of kind "marked-silence", markers left out; from the start of the signal.
struct TimeSpan {
  double from_s = 0;
  double to_s = 0;
};
[[nodiscard]] TimeSpan quiet_span(const Recipe& recipe, const AudioSignalOptions& options = {});

/// The sweep of a signal of kind "sweep" as it stands after the silence before it (the recipe's
/// "lead_seconds").
[[nodiscard]] Sweep sweep_of(const Recipe& recipe, const AudioSignalOptions& options = {});

/// The frequencies of a "multitone" or "two-tone" signal, lowest first. Throws Error(Usage) for other kinds.
[[nodiscard]] std::vector<double> tone_frequencies(const Recipe& recipe);

}  // namespace linebench::signals
