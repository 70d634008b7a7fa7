// Spectral windows as cosine sums, periodic (DFT-even) form.
#pragma once

#include <cstddef>
#include <vector>

namespace linebench::dsp {

enum class Window {
  Hann,             ///< side lobes -31 dB falling 18 dB/octave; adds up to a constant at 50 % overlap
  BlackmanHarris4,  ///< side lobes -92 dB, main lobe +-4 bins [Harris 1978]
  BlackmanHarris7,  ///< side lobes -180 dB, main lobe +-7 bins [Albrecht 2001]
};

/// n samples of the window, n >= 2.
[[nodiscard]] std::vector<double> make_window(Window kind, std::size_t n);

/// Half width of the main lobe in bins (first zero): where a line's energy ends.
[[nodiscard]] int main_lobe_bins(Window kind);

/// Value of the window's transform at a distance of `bins` from its centre, relative to the centre (1 at 0).
/// Exact for n >> bins; real, since the phase of the delay is left out.
[[nodiscard]] double window_response(Window kind, double bins);

/// Sum of w over n (coherent gain) and n sum w^2 / (sum w)^2 (equivalent noise bandwidth in bins).
[[nodiscard]] double coherent_gain(Window kind);
[[nodiscard]] double noise_bandwidth_bins(Window kind);

}  // namespace linebench::dsp
