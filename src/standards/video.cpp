#include <linebench/standards/video.hpp>
#include <stdexcept>

namespace linebench::standards {
namespace {
constexpr std::array<const VideoStandard*, 4> all = {&video_525, &video_525_no_setup, &video_625,
                                                     &video_625_i};
}

std::span<const VideoStandard* const> video_standards() { return all; }

const VideoStandard& video_standard(VideoSystem system) {
  for (const VideoStandard* s : all) {
    if (s->system == system) return *s;
  }
  throw std::out_of_range("video_standard: no such system");
}

const VideoStandard* find_video_standard(std::string_view name) {
  for (const VideoStandard* s : all) {
    if (s->name == name) return s;
  }
  return nullptr;
}

}  // namespace linebench::standards
