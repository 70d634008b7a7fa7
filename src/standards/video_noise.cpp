#include <linebench/standards/video_noise.hpp>
#include <numbers>

namespace linebench::standards {

double unified_weighting_power(double hz) {
  constexpr double tau_s = 245e-9;
  constexpr double a = 4.5;
  const double wt = 2.0 * std::numbers::pi * hz * tau_s;
  const double below = wt / a;
  const double above = (1.0 + 1.0 / a) * wt;
  return (1.0 + below * below) / (1.0 + above * above);
}

}  // namespace linebench::standards
