#include "picture_multiburst.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr std::array<double, 6> packets_525 = {0.5e6, 1.0e6, 2.0e6, 3.0e6, 3.58e6, 4.2e6};
constexpr std::array<double, 6> packets_625 = {0.5e6, 1.0e6, 2.0e6, 4.0e6, 4.8e6, 5.8e6};

struct Fit {
  double amplitude = 0;
  double residual = 1e9;
  double total = 0;  // rms of the stretch about its mean
};

// Sine, cosine and constant by least squares over n columns from `from`.
Fit fit_sine(std::span<const double> line, int from, int n, double turns_per_px) {
  Eigen::Matrix3d a = Eigen::Matrix3d::Zero();
  Eigen::Vector3d b = Eigen::Vector3d::Zero();
  double squares = 0;
  for (int i = 0; i < n; ++i) {
    const double w = 2 * std::numbers::pi * turns_per_px * i;
    const Eigen::Vector3d h(1, std::cos(w), std::sin(w));
    const double v = line[static_cast<std::size_t>(from + i)];
    a += h * h.transpose();
    b += h * v;
    squares += v * v;
  }
  const Eigen::Vector3d x = a.ldlt().solve(b);
  Fit f;
  f.amplitude = std::hypot(x[1], x[2]);
  f.residual = std::sqrt(std::max(0.0, squares - x.dot(b)) / n);
  f.total = std::sqrt(std::max(0.0, squares / n - (b[0] / n) * (b[0] / n)));
  return f;
}

}  // namespace

std::vector<FramePacket> find_packets(std::span<const double> line, int lines, double px_per_us,
                                      double px_per_us_u) {
  const double rate = 1e6 * px_per_us;
  // Over two microseconds a packet tells a frequency that is off by half a per cent.
  const int scales = static_cast<int>(std::ceil(px_per_us_u / 0.003));
  std::vector<FramePacket> out;
  int after = 8;
  for (const double nominal : lines == 525 ? packets_525 : packets_625) {
    if (nominal > 0.46 * rate) break;
    // Two microseconds, or one and a quarter cycles of what is slower.
    const int n = static_cast<int>(std::lround(std::max(2.4e-6, 1.25 / nominal) * rate));
    FramePacket best;
    double best_share = 0.05;
    for (int x = after; x + n < static_cast<int>(line.size()) - 4; x += 2) {
      for (int k = -scales; k <= scales; ++k) {
        const double hz = nominal * (1 + (scales > 0 ? px_per_us_u * k / scales : 0));
        const Fit f = fit_sine(line, x, n, hz / rate);
        const double share = f.total > 0 ? f.residual / f.total : 1;
        if (f.amplitude < 2 || share > best_share) continue;
        best_share = share;
        best = {hz, nominal, f.amplitude, f.residual, x + n / 2.0, n};
      }
    }
    if (best.amplitude <= 0) continue;
    // The sender's frequency may be a little off; what counts is the amplitude at its own.
    const int from = static_cast<int>(best.at - best.width / 2.0);
    for (double off = -0.03; off <= 0.0301; off += 0.0025) {
      const Fit f = fit_sine(line, from, n, nominal * (1 + off) / rate);
      if (f.residual < best.residual) {
        best.residual = f.residual;
        best.amplitude = f.amplitude;
        best.hz = nominal * (1 + off);
      }
    }
    after = static_cast<int>(best.at);
    out.push_back(best);
  }
  return out;
}

}  // namespace linebench::measure
