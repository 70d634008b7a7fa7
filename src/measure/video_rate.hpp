// Line frequency and jitter from the sync edges.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_stack.hpp"

namespace linebench::measure {

/// video.line.frequency, video.field.frequency, video.sync.jitter.
class RateMeter : public LineMeter {
 public:
  /// @param clock_error_ppm of the recorder (+: fast), where known; else 0.
  RateMeter(double rate_hz, double clock_error_ppm)
      : rate_hz_(rate_hz), clock_(1 / (1 + clock_error_ppm * 1e-6)) {}
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  void close_block();
  void close_run();
  void jitter(Readings& out);

  double rate_hz_;
  double clock_;
  // Straight line through an unbroken run of edges; runs end where lines were lost without a count.
  double n_ = 0, si_ = 0, st_ = 0, sii_ = 0, sit_ = 0, stt_ = 0;
  double first_edge_ = 0;
  std::uint64_t first_index_ = 0;
  std::uint64_t last_index_ = 0;
  double period_guess_ = 0;
  double slope_sum_ = 0, slope_weight_ = 0;
  // Departures from even spacing in blocks, each with its own straight line taken out.
  std::vector<double> block_i_, block_t_;
  double noise2_ = 0, noise_n_ = 0;
  std::vector<double> variances_;  // of blocks
  std::vector<double> freedom_;
};

}  // namespace linebench::measure
