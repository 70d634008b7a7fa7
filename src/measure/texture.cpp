#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/texture.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t first_bin = 4;  // what is left of dc reaches so far
constexpr std::size_t together = 32;

// @return sum of magnitudes and, in `all`, of powers.
LINEBENCH_VECTORISED double add_block(const double* power, double* magnitudes, double* powers, double& all) {
  double lanes[4] = {};
  double power_lanes[4] = {};
  for (std::size_t i = 0; i < together; i += 4) {
    for (std::size_t k = 0; k < 4; ++k) {
      const double p = power[i + k];
      const double m = std::sqrt(p);
      lanes[k] += m;
      power_lanes[k] += p;
      magnitudes[i + k] += m;
      powers[i + k] += p;
    }
  }
  all = power_lanes[0] + power_lanes[1] + power_lanes[2] + power_lanes[3];
  return lanes[0] + lanes[1] + lanes[2] + lanes[3];
}

}  // namespace

void Texture::add(std::span<const double> power) {
  if (power_.size() != power.size()) {
    power_.assign(power.size(), 0.0);
    magnitude_.assign(power.size(), 0.0);
    count_ = even_ = all_ = 0;
  }
  for (std::size_t b = first_bin; b + together <= power.size(); b += together) {
    double all = 0;
    const double sum = add_block(&power[b], &magnitude_[b], &power_[b], all);
    even_ += sum * sum / static_cast<double>(together);
    all_ += all;
  }
  ++count_;
}

double Texture::over_time() const {
  double steady = 0;
  double all = 0;
  for (std::size_t b = 0; b < power_.size(); ++b) {
    steady += magnitude_[b] * magnitude_[b];
    all += power_[b];
  }
  return count_ > 1 && all > 0 ? steady / (count_ * all) : 1.0;
}

double Texture::over_bins() const { return all_ > 0 ? even_ / all_ : 1.0; }

}  // namespace linebench::measure
