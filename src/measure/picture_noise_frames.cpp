// Frames that were repeated or lost, and samples at the ends of the codes.
#include <fmt/format.h>

#include "picture_noise.hpp"

namespace linebench::measure {

void PictureNoiseMeter::repeated_and_lost(Readings& out) const {
  const std::uint64_t pairs = frames_ > 0 ? frames_ - 1 : 0;
  std::string why;
  if (pairs == 0) {
    why = "one frame only; take several";
  } else if (equal_ == pairs) {
    why =
        "all frames are equal, bit by bit: the picture is frozen, or it comes from a generator without "
        "noise; "
        "move something before the camera to tell";
  } else if (equal_ > 0 && setup_.format.lossy) {
    why = "a lossy coder repeats what hardly changes, so equal frames tell nothing; take it in as YUYV";
  }
  if (!why.empty()) {
    for (const char* id : {"picture.frames.duplicated", "picture.frames.frozen"})
      out.push_back(unmeasurable(id, why));
  } else {
    out.push_back(number_reading("picture.frames.duplicated", static_cast<double>(equal_), std::nullopt,
                                 fmt::format("of {} frames", frames_)));
    out.push_back(number_reading("picture.frames.frozen", static_cast<double>(longest_) * setup_.frame_s,
                                 std::nullopt));
  }
  if (gaps_ > 0 || corrupt_ > 0) {
    std::string remark = gaps_ > 0 ? fmt::format("in {} gaps of the device's count", gaps_) : "";
    if (corrupt_ > 0) remark += fmt::format("{}{} more came damaged", remark.empty() ? "" : "; ", corrupt_);
    out.push_back(number_reading("picture.frames.dropped", static_cast<double>(lost_), std::nullopt, remark));
  } else if (setup_.format.counted) {
    out.push_back(number_reading("picture.frames.dropped", 0, std::nullopt));
  } else {
    out.push_back(
        unmeasurable("picture.frames.dropped",
                     "the file does not say which frames are missing; take it in with capture picture"));
  }
}

void PictureNoiseMeter::clipped(Readings& out) const {
  const double share = pixels_ > 0 ? 100.0 * static_cast<double>(at_ends_) / static_cast<double>(pixels_) : 0;
  std::string remark = "codes 0, 1, 254 and 255";
  const CodeLimits& limits = setup_.code_limits;
  if (limits.lowest > 1)
    remark += fmt::format("; none comes below {}, where black's noise is cut off", limits.lowest);
  if (limits.highest < 254)
    remark += fmt::format("; none comes above {}, where white's noise is cut off", limits.highest);
  if (setup_.format.through_rgb)
    remark = "decoded to RGB, which cuts at 16 and 235: " + remark + " cannot occur";
  out.push_back(number_reading("picture.clipped", share, std::nullopt, remark));
}

}  // namespace linebench::measure
