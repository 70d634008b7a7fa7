// Which test waveform an averaged line carries, by the standards' definitions: colours by their place in the
// colour plane, staircases by equal risers, and so on. Positions, durations and order do not count.
#pragma once

#include <array>
#include <linebench/standards/video_colour.hpp>
#include <optional>
#include <string>
#include <vector>

#include "video_content.hpp"
#include "video_layout.hpp"

namespace linebench::measure {

/// Colour bars: index as in standards::bar_names; white and black may be missing.
struct FoundBars {
  std::array<std::optional<Plateau>, 8> bars;
  standards::BarForm form = standards::bars_75;
};
[[nodiscard]] std::optional<FoundBars> find_bars(const LineLayout& layout, const VideoSetup& setup);

/// Levels of even spacing, darkest first. With subcarrier: the same on every level.
struct FoundStaircase {
  std::vector<Plateau> levels;
  bool subcarrier = false;
};
[[nodiscard]] std::optional<FoundStaircase> find_staircase(const LineLayout& layout, const VideoSetup& setup);

/// Bars whose colours cannot be told, for want of a burst, by their luminances alone: from yellow down they
/// are no even staircase. Chrominance of the bars is not to be used.
[[nodiscard]] std::optional<FoundBars> find_grey_bars(const FoundStaircase& stairs, const LineLayout& layout,
                                                      const VideoSetup& setup);

/// White bar without chrominance, 5 to 40 us, black on both sides: the reference of pulse and bar, line tilt.
struct FoundBar {
  Plateau top;
  double base_mv = 0;       ///< level beside it
  double base_from_us = 0;  ///< where that was read
  double base_to_us = 0;
};
[[nodiscard]] std::optional<FoundBar> find_bar(const LineLayout& layout, const VideoSetup& setup);

/// A steady slope from black over most of the range. With subcarrier: the same all along, as a shaded wall's
/// colour is not.
struct FoundRamp {
  Slope slope;
  bool subcarrier = false;
};
[[nodiscard]] std::optional<FoundRamp> find_ramp(const AveragedLine& line, const LineLayout& layout,
                                                 const VideoSetup& setup);

/// One of the contents with what is on it.
struct KnownLine {
  const LineContent* content = nullptr;
  AveragedLine average;
  LineLayout layout;
  std::optional<FoundBars> bars;
  std::optional<FoundStaircase> staircase;
  std::optional<FoundBar> bar;
  std::optional<FoundRamp> ramp;
  std::string
      name;  ///< the trade's word, e.g. "colour bars 100/0/75/0"; empty when it is none of those known
  double noise_mv = 0;  ///< of a single sample of the average
};
/// All contents of two lines or more, most lines first. What is on no more than a few of the picture's
/// lines is chance: a test picture's lines are one like another, a live picture's are not.
[[nodiscard]] std::vector<KnownLine> know_lines(const ContentMeter& contents, const VideoSetup& setup);

}  // namespace linebench::measure
