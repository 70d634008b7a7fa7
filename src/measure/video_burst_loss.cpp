#include "video_burst_loss.hpp"

#include <cmath>
#include <linebench/standards/video.hpp>

namespace linebench::measure {

std::optional<BurstLoss> burst_loss(const VideoSetup& setup, const Readings& so_far) {
  const Reading* burst = find_reading(so_far, "video.burst.amplitude");
  const Reading* sync = find_reading(so_far, "video.sync.amplitude");
  if (burst == nullptr || sync == nullptr || !burst->measured() || !sync->measured()) return std::nullopt;
  if (!(burst->number() > 0) || !(sync->number() > 0) || !(setup.subcarrier_hz > 0)) return std::nullopt;
  const auto& s = standards::standard_of(setup.lines);
  const double ratio = burst->number() / sync->number() * -s.sync_mv.nominal / s.burst_pp_mv.nominal;
  const double tolerance = 8.686 * (s.burst_pp_mv.plus + s.sync_mv.plus) / s.burst_pp_mv.nominal;
  return BurstLoss{-20 * std::log10(ratio), tolerance};
}

}  // namespace linebench::measure
