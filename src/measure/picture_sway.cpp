#include "picture_sway.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/measure/statistics.hpp>

namespace linebench::measure {
namespace {

class Variance {
 public:
  void add(double v) {
    n_ += 1;
    sum_ += v;
    squares_ += v * v;
  }
  [[nodiscard]] double value() const { return std::max(0.0, (squares_ - sum_ * sum_ / n_) / (n_ - 1)); }

 private:
  double n_ = 0, sum_ = 0, squares_ = 0;
};

}  // namespace

SwayFit::SwayFit(const PictureSetup& setup, int block) {
  if (setup.rows_alike()) return;  // a test picture does not sway
  const int w = setup.width();
  const int step = setup.fields;  // the next row of the same field
  const auto at = [&](int r, int x) {
    const int row = std::clamp(r, 0, setup.height() - 1), column = std::clamp(x, 0, w - 1);
    return static_cast<double>(setup.mean[static_cast<std::size_t>(row) * static_cast<std::size_t>(w) +
                                          static_cast<std::size_t>(column)]);
  };
  for (int r = 0; r < setup.height(); ++r) {
    for (int b = 0; b < w / block; ++b) {
      Variance up, along, light;
      for (int x = b * block; x < (b + 1) * block; ++x) {
        up.add((at(r + step, x) - at(r - step, x)) / (2 * step));
        along.add((at(r, x + 1) - at(r, x - 1)) / 2);
        light.add(at(r, x));
      }
      detail_.emplace_back(1, up.value(), along.value(), light.value());
    }
  }
}

void SwayFit::add(std::size_t block, float variance, std::size_t group) {
  if (detail_.empty()) return;
  Sums& s = sums_[group % groups];
  const Values& x = detail_[block];
  s.squares += x * x.transpose();
  s.products += static_cast<double>(variance) * x;
}

SwayFit::Share SwayFit::vertical() const { return share(false); }
SwayFit::Share SwayFit::all() const { return share(true); }

SwayFit::Share SwayFit::share(bool all) const {
  std::vector<double> each;
  double mean = 0;
  for (const Sums& s : sums_) {
    const double n = s.squares(Noise, Noise);
    if (n < 500) continue;
    const Values of_each = s.squares.completeOrthogonalDecomposition().solve(s.products);
    double part = of_each[Vertical] * s.squares(Noise, Vertical);
    if (all)
      part += of_each[Sideways] * s.squares(Noise, Sideways) + of_each[Light] * s.squares(Noise, Light);
    each.push_back(part / n);
    mean += each.back();
  }
  if (each.size() < 4) return {};
  const auto n = static_cast<double>(each.size());
  mean /= n;
  double scatter = 0;
  for (const double v : each) scatter += (v - mean) * (v - mean);
  return {mean, coverage_factor(n - 1) * std::sqrt(scatter / (n - 1) / n)};
}

}  // namespace linebench::measure
