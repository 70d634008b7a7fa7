// Where a picture's black stands: on blanking, or on setup.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <optional>
#include <string>
#include <vector>

#include "video_level_bins.hpp"

namespace linebench::measure {

/// Setup shows where black does, and only there. Lines and edges without picture stand on blanking whatever
/// the setup, dark grey and dark colours stand anywhere; so what counts is well inside the picture, without
/// colour, the lowest level there, on many of its lines, and at one of the two places where black can be.
class BlackLevel {
 public:
  struct Stretch {
    bool still = false;  ///< the luminance stands still; what follows matters only then
    double level_mv = 0;
    double ripple_mv2 = 0;     ///< variance within it: noise, and colour or detail
    double samples = 0;        ///< in it
    double from_start_us = 0;  ///< its middle, from where the picture nominally starts
    double to_end_us = 0;      ///< and to where it ends
  };
  struct Finding {
    std::optional<LevelCluster> level;
    std::string reason;     ///< why there is none
    double shading_mv = 0;  ///< what dark parts of the picture may have added to it
  };

  /// @param spread_mv standard deviation of a stretch's level by noise.
  BlackLevel(const VideoSetup& setup, double spread_mv);
  /// @param line number, 0 when lines have none.
  void begin_line(int line);
  void add(const Stretch& s, std::size_t group);
  void end_line();
  [[nodiscard]] Finding find() const;
  [[nodiscard]] std::optional<double> mv() const;
  [[nodiscard]] const LevelBins& bins() const { return bins_; }

 private:
  [[nodiscard]] double shading_mv(const LevelCluster& c) const;

  struct Place {
    double at_mv = 0;
    std::size_t on_line = 0;  // stretches of this line near it
    double lines = 0;         // that have some
  };

  bool is_625_;
  double gain_;
  double noise_mv_;
  double spread_;
  double near_mv_;            // to a place where black can be
  std::vector<bool> inside_;  // lines well inside the picture
  bool on_ = false;
  double lines_ = 0;
  double all_ = 0;  // stretches, still or not
  LevelBins bins_;
  Place blanking_;
  Place setup_;
};

}  // namespace linebench::measure
