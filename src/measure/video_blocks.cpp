#include "video_blocks.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

// Block k is x[border[k]] to x[border[k + 1] - 1]. Blocks are short: four lanes leave little to add up at
// their ends.
LINEBENCH_VECTORISED void sums_of_blocks(const float* x, const std::size_t* border, std::size_t count,
                                         float* sum, float* square) {
  constexpr std::size_t lanes = 4;
  for (std::size_t k = 0; k < count; ++k) {
    float s[lanes] = {};
    float q[lanes] = {};
    std::size_t i = border[k];
    for (; i + lanes <= border[k + 1]; i += lanes) {
      for (std::size_t j = 0; j < lanes; ++j) {
        s[j] += x[i + j];
        q[j] += x[i + j] * x[i + j];
      }
    }
    for (; i < border[k + 1]; ++i) {
      s[0] += x[i];
      q[0] += x[i] * x[i];
    }
    sum[k] = (s[0] + s[1]) + (s[2] + s[3]);
    square[k] = (q[0] + q[1]) + (q[2] + q[3]);
  }
}

}  // namespace

double two_cycles_us(const VideoSetup& setup) {
  if (setup.colour) return 2 * setup.subcarrier_us();
  return 2e6 / standards::standard_of(setup.lines).subcarrier_hz.value();
}

void LineBlocks::take(std::span<const float> x, double from, double step, std::size_t count) {
  sum.resize(count);
  square.resize(count);
  size.resize(count);
  borders_.resize(count + 1);
  double at = from;
  for (std::size_t k = 0; k <= count; ++k, at += step)
    borders_[k] = std::min(static_cast<std::size_t>(std::lround(at)), x.size());
  for (std::size_t k = 0; k < count; ++k) size[k] = static_cast<float>(borders_[k + 1] - borders_[k]);
  sums_of_blocks(x.data(), borders_.data(), count, sum.data(), square.data());
}

}  // namespace linebench::measure
