// What the burst's level re sync says of a path's loss.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/video_line.hpp>
#include <optional>

namespace linebench::measure {

/// dB at the subcarrier, with the expanded uncertainty that the source's tolerance leaves.
struct BurstLoss {
  double db = 0;
  double u_db = 0;
};

/// Nothing where burst or sync were not measured.
std::optional<BurstLoss> burst_loss(const VideoSetup& setup, const Readings& so_far);

}  // namespace linebench::measure
