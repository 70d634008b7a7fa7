// The captures a recorder would make of a simulated installation: what its wires carry, sample by sample. The
// same installation and seed give the same samples.
#pragma once

#include <cstdint>
#include <filesystem>
#include <linebench/faultsim/installation.hpp>
#include <string>
#include <utility>
#include <vector>

namespace linebench::faultsim {

struct AudioTake {
  double rate_hz = 48000;
  int channels = 2;
  std::vector<float> samples;  ///< interleaved, full scale +-1 (peak of `full_scale_v` rms as a sine)
};

/// Two lines with a tone of 1 kHz at line-up. @param seconds length.
[[nodiscard]] AudioTake record_lines(const Installation& site, std::uint64_t seed, double seconds);
/// The same lines with nothing sent.
[[nodiscard]] AudioTake record_idle(const Installation& site, std::uint64_t seed, double seconds);
/// The same lines with tones on the left, then on the right (recipe "left-right").
[[nodiscard]] AudioTake record_sides(const Installation& site, std::uint64_t seed, double seconds);
/// What comes back on the first line of the speech sweep (recipe "sweep-speech"), from a little before it on.
[[nodiscard]] AudioTake record_response(const Installation& site, std::uint64_t seed);
/// The programme feed, left and right.
[[nodiscard]] AudioTake record_feed(const Installation& site, std::uint64_t seed, double seconds);

struct CompositeTake {
  double rate_hz = 0;
  std::vector<float> volts;  ///< across the line's end
};

/// The camera's line with colour bars, or a staircase with subcarrier, seen by a digitiser of 17 or 14 MS/s
/// (four times subcarrier).
[[nodiscard]] CompositeTake record_waveform(const Installation& site, std::uint64_t seed, double seconds,
                                            bool staircase = false);
/// The same line through a pad into a sound card at 96 kHz, which takes dc away.
[[nodiscard]] CompositeTake record_lowband(const Installation& site, std::uint64_t seed, double seconds);

/// The same line's frames as a grabber hands them out: BT.601 codes, packed Y0 Cb Y1 Cr.
struct PictureTake {
  int width = 720, height = 576, lines = 625;
  double frame_rate_hz = 25;
  std::vector<std::vector<std::uint8_t>> frames;
  std::vector<std::pair<std::uint64_t, std::uint64_t>>
      lost;  ///< frames left out: before which place, how many
};
[[nodiscard]] PictureTake record_picture(const Installation& site, std::uint64_t seed, double seconds);

/// Writes all of them with their sidecars: lines.wav, idle.wav, sides.wav, response.wav,
/// feed.wav, camera.raw,
/// camera-steps.raw (the staircase), camera-lowband.wav, picture.yuv.
/// @return the names written. Throws Error(Unusable) where the folder cannot be written.
std::vector<std::string> write_captures(const Installation& site, std::uint64_t seed,
                                        const std::filesystem::path& folder);

}  // namespace linebench::faultsim
