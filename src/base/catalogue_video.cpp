// Video reading kinds: waveform and lowband views (mV at 75 ohm, blanking = 0) and the picture view.
#include <linebench/base/catalogue.hpp>

namespace linebench {
namespace {

constexpr ReadingKind kinds[] = {
    {"video.signal", "Video signal", "", 0, "whether a composite signal is there: present, none"},
};

}  // namespace

std::span<const ReadingKind> video_reading_kinds() { return kinds; }

}  // namespace linebench
