#include "picture_bend.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>

namespace linebench::measure {
namespace {

// Median of the known rows' places; its variance is left aside, being that of very many rows.
double middle_place(const std::vector<RowPlace>& rows, std::size_t from, std::size_t to) {
  std::vector<double> v;
  for (std::size_t r = from; r < to && r < rows.size(); ++r)
    if (rows[r].known) v.push_back(rows[r].px);
  return v.empty() ? 0 : dsp::median(std::move(v));
}

// The place at row 0 by a polynomial through rows 2 .. last-1.
struct AtTop {
  double px = 0, variance = 0;
  bool usable = false;
};
AtTop extrapolate(const std::vector<RowPlace>& rows, std::size_t last, int degree) {
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(degree + 1, degree + 1);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(degree + 1);
  double variance = 0;
  int n = 0;
  const auto powers = [&](std::size_t r) {
    Eigen::VectorXd p(degree + 1);
    for (int k = 0; k <= degree; ++k) p[k] = std::pow(static_cast<double>(r) / static_cast<double>(last), k);
    return p;
  };
  for (std::size_t r = 2; r < last && r < rows.size(); ++r) {
    if (!rows[r].known) continue;
    const Eigen::VectorXd p = powers(r);
    normal += p * p.transpose();
    right += p * rows[r].px;
    variance += rows[r].variance;
    ++n;
  }
  AtTop out;
  if (n < degree + 3) return out;
  const Eigen::LDLT<Eigen::MatrixXd> solver(normal);
  const Eigen::VectorXd x = solver.solve(right);
  double rest = 0;
  for (std::size_t r = 2; r < last && r < rows.size(); ++r)
    if (rows[r].known) rest += std::pow(rows[r].px - powers(r).dot(x), 2);
  const double each = std::max(variance / n, rest / (n - degree - 1));
  out = {x[0], each * solver.solve(Eigen::VectorXd::Unit(degree + 1, 0))[0], true};
  return out;
}

}  // namespace

std::optional<Bend> find_bend(const std::vector<RowPlace>& rows, int fields, std::optional<int> torn_at,
                              double straight_variance) {
  const std::size_t h = rows.size();
  const std::size_t top = h / 7;
  const auto step = static_cast<std::size_t>(fields);
  const std::size_t end = torn_at ? std::max<std::size_t>(static_cast<std::size_t>(*torn_at), top + 4) : h;
  const double straight = middle_place(rows, std::clamp(end / 2, top, h / 4), end);

  // Strongest where the picture begins: the curve through the first rows, carried to row 0. A parabola
  // follows a sharp bend better but carries more noise with it.
  const AtTop line = extrapolate(rows, 2 + 6 * step, 1);
  const AtTop curve = extrapolate(rows, 2 + 8 * step, 2);
  double px = 0, variance = 0;
  if (line.usable) px = line.px - straight, variance = line.variance;
  if (curve.usable && line.usable && std::abs(curve.px - line.px) > 2 * std::sqrt(curve.variance))
    px = curve.px - straight, variance = curve.variance;
  // Further down: means of three lines.
  std::size_t known = 0;
  for (std::size_t r = 2; r + 2 * step < top; ++r) {
    double s = 0, v = 0;
    bool all = true;
    for (std::size_t k = 0; k < 3; ++k) {
      const RowPlace& row = rows[r + k * step];
      all = all && row.known;
      s += row.px / 3;
      v += row.variance / 9;
    }
    if (!all) continue;
    ++known;
    if (std::abs(s - straight) > std::abs(px)) px = s - straight, variance = v;
  }
  if (known < 4) return std::nullopt;
  const double u = 2 * std::sqrt(variance + straight_variance);
  // The largest of many rows is biased away from nothing by noise; what noise alone gives is no bend.
  const double least = 2.2 * u + 0.1;
  if (std::abs(px) <= least) return Bend{0, least};
  return Bend{px, std::hypot(u, 0.1, 0.05 * px)};
}

}  // namespace linebench::measure
