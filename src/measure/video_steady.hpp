// Whether the level stays what it is: a loose connector, a supply that sags, a burst that comes and goes.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_burst.hpp"

namespace linebench::measure {

/// video.level.step, video.burst.missing. What a capture's mean says of a level that moved is true of no part
/// of it: the uncertainty of every level that has been read before is widened to the range.
class SteadyMeter : public LineMeter {
 public:
  /// @param burst knows at the end how unsteady the phase of the bursts was; it must outlive this.
  SteadyMeter(const VideoSetup& setup, const BurstMeter& burst);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  /// Means of stretches of two milliseconds, and the largest and smallest of two stretches on end.
  class Extremes {
   public:
    void add(double value);
    void close();
    void part() { before_ = 0; }  ///< what follows is not next to what was
    [[nodiscard]] double lowest() const { return lowest_; }
    [[nodiscard]] double highest() const { return highest_; }
    /// Of the largest less the smallest by the scatter from line to line, k = 2.
    [[nodiscard]] double noise() const;
    [[nodiscard]] bool known() const { return highest_ > 0; }

   private:
    double sum_ = 0;
    double n_ = 0;
    double last_ = 0;
    double moved2_ = 0;
    double moves_ = 0;
    double before_ = 0;
    double lowest_ = 0;
    double highest_ = 0;
  };
  [[nodiscard]] double range_of(const Extremes& e) const;
  void widen(Readings& out) const;
  [[nodiscard]] std::vector<int> blanked() const;

  const BurstMeter& burst_;
  // By line number:
  std::vector<bool> burst_expected_;
  std::vector<double> seen_, without_;
  std::uint64_t stretch_ = 0;
  Extremes sync_;
  Extremes amplitude_;  // of the burst
  double expected_ = 0;
  double missing_ = 0;
};

}  // namespace linebench::measure
