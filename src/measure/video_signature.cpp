#include "video_signature.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

constexpr double wide_noise_hz = 5e6;  // noise of a video path fills at most this much

}  // namespace

SignatureTaker::SignatureTaker(const VideoSetup& setup) : gain_(setup.gain()) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  block_us_ = two_cycles_us(setup);
  from_us_ = s.active_start_us.nominal;
  to_us_ = s.active_end_us();
  // Noise that does not fill half the rate is worth fewer samples in a block.
  const double independent =
      std::max(1.0, block_us_ * 1e-6 * setup.rate_hz * std::min(1.0, wide_noise_hz / (setup.rate_hz / 2)));
  level_noise_ =
      static_cast<float>(std::hypot(setup.noise_mv * 0.61 / std::sqrt(independent), setup.wander_mv));
  activity_noise_ =
      static_cast<float>(std::hypot(setup.noise_mv / std::sqrt(2 * independent), setup.wander_mv));
}

const LineSignature& SignatureTaker::take(const LineView& v) {
  last_.level.clear();
  last_.activity.clear();
  if (!v.covers(from_us_, to_us_)) return last_;
  const double step = block_us_ * v.samples_per_us();
  const auto blocks = static_cast<std::size_t>((to_us_ - from_us_) / block_us_);
  if (step < 2 || blocks < 8) return last_;
  blocks_.take(v.mv, v.position(from_us_), step, blocks);
  // Three blocks under [1 2 1]: block borders lie on whole samples, and that takes out what subcarrier this
  // leaves.
  const std::vector<float>& sum = blocks_.sum;
  const std::vector<float>& size = blocks_.size;
  for (std::size_t k = 1; k + 1 < blocks; k += 2) {
    const float a = sum[k - 1] / size[k - 1];
    const float b = sum[k] / size[k];
    const float c = sum[k + 1] / size[k + 1];
    last_.level.push_back(0.25F * (a + 2 * b + c));
    const float n = size[k] + size[k + 1];
    const float mean = (sum[k] + sum[k + 1]) / n;
    const float square = (blocks_.square[k] + blocks_.square[k + 1]) / n;
    last_.activity.push_back(std::sqrt(std::max(0.0F, square - mean * mean)));
  }
  return last_;
}

bool SignatureTaker::same(const LineSignature& line, const LineSignature& mean, double lines) const {
  const std::size_t n = line.level.size();
  if (n == 0 || mean.level.size() != n) return false;
  const auto more = static_cast<float>(1 + 1 / lines);
  const auto still = static_cast<float>(3 * gain_);
  const auto clear = static_cast<float>(7 * gain_);
  float total = 0;
  for (std::size_t k = 0; k < n; ++k) {
    // Next to an edge the level depends on where exactly the line begins, and activity on the phase of the
    // subcarrier.
    const float contrast =
        std::abs(mean.level[k + 1 < n ? k + 1 : k] - mean.level[k > 0 ? k - 1 : 0]) + 0.5F * mean.activity[k];
    const float moved = 0.06F * contrast;
    const float dl = line.level[k] - mean.level[k];
    const float da = line.activity[k] - mean.activity[k];
    const float vl = more * level_noise_ * level_noise_ + still * still + moved * moved;
    const float va = more * activity_noise_ * activity_noise_ + still * still + moved * moved;
    const float high = 5.0F;
    if (std::abs(dl) > high * std::sqrt(vl) + clear || std::abs(da) > high * std::sqrt(va) + clear)
      return false;
    total += dl * dl / vl + da * da / va;
  }
  return total < 2.2F * 2 * static_cast<float>(n);
}

}  // namespace linebench::measure
