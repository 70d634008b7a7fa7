// What stands where on an averaged line: flat parts, pulses, packets, slopes, found by shape alone.
#pragma once

#include <array>
#include <complex>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_line_sums.hpp"

namespace linebench::measure {

/// A part of the line between two edges on which luminance and chrominance stand still.
struct Plateau {
  double edge_from_us = 0;  ///< middles of the edges
  double edge_to_us = 0;
  double from_us = 0;  ///< the part that is clear of the edges
  double to_us = 0;
  double luma_mv = 0;
  double chroma_mv = 0;                          ///< mV peak
  std::array<std::complex<double>, 2> chroma{};  ///< as on lines with V as is and V reversed
  std::complex<double> chroma_undone{};          ///< V switch undone
  [[nodiscard]] double width_us() const { return edge_to_us - edge_from_us; }
};

/// A sin^2 pulse of luminance, of about 2T.
struct Pulse {
  double centre_us = 0;
  double height_mv = 0;  ///< over what is beside it
  double had_us = 0;     ///< half-amplitude duration
};

/// A sin^2 pulse of luminance and, of the same shape, chrominance (10T to 20T).
struct ModulatedPulse {
  double centre_us = 0;
  double had_us = 0;
  double luma_mv = 0;    ///< height of the luminance
  double chroma_mv = 0;  ///< highest amplitude of the chrominance
};

/// A stretch of one frequency that is not the subcarrier.
struct Packet {
  double from_us = 0;  ///< the part that is clear of its ends
  double to_us = 0;
  double hz = 0;
  double amplitude_mv = 0;     ///< peak
  bool by_subcarrier = false;  ///< it keeps step with the subcarrier, not with sync
};

/// A steady slope.
struct Slope {
  double from_us = 0;
  double to_us = 0;
  double from_mv = 0;
  double to_mv = 0;
  double chroma_mv = 0;
};

struct LineLayout {
  std::vector<Plateau> plateaus;
  std::vector<Pulse> pulses;
  std::vector<ModulatedPulse> modulated;
  std::vector<Packet> packets;  ///< three or more of different frequency, or none
  std::vector<Slope> slopes;
};

/// @param noise_mv rms of a single sample of `line`.
[[nodiscard]] LineLayout lay_out(const AveragedLine& line, const VideoSetup& setup, double noise_mv);

/// Parts of lay_out(), each in a file of its own.
[[nodiscard]] std::vector<Pulse> find_pulses(const AveragedLine& line, const VideoSetup& setup,
                                             double noise_mv);
[[nodiscard]] std::vector<ModulatedPulse> find_modulated_pulses(const AveragedLine& line,
                                                                const VideoSetup& setup, double noise_mv);
[[nodiscard]] std::vector<Packet> find_packets(const AveragedLine& line, const VideoSetup& setup,
                                               double noise_mv);
/// Amplitude (mV peak) of the wave of this frequency on a stretch: least squares with mean and slope.
[[nodiscard]] double packet_amplitude(const AveragedLine& line, const Packet& p);

/// White of this signal by its sync, mV.
[[nodiscard]] double white_by_sync(const VideoSetup& setup);

}  // namespace linebench::measure
