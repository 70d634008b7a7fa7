// The hum measurement fed with short-time spectra, so that they can be shared with other measurements.
#pragma once

#include <array>
#include <complex>
#include <linebench/measure/hum.hpp>
#include <span>
#include <vector>

#include "hum_chunk.hpp"
#include "hum_phone.hpp"
#include "phone_burst_core.hpp"

namespace linebench::measure {

class HumCore {
 public:
  HumCore(const FrameGrid& grid, const HumOptions& options);
  void frame(std::span<const std::complex<float>> bins);
  [[nodiscard]] HumResult finish();
  /// The mobile phone's bursts in the same frames: their lines are not mains.
  [[nodiscard]] const PhoneBurstCore& phone() const { return phone_; }

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
  struct Level {  // of a part of the channel
    double from_s = 0;
    double to_s = 0;
    double power = 0;
    double visible_power = 0;  // less would not be seen
  };
  struct OtherSum {
    double hz_time = 0, power_time = 0, seconds = 0;
    void add(double hz, double power, double t);
    [[nodiscard]] std::optional<OtherComb> mean() const;
  };

  void process();
  [[nodiscard]] PhoneLines phone_lines();
  [[nodiscard]] std::vector<double> told_lines();
  [[nodiscard]] std::vector<double> lone_tones() const;
  [[nodiscard]] std::vector<double> foreign_for(double f0, std::vector<double> foreign,
                                                double tolerance_per_multiple = 0.0) const;
  [[nodiscard]] double from_lines(std::span<const double> foreign) const;
  [[nodiscard]] CombFit best_fit(std::vector<double>& foreign);
  [[nodiscard]] CombFit without_tones(CombFit fit, double start_hz, std::vector<double>& foreign);
  void look_for_others(const CombFit& fit, std::vector<double> foreign);
  void note_left_out(const CombFit& fit, std::span<const double> foreign);
  void take(const CombFit& fit);
  void note_levels(const CombFit& fit, double visible_power);
  void restart_track();
  [[nodiscard]] double visible_power(double seconds, std::span<const double> noise_variance) const;
  [[nodiscard]] bool believed() const;
  void put_frequency(HumResult& r) const;
  void put_power(HumResult& r) const;
  void put_times(HumResult& r) const;
  void put_unseen(HumResult& r) const;

  HumOptions options_;
  CombSearch search_;
  HumChunk chunk_;
  PhoneBurstCore phone_;
  std::vector<char> burst_;  // per frame of the stretch
  double bursts_before_ = 0, offsets_before_ = 0;
  PhoneLines phone_lines_;  // of the stretch
  double seconds_ = 0;
  std::size_t frames_before_ = 0;
  double found_seconds_ = 0;
  double track_seconds_ = 0;
  double track_score_ = 0;
  double track_hz_ = 0;
  double lowest_hz_ = 0, highest_hz_ = 0;
  double border_variance_time_ = 0;
  std::vector<Sums> sums_;
  std::vector<Stretch> stretches_;
  std::vector<Level> levels_;  // of the track
  std::vector<Level> empty_;   // stretches in which it was not looked at
  std::array<double, 4> low_variance_time_{};
  std::array<double, 4> low_time_{};
  double denied_energy_ = 0, denied_hz_ = 0, hidden_energy_ = 0;
  OtherSum second_, supply_;
  std::vector<std::size_t> left_out_;
  double left_out_hz_ = 0;
  bool left_out_for_phone_ = false;
  bool phone_seen_ = false;
};

}  // namespace linebench::measure
