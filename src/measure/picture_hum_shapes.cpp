// Orthonormal polynomials over the rows of a field.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

#include "picture_hum_fit.hpp"

namespace linebench::measure {

FieldShapes::FieldShapes(std::vector<int> rows, double line_s) : rows_(std::move(rows)), line_s_(line_s) {
  const std::size_t n = rows_.size();
  if (n < hum_shapes) {
    rows_.clear();
    return;
  }
  const double middle = 0.5 * (rows_.front() + rows_.back());
  const double half = std::max(1.0, 0.5 * (rows_.back() - rows_.front()));
  for (std::size_t k = 0; k < hum_shapes; ++k) {
    std::vector<double>& v = values_[k];
    v.resize(n);
    for (std::size_t i = 0; i < n; ++i)
      v[i] = std::cos(static_cast<double>(k) * std::acos(std::clamp((rows_[i] - middle) / half, -1.0, 1.0)));
    for (int pass = 0; pass < 2; ++pass) {
      for (std::size_t m = 0; m < k; ++m) {
        double s = 0;
        for (std::size_t i = 0; i < n; ++i) s += v[i] * values_[m][i];
        for (std::size_t i = 0; i < n; ++i) v[i] -= s * values_[m][i];
      }
    }
    double norm = 0;
    for (const double x : v) norm += x * x;
    norm = norm > 1e-12 ? 1 / std::sqrt(norm) : 0;
    for (double& x : v) x *= norm;
  }
}

FieldShapes::Turning FieldShapes::summed(double hz) const {
  Turning out{};
  const std::complex<double> step = std::polar(1.0, 2 * std::numbers::pi * hz * line_s_);
  std::complex<double> turn = std::polar(1.0, 2 * std::numbers::pi * hz * line_s_ * rows_.front());
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    for (std::size_t k = 0; k < hum_shapes; ++k) out[k] += values_[k][i] * turn;
    if (i + 1 < rows_.size()) {
      for (int r = rows_[i]; r < rows_[i + 1]; ++r) turn = dsp::product(turn, step);
    }
  }
  return out;
}

// Against the middle of the field's rows, where the phase turns by no more than 0.06 rad from one place of
// the grid to the next: a cubic through four of them is right to 1e-6.
FieldShapes::Turning FieldShapes::turning(double hz) const {
  constexpr double most_hz = 1000;
  if (rows_.empty()) return {};
  if (!(hz >= 0) || hz > most_hz) return summed(hz);
  const double middle_s = 0.5 * line_s_ * (rows_.front() + rows_.back());
  const auto below = static_cast<int>(hz);
  const double u = hz - below;
  const double weight[4] = {-u * (u - 1) * (u - 2) / 6, (u + 1) * (u - 1) * (u - 2) / 2,
                            -(u + 1) * u * (u - 2) / 2, (u + 1) * u * (u - 1) / 6};
  Turning out{};
  for (int g = 0; g < 4; ++g) {
    const int at = below + g - 1;
    const auto [place, fresh] = by_hertz_.try_emplace(at);
    if (fresh) {
      place->second = summed(at);
      for (std::complex<double>& v : place->second)
        v *= std::polar(1.0, -2 * std::numbers::pi * at * middle_s);
    }
    for (std::size_t k = 0; k < hum_shapes; ++k) out[k] += weight[g] * place->second[k];
  }
  const std::complex<double> turn = std::polar(1.0, 2 * std::numbers::pi * hz * middle_s);
  for (std::complex<double>& v : out) v = dsp::product(v, turn);
  return out;
}

}  // namespace linebench::measure
