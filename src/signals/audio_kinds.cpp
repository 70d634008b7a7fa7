#include "audio_kinds.hpp"

#include <algorithm>
#include <stdexcept>
#include <vector>

namespace linebench::signals {
namespace {

constexpr double longest_s = 24 * 3600.0;
constexpr double longest_fade_s = 60;
/// Quiet enough at a loudspeaker or headset that was left turned up; a recipe that needs more says so.
constexpr double default_level_dbfs = -30;
/// A rise a person can follow instead of being startled by.
constexpr double default_fade_s = 0.5;

void add_common_parameters(SignalKind& kind) {
  const auto common = {
      number_parameter("level_dbfs", "dBFS", "level (rms; of the peak where the kind says so)", -140, 0,
                       default_level_dbfs),
      number_parameter("fade_in_seconds", "s", "rise at the start, part of the length", 0, longest_fade_s,
                       default_fade_s),
      number_parameter("fade_out_seconds", "s", "fall at the end, part of the length", 0, longest_fade_s,
                       default_fade_s),
      number_parameter("lead_seconds", "s", "silence before", 0, longest_s, 0.0),
      number_parameter("tail_seconds", "s", "silence after", 0, longest_s, 0.0)};
  for (const ParameterSpec& spec : common) {
    // A kind that brings its own (another fallback) keeps it.
    if (kind.find(spec.key) == nullptr) kind.parameters.push_back(spec);
  }
}

}  // namespace

ParameterSpec number_parameter(std::string_view key, std::string_view unit, std::string_view meaning,
                               double min, double max, std::optional<double> fallback) {
  ParameterSpec spec;
  spec.key = key;
  spec.unit = unit;
  spec.meaning = meaning;
  spec.min = min;
  spec.max = max;
  if (fallback) spec.fallback = *fallback;
  return spec;
}

ParameterSpec whole_parameter(std::string_view key, std::string_view meaning, double min, double max,
                              std::optional<double> fallback) {
  ParameterSpec spec = number_parameter(key, "", meaning, min, max, fallback);
  spec.whole = true;
  return spec;
}

ParameterSpec flag_parameter(std::string_view key, std::string_view meaning, bool fallback) {
  ParameterSpec spec;
  spec.key = key;
  spec.meaning = meaning;
  spec.type_of = fallback;
  spec.fallback = spec.type_of;
  return spec;
}

ParameterSpec seed_parameter() {
  return whole_parameter("seed", "which stretch of noise; the same seed gives the same samples", 0, 1e9, 1.0);
}

ParameterSpec seconds_parameter(double fallback, double min) {
  return number_parameter("seconds", "s", "length", min, longest_s, fallback);
}

ParameterSpec frequency_parameter(std::string_view key, std::string_view meaning,
                                  std::optional<double> fallback) {
  return number_parameter(key, "Hz", meaning, 1, 96000, fallback);
}

std::span<const AudioKind> audio_kinds() {
  static const std::vector<AudioKind> kinds = [] {
    std::vector<AudioKind> all = {
        sine_kind(),  stepped_tones_kind(),  two_tone_kind(),   multitone_kind(),      sweep_kind(),
        noise_kind(), polarity_pulse_kind(), left_right_kind(), marked_silence_kind(), stipa_kind()};
    for (AudioKind& a : all) add_common_parameters(a.kind);
    return all;
  }();
  return kinds;
}

const AudioKind& audio_kind_of(const Recipe& recipe) {
  const auto found =
      std::ranges::find_if(audio_kinds(), [&](const AudioKind& a) { return &a.kind == recipe.kind; });
  if (found == audio_kinds().end()) throw std::logic_error("recipe '" + recipe.name + "' is no audio signal");
  return *found;
}

}  // namespace linebench::signals
