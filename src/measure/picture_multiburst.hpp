// Packets of a multiburst on one mean line.
#pragma once

#include <span>
#include <vector>

namespace linebench::measure {

struct FramePacket {
  double hz = 0;  ///< as fitted
  double nominal_hz = 0;
  double amplitude = 0;  ///< peak, codes
  double residual = 0;   ///< rms of what the fit leaves, codes
  double at = 0;         ///< middle column
  int width = 0;         ///< columns fitted
};

/// Packets at the system's frequencies (525: 0.5, 1, 2, 3, 3.58, 4.2 MHz [NTC-7]; 625: 0.5, 1, 2, 4, 4.8,
/// 5.8 MHz [J.63]), left to right in that order; those too weak or bent to be told are left out.
/// @param px_per_us_u by how much of it the scale may be off: frequencies are looked for that far off too
[[nodiscard]] std::vector<FramePacket> find_packets(std::span<const double> line, int lines, double px_per_us,
                                                    double px_per_us_u);

}  // namespace linebench::measure
