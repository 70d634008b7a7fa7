// The sound card's own part in what is measured through it.
#pragma once

#include <filesystem>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/reading.hpp>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/sound_device.hpp>
#include <optional>

#include "commands.hpp"
#include "show.hpp"

namespace linebench::app {

/// The calibration whose loop response is to be taken out of a path between these two; nothing when the input
/// is not calibrated at this rate with a loop from that very output.
[[nodiscard]] std::optional<capture::Calibration> card_between(const capture::SoundDevice& to,
                                                               const capture::SoundDevice& from,
                                                               double rate_hz);

/// All readings of a return: general ones, and response, delay, polarity and echoes against what was sent,
/// the card taken out where it is known.
/// @param facts receives the return's facts.
[[nodiscard]] Readings measure_return(AudioSource& sent, const std::filesystem::path& returned,
                                      const std::optional<capture::Calibration>& card, const Context& context,
                                      ShowOptions& show, CaptureFacts& facts);

}  // namespace linebench::app
