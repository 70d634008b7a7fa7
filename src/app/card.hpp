// The sound card's own part in what is measured through it.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/sound_device.hpp>
#include <linebench/signals/recipe.hpp>
#include <memory>
#include <optional>

#include "calibrate_steps.hpp"
#include "commands.hpp"
#include "show.hpp"

namespace linebench::app {

/// The calibration whose loop response is to be taken out of a path between these two; nothing when the input
/// is not calibrated at this rate with a loop from that very output.
[[nodiscard]] std::optional<capture::Calibration> card_between(const capture::SoundDevice& to,
                                                               const capture::SoundDevice& from,
                                                               double rate_hz);

/// Makes what was sent, from its start, as often as it is needed.
using SourceMaker = std::function<std::unique_ptr<AudioSource>()>;

/// A signal that was sent.
struct SentSignal {
  SourceMaker make;
  signals::Recipe recipe;
};

/// All readings of a return: general ones, and response, delay, polarity and echoes against what was sent,
/// the card taken out where it is known. A signal of few frequencies gives no response, and the reason says
/// so.
/// @param facts receives the return's facts.
[[nodiscard]] Readings measure_return(const SentSignal& sent, const std::filesystem::path& returned,
                                      const std::optional<capture::Calibration>& card, const Context& context,
                                      ShowOptions& show, CaptureFacts& facts);

/// The card's own loop: response and delay of every returned channel, from a sweep sent straight back in.
/// Throws Error(Unusable) where the return does not show them, with the reason.
void calibrate_loop(capture::Calibration& c, AudioSource& sent, const Recording& returned,
                    const std::string& output, const Context& context);

}  // namespace linebench::app
