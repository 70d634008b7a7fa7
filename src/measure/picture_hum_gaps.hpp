// Frames that are missing from a file without counting them, or are in it twice, told by hum's phase: hum
// goes on evenly, and time that is not counted makes it jump.
#pragma once

#include <vector>

#include "picture_hum_fit.hpp"

namespace linebench::measure {

struct TimeJump {
  double t = 0;    ///< of the first field that comes later than its time says
  int frames = 0;  ///< by how many
};

struct HumPhase {
  std::vector<TimeJump> jumps;
  int unexplained = 0;  ///< jumps by no whole number of frames
};

/// @param fields in order of time; hz: hum's frequency as far as it is known, a tenth off or less
[[nodiscard]] HumPhase follow_phase(const std::vector<FieldProfile>& fields, const HumProblem& problem,
                                    double hz, double frame_s);

/// By how much the field at t really comes later.
[[nodiscard]] double later_by(const std::vector<TimeJump>& jumps, double t, double frame_s);

}  // namespace linebench::measure
