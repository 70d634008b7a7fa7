// The transfer function of a path: what was sent against what came back.
#pragma once

#include <linebench/base/audio_source.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/base/reading.hpp>
#include <optional>
#include <string_view>

namespace linebench::measure {

/// What the sound card does to a signal by itself, from a loop-back: taken out of a measured response.
struct CardResponse {
  Curve gain;  ///< returned over sent, dB over Hz, absolute (not re 1 kHz); interpolated over log frequency
  double delay_s = 0;  ///< time from output to input
};

struct ResponseOptions {
  std::optional<CardResponse> card;  ///< what to take out, where calibrated
};

/// Longest stretch of the sent signal that is used, and by how much the return may lag behind; the rest is
/// not read.
inline constexpr double response_longest_s = 60.0;
inline constexpr double response_latest_s = 60.0;
/// Shortest signal that gives a response.
inline constexpr double response_shortest_s = 0.2;

/// Response, gain, band edges, coherence, delay, polarity and echoes of the path from `sent` to `returned`:
/// any broadband signal (sweep, noise, multitone, speech, music). The return may start late or early, be
/// longer or shorter, be reversed, noisy, and come from a recorder whose clock is off by up to 400 ppm.
///
/// The path's minimum-phase part is taken out before delay and polarity are read, so that band limits do not
/// count as delay: it is the arrival of the direct sound, not the group delay at some frequency. Whether the
/// fall beyond half the rate is that of an analogue filter the samples do not show; the delay lies between
/// what either gives, and its uncertainty holds both. A signal that repeats itself shows echoes up to its
/// period only. One set of readings for each returned channel, suffix as in channel_suffix(); the sent
/// channel of the same side belongs to it when both are stereo, else the sent channel that is found in it
/// best.
///
/// What the return does not support is `unmeasurable`, all of it when the sent signal is not in the return.
/// Accuracy on a clean return: response 0.02 dB from 50 Hz to 16 kHz, delay 0.1 sample.
/// Memory: at most response_longest_s of each channel, and their spectra.
/// Throws Error(Unusable) when the sample rates differ, a source is empty or shorter than
/// response_shortest_s, or both are the same file.
[[nodiscard]] Readings measure_response(AudioSource& sent, AudioSource& returned,
                                        const ResponseOptions& options = {}, const Progress& progress = {},
                                        const StopFlag* stop = nullptr);

/// The card's own response out of the readings of a loop-back. Empty when gain, response or delay were
/// unmeasurable.
/// @param suffix ".left", ".right" or "" (mono).
[[nodiscard]] std::optional<CardResponse> card_response(const Readings& loop_back,
                                                        std::string_view suffix = {});

}  // namespace linebench::measure
