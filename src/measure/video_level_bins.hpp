// Levels a picture stands at, counted by size; groups of lines apart, for the scatter.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "video_statistics.hpp"

namespace linebench::measure {

/// A level that many stretches of a picture share. All in mV.
struct LevelCluster {
  double mean = 0;
  double from = 0;
  double to = 0;
  double count = 0;  ///< stretches within from..to
};

/// Counts of levels from -300 to 1500 mV of a nominal signal. Levels beyond count at the ends.
class LevelBins {
 public:
  /// @param gain of the signal re nominal; @param spread standard deviation of one level by noise, mV.
  LevelBins(double gain, double spread_mv);
  void add(double mv, std::size_t group);
  [[nodiscard]] double total() const;
  /// Levels counted within from..to, to a bin's width.
  [[nodiscard]] double count(double from_mv, double to_mv) const;
  /// Level that less than `share` of all lie above, to a bin's width; nullopt when there is none.
  [[nodiscard]] std::optional<double> top(double share) const;
  /// Mean of the levels round the lowest (or highest) peak of the count inside from..to that is not small
  /// beside the highest one.
  [[nodiscard]] std::optional<LevelCluster> gather(double from_mv, double to_mv, bool highest_peak) const;
  /// Mean of the three neighbouring bins of a cluster that hold most.
  [[nodiscard]] double densest(const LevelCluster& c) const;
  /// Expanded uncertainty (k=2) of a cluster's mean by the scatter between groups.
  [[nodiscard]] std::optional<double> scatter(const LevelCluster& c) const;

 private:
  struct Bin {
    std::uint32_t count = 0;
    double sum = 0;
  };
  [[nodiscard]] std::size_t bin_of(double mv) const;
  [[nodiscard]] double level_of(std::size_t bin) const;

  double gain_;
  double half_width_;  // of a cluster
  std::vector<std::array<Bin, line_groups>> bins_;
};

}  // namespace linebench::measure
