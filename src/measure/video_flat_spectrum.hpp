// The spectrum of what is left on flat stretches of one length when level, slope and subcarrier are taken
// out.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <linebench/dsp/fft.hpp>
#include <memory>
#include <span>
#include <vector>

#include "video_statistics.hpp"

namespace linebench::measure {

/// Spectra of stretches are kept apart by how much is left on them (bins of half a decibel), because whether
/// a stretch was flat shows only when all have been seen: those with noise alone gather at the lowest level,
/// those with a little picture lie above. Memory does not grow with their number.
class FlatSpectrum {
 public:
  /// @param length samples of a stretch. @param band_hz upper end of the band that powers are taken over.
  FlatSpectrum(std::size_t length, double rate_hz, double subcarrier_hz, double band_hz);
  [[nodiscard]] std::size_t length() const { return length_; }
  [[nodiscard]] double step_hz() const { return step_hz_; }

  /// Takes level, slope and subcarrier out of a stretch (least squares). The result holds until the next
  /// call.
  [[nodiscard]] std::span<const float> residual_of(std::span<const float> mv);
  /// Takes the same out of `x` in place.
  void take_out_fit(std::span<float> x) const;
  /// Adds the stretch last given to residual_of().
  void add(std::size_t group);
  /// Its windowed transform, after add().
  [[nodiscard]] std::span<const std::complex<double>> spectrum() { return fft_.output(); }
  /// True when the stretch last given has no more left on it than those seen so far that are noise alone.
  [[nodiscard]] bool usual() const;
  [[nodiscard]] double seen() const { return seen_; }

  /// Of stretches with noise alone.
  struct Result {
    double stretches = 0;
    std::vector<double> psd;  ///< mV^2/Hz one-sided at multiples of step_hz(), what was taken out put back in
    double relative_u = 0;    ///< expanded, of the band's power
    double relative_u_weighted = 0;
  };
  [[nodiscard]] Result result() const;

  /// What the fit leaves of e^(j w n) for n = 0..length-1: its projections on the fit's terms.
  [[nodiscard]] std::array<std::complex<double>, 4> projections(double radians_per_sample) const;

 private:
  struct Bin {
    double count = 0;
    std::vector<double> psd;
    std::array<double, line_groups> n{};
    std::array<double, line_groups> power{};
    std::array<double, line_groups> weighted{};
  };
  struct Range {
    std::size_t first = 0;
    std::size_t last = 0;
  };
  [[nodiscard]] Range noise_alone() const;
  void fill_lost(std::vector<double>& psd) const;

  std::size_t length_;
  double rate_hz_;
  double step_hz_;
  double window_power_ = 0;
  std::size_t terms_ = 2;
  std::array<std::vector<float>, 4> basis_;
  std::vector<float> window_;
  std::vector<float> residual_;
  std::vector<double> kept_;     // share of white noise that the fit leaves in each bin
  std::vector<double> in_band_;  // Hz of each bin that lie in the band
  std::vector<double> weight_;
  dsp::RealFft fft_;
  std::vector<Bin> bins_;
  double seen_ = 0;
  std::size_t usual_to_ = 0;  // bin, looked up now and then
  double power_ = 0;          // mean square of residual_
};

}  // namespace linebench::measure
