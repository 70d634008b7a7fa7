// Flat stretches of several lengths, and which of them to believe.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "video_flat_spectrum.hpp"
#include "video_noise_repeat.hpp"

namespace linebench::measure {

/// One length: its spectra and what repeats in them.
struct NoiseLength {
  NoiseLength(std::size_t samples, const VideoSetup& setup, double band_hz)
      : spectrum(samples, setup.rate_hz, setup.subcarrier_true_hz, band_hz), repeat(samples) {}
  FlatSpectrum spectrum;
  RepeatMeter repeat;
};
/// Longest first.
using NoiseLengths = std::vector<std::unique_ptr<NoiseLength>>;

/// Lengths of 44 us (a line) down to 4.4 us (a colour bar) that transform fast.
[[nodiscard]] NoiseLengths make_noise_lengths(const VideoSetup& setup, double band_hz);

/// What the noise is taken from.
struct NoiseChoice {
  const FlatSpectrum* spectrum = nullptr;  ///< none: nothing flat enough
  std::vector<double> psd;                 ///< mV^2/Hz, what repeats taken out
  double relative_u = 0;                   ///< expanded, of the power
  double relative_u_weighted = 0;
  std::vector<double> share;     ///< of each bin's power that came again frame by frame; empty: none did
  double repeating = 0;          ///< the same of the whole power
  bool colour_left_out = false;  ///< what stood about the subcarrier was taken for colour detail
  bool compared = false;         ///< stretches of two frames were, so that fine picture would have shown
  std::vector<const FlatSpectrum*> noise_alone;  ///< all lengths that show no more than this noise
};
/// The longest stretches (they show the lowest frequencies) among those that show least: where edges of the
/// picture hide in stretches, the shorter ones have less on them.
/// @param tone_hz a tone found, to be left out: periodic noise is measured apart [J.61].
[[nodiscard]] NoiseChoice choose_length(std::span<const std::unique_ptr<NoiseLength>> lengths, double band_hz,
                                        std::optional<double> tone_hz = std::nullopt);
/// Power of a spectrum in 0..band_hz.
[[nodiscard]] double power_of(const std::vector<double>& psd, double step_hz, double band_hz);
/// Width of bin k of a spectrum with this step that lies inside 0..band_hz.
[[nodiscard]] double hz_in_band(std::size_t k, double step_hz, double band_hz);

/// Fewest stretches of a length that noise is taken from.
inline constexpr double least_noise_stretches = 40;

}  // namespace linebench::measure
