// Whether the gain stays the same while a test picture is taken in.
#pragma once

#include <linebench/base/reading.hpp>
#include <optional>

#include "picture_view.hpp"

namespace linebench::measure {

class GainWatch {
 public:
  /// @param rows of the band that are looked at
  GainWatch(const PictureSetup& setup, const std::vector<int>& rows);
  void push(const capture::Frame& frame);
  /// Lowest and highest over the frames as shares of the mean, where they differ by more than noise (codes
  /// rms) makes them.
  struct Range {
    double low, high;
  };
  [[nodiscard]] std::optional<Range> moved(double noise) const;
  /// picture.level.step: what that comes to, or what it would have had to be.
  [[nodiscard]] Reading step(double noise) const;

 private:
  struct Columns {
    int from = 0, to = 0;
  };
  /// Share of the mean by which noise alone may part lowest and highest.
  [[nodiscard]] double by_noise(double noise) const;
  const PictureSetup& setup_;
  std::vector<int> rows_;
  Columns bright_, dark_;
  double last_[2] = {};  // contrast of the last frames
  double sum_ = 0, low_ = 0, high_ = 0;
  std::uint64_t frames_ = 0;
};

/// Gives the gain that is farthest from 100 %, and widens all that hangs on it.
void widen_by_moving_gain(const GainWatch::Range& range, Readings& levels);

}  // namespace linebench::measure
