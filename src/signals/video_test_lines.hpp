// The test lines that pictures are made of, with their geometry: the one place that says when what happens on
// a line.
#pragma once

#include <linebench/signals/video_picture.hpp>
#include <linebench/standards/video_colour.hpp>
#include <string>

namespace linebench::signals::lines {

/// Nothing between the blanking edges, at blanking level (no setup).
[[nodiscard]] TestLine nothing();
/// Eight bars of equal width over the whole active line.
[[nodiscard]] TestLine bars(const standards::VideoStandard& s, const standards::BarForm& form);
/// Flat picture of a level (0 = black, 100 = white) over the whole active line.
[[nodiscard]] TestLine flat(const standards::VideoStandard& s, double percent, std::string kind);
/// Level on the middle half of the line, black beside it.
[[nodiscard]] TestLine window(const standards::VideoStandard& s, double percent);
/// 75 % red over the whole active line.
[[nodiscard]] TestLine red(const standards::VideoStandard& s);
/// Vertical lines of a crosshatch: 2T pulses at the borders of `squares` equal columns.
[[nodiscard]] TestLine hatch(const standards::VideoStandard& s, int squares);

// Measuring lines rest on blanking level, without setup.
/// Risers + 1 levels of equal width from blanking up; with subcarrier (on the lowest level too) the top is
/// lower where the peak would pass white too far (525: 90 IRE).
[[nodiscard]] TestLine staircase(const standards::VideoStandard& s, int risers, bool subcarrier);
/// Straight rise over the middle 84 % of the active line, flat on both sides.
[[nodiscard]] TestLine ramp(const standards::VideoStandard& s, bool subcarrier);
/// White bar (525: 18 us, 625: 10 us) and 2T pulse.
[[nodiscard]] TestLine pulse_bar(const standards::VideoStandard& s);
/// The same bar and a 12.5T (525) or 20T (625) modulated pulse.
[[nodiscard]] TestLine modulated_pulse(const standards::VideoStandard& s);
/// Bar, 2T, modulated pulse and five-riser staircase with subcarrier on one line.
[[nodiscard]] TestLine composite(const standards::VideoStandard& s);
/// Reference and six packets.
[[nodiscard]] TestLine multiburst(const standards::VideoStandard& s);

}  // namespace linebench::signals::lines
