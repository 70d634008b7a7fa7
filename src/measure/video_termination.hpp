// What the level says about the 75 ohm at the end.
#pragma once

#include <linebench/measure/video_line.hpp>

namespace linebench::measure {

/// video.termination: correct, missing, double, by the sync amplitude: a 75 ohm source into an open line
/// gives twice the level, into two loads in parallel two thirds. What a cable's loss takes off sync is put
/// back first. Keeps nothing of its own: `finish` reads video.sync.amplitude, video.burst.amplitude and
/// video.cable.loss, so it stands after the meters that give them.
class TerminationMeter : public LineMeter {
 public:
  void line(const LineView&) override {}
  void finish(const VideoSetup& setup, Readings& out) override;
};

}  // namespace linebench::measure
