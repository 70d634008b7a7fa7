// Noise power from an averaged spectrum: lines taken out, bands and weightings applied, with its uncertainty.
#pragma once

#include <cstddef>
#include <linebench/measure/spectrum.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// A steady line: where, and its mean square.
struct SpectralLine {
  double bins = 0;
  double mean_square = 0;
};

/// An averaged power spectrum without the lines that were taken out of it.
struct NoiseSpectrum {
  std::vector<double> power;   ///< per bin; bins that a line covered hold what lies on both sides of them
  std::vector<char> refilled;  ///< 1 where a bin was covered
  std::vector<double> smooth;  ///< per bin: the noise without single lines (block medians)
  double looks = 1;            ///< independent looks the average stands on
};

/// @param power averaged |bin|^2
/// @param looks independent looks at noise power (SpectrumShape::looks_at_power)
[[nodiscard]] NoiseSpectrum take_out_lines(std::span<const double> power, const SpectrumShape& shape,
                                           std::span<const SpectralLine> lines, double looks);

/// A mean square with its relative uncertainty.
struct NoisePower {
  double mean_square = 0;
  double rel_u = 0;           ///< expanded (k=2)
  double refilled_share = 0;  ///< share of the band (weighted) that lines covered
};

/// Power weights per bin for a band and a curve.
enum class Weighting { None, A, Bs468 };
/// @return one weight per bin 0..n/2: the curve's power gain from 20 Hz to the top of the audio band, 0
/// outside.
[[nodiscard]] std::vector<double> bin_weights(const SpectrumShape& shape, Weighting weighting);

/// Sums the spectrum. The uncertainty is that of a stationary noise of this spectrum seen for this long;
/// steady lines left in it (hum) count as certain but for the noise beside them.
[[nodiscard]] NoisePower noise_power(const NoiseSpectrum& noise, std::span<const double> weights);

}  // namespace linebench::measure
