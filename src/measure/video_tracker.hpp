// Following line sync from edge to edge, and what is read off each line on the way.
#pragma once

#include <complex>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "video_find.hpp"

namespace linebench::measure {

/// Samples at hand, right way up (sign applied when read), counted from the start of the capture.
struct SampleWindow {
  const float* data = nullptr;
  std::int64_t base = 0;  ///< index of data[0]
  std::int64_t end = 0;   ///< one past the last
  float sign = 1;

  [[nodiscard]] double at(std::int64_t n) const { return static_cast<double>(sign * data[n - base]); }
  /// Mean of the whole samples inside from..to (sample positions), volts; NaN when outside.
  [[nodiscard]] double mean(double from, double to) const;
  /// Integral over from..to, volts times samples; each sample stands for the cell +-1/2 round it.
  [[nodiscard]] double integral(double from, double to) const;
};

/// What was read off one line.
struct LineMark {
  std::uint64_t index = 0;
  double t0 = 0;  ///< 0H: the measured edge, smoothed over lines as far as its scatter is only noise
  double edge = std::numeric_limits<double>::quiet_NaN();  ///< the measured edge; NaN: not found
  double edge_noise = 0;                                   ///< standard deviation of `edge` by noise, samples
  double tip_v = std::numeric_limits<double>::quiet_NaN();
  double clamp_at = 0;  ///< where blanking was read
  double clamp_v = 0;   ///< blanking
  bool found = false;
  bool broad_first = false;
  bool broad_second = false;
  bool pulses = false;              ///< any equalising or broad pulse
  std::complex<double> burst[2]{};  ///< volts peak, phase at sample 0 of the capture, by each trial frequency
};

/// Taper and demodulator over a stretch of a line, as tables, because every line uses them.
class BurstProbe {
 public:
  BurstProbe() = default;
  BurstProbe(double hz, double rate_hz);
  /// A of A sin(2 pi hz n / rate + phase) in the middle of the burst, as complex.
  [[nodiscard]] std::complex<double> operator()(const SampleWindow& w, double t0, double blanking_v) const;
  [[nodiscard]] double hz() const { return hz_; }

 private:
  double hz_ = 0;
  double rate_hz_ = 0;
  std::vector<std::complex<float>> table_;
};

class LineTracker {
 public:
  /// @param back_porch_end_us end of the stretch after sync that is blanking for sure.
  /// @param start sample index the samples at hand begin at; lines are taken from there on.
  LineTracker(double rate_hz, const FoundSync& found, double back_porch_end_us, double start = 0);

  void set_probe(std::size_t which, double hz);  ///< which: 0 or 1; hz 0 takes it away
  [[nodiscard]] const BurstProbe& probe(std::size_t which) const { return probes_[which]; }

  [[nodiscard]] double next() const { return next_; }      ///< where the next 0H is expected
  [[nodiscard]] double period() const { return period_; }  ///< line period, samples
  /// Samples needed beyond next() to measure the line.
  [[nodiscard]] double reach() const { return period_ + 8 * us_; }
  /// Samples needed before next().
  [[nodiscard]] double reach_back() const { return 8 * us_; }
  /// Measures the line at next() and moves on.
  [[nodiscard]] LineMark measure(const SampleWindow& w);
  /// Puts the tracker to an edge found anew; counts the lines in between.
  void relock(double edge, double sync_v);
  /// Lines in a row without sync.
  [[nodiscard]] int lost() const { return lost_; }
  [[nodiscard]] double sync_v() const { return sync_v_; }
  [[nodiscard]] double noise_v() const;
  [[nodiscard]] double jitter_samples() const;

 private:
  void read_pulses(const SampleWindow& w, double t0, double blanking, LineMark& m) const;
  void read_clamp(const SampleWindow& w, double t0, LineMark& m);
  bool find_edge(const SampleWindow& w, double guess, LineMark& m);
  [[nodiscard]] double search(const SampleWindow& w, double guess, double blanking) const;
  void follow(LineMark& m, double guess);

  double rate_hz_;
  double us_;  // samples in a microsecond
  double period_;
  double next_;
  double sync_v_;
  std::uint64_t index_ = 0;
  int lost_ = 0;
  double last_clamp_at_ = 0;
  double last_clamp_v_ = std::numeric_limits<double>::quiet_NaN();
  std::vector<float> porch_taper_;
  double porch_from_us_;
  BurstProbe probes_[2];
  // Running figures: scatter of the prediction, of the tip inside a line, and of means over the edge's width.
  double surprise2_ = 0;
  double edge_noise2_ = 0;
  double tip_noise2_sum_ = 0;
  double tip_noise_n_ = 0;
  double mean_noise2_ = 0;
  double seen_ = 0;
};

}  // namespace linebench::measure
