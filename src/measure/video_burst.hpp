// The colour burst: level, place and length, frequency, phase to sync.
#pragma once

#include <complex>
#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_sync.hpp"

namespace linebench::measure {

/// video.burst.amplitude, .start, .cycles, .frequency, video.breezeway, video.sc_h.
class BurstMeter : public LineMeter {
 public:
  /// @param sync gives the place of the sync edges at the end; it must outlive this.
  BurstMeter(const VideoSetup& setup, const SyncMeter& sync, double clock_error_ppm);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;
  /// By which the mean of the bursts falls short of them, as a share of it: their phase is restless.
  [[nodiscard]] double phase_loss() const;

 private:
  struct Sums {  // of x e^(-j psi) and of e^(-2 j psi), psi the phase of +U; V as is and V reversed apart
    std::vector<std::complex<double>> x[2];
    std::vector<std::complex<double>> twice[2];
    double lines[2] = {0, 0};
    double late = 0;  // samples, summed over lines, that the grid begins after its nominal time
  };
  struct Shape {
    double amplitude_mv = 0;  // peak
    double start_us = 0;
    double end_us = 0;
  };
  void add_shape(const LineView& v);
  void add_frequency(const LineView& v);
  void add_phase(const LineView& v);
  [[nodiscard]] Shape shape(const Sums& s, double cycle_us, double search_from_us) const;
  [[nodiscard]] std::vector<std::complex<double>> envelope(const Sums& s, double cycle_us,
                                                           double search_from_us) const;
  void finish_frequency(const VideoSetup& setup, Readings& out) const;
  void finish_phase(const VideoSetup& setup, Readings& out) const;

  const SyncMeter& sync_;
  double rate_hz_;
  double clock_;
  double step_us_;
  double search_to_us_;  // where the picture's own chrominance may begin
  std::size_t points_;
  std::vector<Sums> groups_;
  double bursts_ = 0;
  // Straight line through the burst phase, turns over samples, re `hz_` found at the start.
  double hz_ = 0;
  double first_at_ = 0;
  double last_phase_ = 0;
  double n_ = 0, st_ = 0, sp_ = 0, stt_ = 0, stp_ = 0, spp_ = 0;
  // Doubled angle of the phase to sync, by group.
  std::complex<double> folded_{};  // bursts on the axis they should lie on
  std::complex<double> folded2_{};
  std::vector<std::complex<double>> sc_h_;
  double sc_h_lines_ = 0;
  std::complex<double> run_{};  // of some lines on end
  double runs_ = 0;             // sizes of those sums
};

}  // namespace linebench::measure
