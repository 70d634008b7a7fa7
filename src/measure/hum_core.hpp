// The hum measurement fed with short-time spectra, so that they can be shared with other measurements.
#pragma once

#include <array>
#include <complex>
#include <linebench/measure/hum.hpp>
#include <span>
#include <vector>

#include "hum_chunk.hpp"

namespace linebench::measure {

class HumCore {
 public:
  HumCore(const FrameGrid& grid, const HumOptions& options);
  void frame(std::span<const std::complex<float>> bins);
  [[nodiscard]] HumResult finish();

 private:
  struct Sums {
    double power_time = 0;     // sum of seconds x mean square
    double variance_time = 0;  // sum of seconds^2 x variance of it
    double evidence = 0;
    double chunks = 0;
  };
  struct Stretch {
    double hz = 0;
    double variance = 0;
    double seconds = 0;
  };

  void process();
  [[nodiscard]] std::vector<double> tone_multiples();
  [[nodiscard]] std::vector<double> foreign_for(double f0, std::vector<double> foreign) const;
  [[nodiscard]] CombFit best_fit(std::vector<double>& foreign);
  void note_left_out(const CombFit& fit, std::span<const double> foreign);
  void take(const CombFit& fit);
  void restart_track();

  HumOptions options_;
  CombSearch search_;
  HumChunk chunk_;
  double seconds_ = 0;
  double found_seconds_ = 0;
  double track_seconds_ = 0;
  double track_score_ = 0;
  double track_hz_ = 0;
  std::vector<Sums> sums_;
  std::vector<Stretch> stretches_;
  std::array<double, 4> low_variance_time_{};
  std::array<double, 4> low_time_{};
  std::vector<std::size_t> left_out_;
  double left_out_hz_ = 0;
};

}  // namespace linebench::measure
