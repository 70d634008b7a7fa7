#include "video_termination.hpp"

#include <fmt/format.h>

#include <cmath>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

// Levels re nominal, dB. Sources are commonly within a decibel of nominal; the three states lie 3.5 and 6 dB
// apart, so a decibel and a half either side tells them.
constexpr double missing_db = 6.02;
constexpr double double_db = -3.52;
constexpr double within_db = 1.5;

}  // namespace

void TerminationMeter::finish(const VideoSetup& setup, Readings& out) {
  const Reading* sync = find_reading(out, "video.sync.amplitude");
  if (sync == nullptr || !sync->measured()) {
    out.push_back(unmeasurable("video.termination", "the sync amplitude could not be measured"));
    return;
  }
  const auto& nominal = setup.lines == 625 ? standards::video_625 : standards::video_525;
  const double db = 20 * std::log10(sync->number() / -nominal.sync_mv.nominal);
  std::string also;
  const Reading* burst = find_reading(out, "video.burst.amplitude");
  if (burst != nullptr && burst->measured() && burst->number() > 0) {
    const double burst_db = 20 * std::log10(burst->number() / nominal.burst_pp_mv.nominal);
    if (std::abs(burst_db - db) > 2.0) {
      also = fmt::format("; the burst reads {:+.1f} dB, so it is not the level alone", burst_db);
    }
  }
  const std::string level = fmt::format("sync is {:+.1f} dB re nominal", db);
  if (std::abs(db) < within_db) {
    out.push_back(text_reading("video.termination", "correct", level + also));
  } else if (std::abs(db - missing_db) < within_db) {
    out.push_back(text_reading("video.termination", "missing",
                               level +
                                   ": twice, as with nothing at the end of the line, or a recorder's own "
                                   "high-impedance input without a "
                                   "75 ohm load. A gain set 6 dB high looks the same: put a 75 ohm load on "
                                   "and see whether it halves" +
                                   also));
  } else if (std::abs(db - double_db) < within_db) {
    out.push_back(text_reading(
        "video.termination", "double",
        level +
            ": two thirds, as with two 75 ohm loads. A gain set 3.5 dB low looks the same: take one load off "
            "and see whether it rises by half" +
            also));
  } else {
    out.push_back(unmeasurable(
        "video.termination",
        level +
            ": neither right, nor twice (no load), nor two thirds (two loads); a gain fault or a long or "
            "damaged cable. Measure at the source's own output with one 75 ohm load" +
            also));
  }
}

}  // namespace linebench::measure
