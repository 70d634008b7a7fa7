// Frames that are missing from a file without counting them, or are in it twice, told by hum's phase: hum
// goes on evenly, and time that is not counted makes it jump.
#pragma once

#include <limits>
#include <vector>

#include "picture_hum_fit.hpp"

namespace linebench::measure {

struct TimeJump {
  double t = 0;        ///< of the first field that comes later than its time says
  double seconds = 0;  ///< by how much, whole periods of hum more or less
  int frames = 0;  ///< so many whole frames; 0: no whole number explains it, as where two takes are joined
};

struct HumPhase {
  std::vector<TimeJump> jumps;
  int unexplained = 0;  ///< of them by no whole number of frames
  /// Fields outside are of another time than all between: too few to tell by how much.
  double from = -std::numeric_limits<double>::infinity();
  double until = std::numeric_limits<double>::infinity();
};

/// @param fields in order of time; hz: hum's frequency as far as it is known, a tenth off or less
[[nodiscard]] HumPhase follow_phase(const std::vector<FieldProfile>& fields, const HumProblem& problem,
                                    double hz, double frame_s);

/// By how much the field at t really comes later.
[[nodiscard]] double later_by(const std::vector<TimeJump>& jumps, double t);

}  // namespace linebench::measure
