// The one place that says what each reading id means, in the trade's words, with its unit and how many
// decimals a person needs. Ids are the contract of the program's JSON.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace linebench {

struct ReadingKind {
  std::string_view
      id;  ///< without channel suffix; "N" as a whole part stands for a number ("audio.hum.harmonic.N")
  std::string_view label;    ///< short, for tables
  std::string_view unit;     ///< "" for pure numbers and text
  int decimals;              ///< shown to a person
  std::string_view meaning;  ///< one sentence: definition and source tag
};

/// All kinds known, audio first.
[[nodiscard]] std::span<const ReadingKind> audio_reading_kinds();
[[nodiscard]] std::span<const ReadingKind> video_reading_kinds();

/// The kind of a full id: strips ".left"/".right"/".chN", matches numbers against "N" and colours against
/// "COLOUR". nullptr when unknown.
[[nodiscard]] const ReadingKind* find_kind(std::string_view id);

/// The label of a full id, with the channel and number said: "Hum harmonic 3, left".
[[nodiscard]] std::string label_of(std::string_view id);

/// Channel suffix of channel c out of n: "" for mono, ".left"/".right" for stereo, ".chN" (from 1) beyond.
[[nodiscard]] std::string channel_suffix(int channel, int channels);

}  // namespace linebench
