// The audio kinds: each generator's file describes its own.
#pragma once

#include <linebench/signals/kinds.hpp>
#include <span>

#include "generator.hpp"

namespace linebench::signals {

struct AudioKind {
  SignalKind kind;
  MakeGenerator make;
};

[[nodiscard]] std::span<const AudioKind> audio_kinds();
[[nodiscard]] const AudioKind& audio_kind_of(const Recipe& recipe);

/// "seconds", the length of most kinds.
[[nodiscard]] ParameterSpec seconds_parameter(double fallback, double min = 0.1);
/// A frequency that must stand in the recipe.
[[nodiscard]] ParameterSpec frequency_parameter(std::string_view key, std::string_view meaning,
                                                std::optional<double> fallback = std::nullopt);
[[nodiscard]] ParameterSpec number_parameter(std::string_view key, std::string_view unit,
                                             std::string_view meaning, double min, double max,
                                             std::optional<double> fallback = std::nullopt);

/// The same, of whole numbers only.
[[nodiscard]] ParameterSpec whole_parameter(std::string_view key, std::string_view meaning, double min,
                                            double max, std::optional<double> fallback = std::nullopt);
/// A yes or no.
[[nodiscard]] ParameterSpec flag_parameter(std::string_view key, std::string_view meaning, bool fallback);
/// "seed", of kinds made of noise.
[[nodiscard]] ParameterSpec seed_parameter();

[[nodiscard]] AudioKind sine_kind();
[[nodiscard]] AudioKind stepped_tones_kind();
[[nodiscard]] AudioKind two_tone_kind();
[[nodiscard]] AudioKind multitone_kind();
[[nodiscard]] AudioKind sweep_kind();
[[nodiscard]] AudioKind noise_kind();
[[nodiscard]] AudioKind polarity_pulse_kind();
[[nodiscard]] AudioKind left_right_kind();
[[nodiscard]] AudioKind marked_silence_kind();
[[nodiscard]] AudioKind stipa_kind();

}  // namespace linebench::signals
