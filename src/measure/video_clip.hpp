// Bright parts cut off flat at one level: by the source, or by something on the way.
#pragma once

#include <array>
#include <cstddef>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_blocks.hpp"

namespace linebench::measure {

/// Readings video.clipped, video.clipped.level. A flat white is no evidence: pictures have them. What is:
/// - a steady colour whose subcarrier does not rise to its peak but stands flat before it. Its mean and
///   fundamental together then reach above the flat part (of a sine cut at half its height by 20 % of it),
///   which no whole sine's do;
/// - brightness that climbs evenly along a line and stops at a corner, again and again at one level below
///   white. (At white and above cameras cut off by design.)
/// Nothing may pass over that level.
class ClipMeter : public LineMeter {
 public:
  explicit ClipMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  // Steady colours (or corners, with `lack` unused) by the level their peaks (or they) stand at.
  struct Bin {
    double count = 0;
    double top = 0;   // sum of levels
    double lack = 0;  // by how much peaks stay below what mean and fundamental make, sum
    double lack_square = 0;
    double amplitude = 0;  // sum, of the subcarrier
  };
  struct Cut {
    double level_mv = 0, level_u_mv = 0;
    double share = 0;  // of all steady colours, or of all corners
    double of = 0;     // how many those are
  };
  void colours(const LineView& v);
  void corners(const LineView& v);
  [[nodiscard]] std::size_t bin_of(double mv) const;
  [[nodiscard]] static Bin around(const std::vector<Bin>& bins, std::size_t middle, std::size_t reach);
  [[nodiscard]] std::optional<Cut> cut_colours(double noise_mv) const;
  [[nodiscard]] std::optional<Cut> cut_brightness() const;

  double gain_;
  double active_from_us_, active_to_us_;
  double white_mv_;         // nominal, at this signal's level
  bool fast_enough_;        // for the peaks of colour
  double level_share_;      // of white: what the level of cut peaks is known to
  double colour_block_us_;  // 0: no colour, or too slow for it
  double corner_block_us_;
  double noise_mv_;
  std::vector<bool> picture_line_;
  std::vector<Bin> colours_, corners_, levels_;
  struct Colour {
    double mean = 0;
    std::complex<double> peak{};
  };
  std::vector<Colour> colour_;  // of one line
  LineBlocks blocks_;
  std::vector<double> level_;  // of one line's blocks
};

}  // namespace linebench::measure
