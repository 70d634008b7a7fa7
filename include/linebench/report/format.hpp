// Numbers and units as a person reads them. Text is UTF-8; to_ascii() is for terminals that are not.
#pragma once

#include <linebench/base/reading.hpp>
#include <string>
#include <string_view>

namespace linebench::report {

/// A value as shown: "-41.23", its uncertainty "0.05" (empty when there is none) and the unit "dBFS".
struct Shown {
  std::string value;
  std::string uncertainty;
  std::string unit;
};

/// Decimals come from the catalogue, fewer where the uncertainty makes them meaningless (two digits of the
/// uncertainty are kept, rounded up). Short times are shown in ms; polarity in words; curves as their span.
/// An unmeasurable reading gives "-", or "< bound" where `at_most` says so.
[[nodiscard]] Shown show_value(const Reading& reading);

/// The unit of a difference of two values in this one: levels differ in dB, whatever they are levels of.
[[nodiscard]] std::string difference_unit(const std::string& unit);

/// The reading's limit in the same units: "max -58", "-24 to -12", "none"; empty when there is none.
[[nodiscard]] std::string show_limit(const Reading& reading);

/// 48000 -> "48 kHz", 44100 -> "44.1 kHz", 315 -> "315 Hz".
[[nodiscard]] std::string show_hz(double hz);
/// 12.5 -> "12.5 s", 754 -> "12 min 34 s".
[[nodiscard]] std::string show_duration(double seconds);

/// The same text in ASCII: "+/-" for the plus-minus sign and so on; what has no stand-in becomes "?", as many
/// as it was wide.
[[nodiscard]] std::string to_ascii(std::string_view utf8);

/// The text with control characters (terminal escapes, newlines in a file name), direction overrides and
/// bytes that are not UTF-8 written as escapes: "\n", "\x1b".
[[nodiscard]] std::string printable(std::string_view text);

/// Columns the text takes on a terminal: two for wide characters, none for combining ones.
[[nodiscard]] std::size_t text_width(std::string_view utf8);

/// Bytes of the first character with the combining ones that belong to it; 0 for an empty text.
[[nodiscard]] std::size_t character_length(std::string_view utf8);

}  // namespace linebench::report
