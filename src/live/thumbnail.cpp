#include <algorithm>
#include <cmath>
#include <linebench/live/picture_meter.hpp>
#include <numeric>

namespace linebench::live {
namespace {

std::uint8_t code(double v) { return static_cast<std::uint8_t>(std::clamp(std::lround(v), 0L, 255L)); }

}  // namespace

Thumbnail make_thumbnail(const capture::Frame& frame, const capture::FrameFormat& format, int most) {
  Thumbnail t;
  const int every = std::max(1, std::max(format.width, format.height) / std::max(1, most));
  t.width = format.width / every;
  t.height = format.height / every;
  const auto step = static_cast<std::size_t>(every);
  const auto w = static_cast<std::size_t>(format.width);
  for (int r = 0; r < t.height; ++r) {
    // One row of each block is enough to look at; the profile takes all columns of it.
    const auto row = static_cast<std::size_t>(r) * step + step / 2;
    const std::uint8_t* y = frame.y.data() + row * w;
    t.row_mean.push_back(std::accumulate(y, y + w, 0.0) / static_cast<double>(w));
    for (int c = 0; c < t.width; ++c) {
      const std::size_t from = static_cast<std::size_t>(c) * step;
      const double luma =
          1.164383 * (std::accumulate(y + from, y + from + every, 0.0) / every - 16);  // 255 / 219
      const std::size_t chroma = row * (w / 2) + std::min((from + step / 2) / 2, w / 2 - 1);
      const double cb = frame.cb[chroma] - 128.0;
      const double cr = frame.cr[chroma] - 128.0;
      // [BT.601], codes of 219 and 224 steps to full range
      t.rgb.push_back(code(luma + 1.596027 * cr));
      t.rgb.push_back(code(luma - 0.391762 * cb - 0.812968 * cr));
      t.rgb.push_back(code(luma + 2.017232 * cb));
    }
  }
  return t;
}

}  // namespace linebench::live
