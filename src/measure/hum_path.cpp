#include "hum_path.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

using Polynomials = std::array<double, PhasePath::most_terms + 1>;

// P_0 .. P_n at x, and their derivatives [Abramowitz and Stegun 8.5.3, 8.5.4].
void legendre(double x, Polynomials& p, Polynomials& slope) {
  p[0] = 1.0;
  p[1] = x;
  slope[0] = 0.0;
  slope[1] = 1.0;
  for (std::size_t j = 2; j < p.size(); ++j) {
    const auto n = static_cast<double>(j);
    p[j] = ((2.0 * n - 1.0) * x * p[j - 1] - (n - 1.0) * p[j - 2]) / n;
    slope[j] = slope[j - 2] + (2.0 * n - 1.0) * p[j - 1];
  }
}

}  // namespace

PhasePath::PhasePath(std::size_t frames, double hop_s, double start_hz)
    : frames_(frames),
      hop_s_(hop_s),
      start_hz_(start_hz),
      theta_(Eigen::VectorXd::Zero(most_terms)),
      lowest_hz_(start_hz),
      highest_hz_(start_hz) {
  tabulate();
}

PhasePath::PhasePath(std::span<const double> hz, std::span<const double> weight, double hop_s, int terms)
    : PhasePath(hz.size(), hop_s, hz[hz.size() / 2]) {
  Eigen::MatrixXd normal = 1e-9 * Eigen::MatrixXd::Identity(terms, terms);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(terms);
  Eigen::VectorXd row(terms);
  Polynomials p{};
  Polynomials slope{};
  for (std::size_t m = 0; m < frames_; ++m) {
    legendre(tau(static_cast<double>(m)), p, slope);
    for (int j = 0; j < terms; ++j) row[j] = slope[static_cast<std::size_t>(j + 1)] * 2.0 / span_s();
    normal += weight[m] * row * row.transpose();
    right += weight[m] * (hz[m] - start_hz_) * row;
  }
  theta_.head(terms) = normal.ldlt().solve(right);
  find_extremes();
}

void PhasePath::tabulate() {
  auto table = std::make_shared<Table>();
  table->terms.resize(most_terms * frames_);
  table->slopes.resize(most_terms * frames_);
  Polynomials p{};
  Polynomials slope{};
  for (std::size_t m = 0; m < frames_; ++m) {
    legendre(tau(static_cast<double>(m)), p, slope);
    for (std::size_t j = 0; j < most_terms; ++j) {
      table->terms[j * frames_ + m] = p[j + 1];
      table->slopes[m * most_terms + j] = slope[j + 1] * 2.0 / span_s();
    }
  }
  table_ = std::move(table);
}

double PhasePath::tau(double m) const {
  return (m - 0.5 * static_cast<double>(frames_ - 1)) * 2.0 / static_cast<double>(frames_);
}

double PhasePath::hz(std::size_t m) const {
  const double* slope = table_->slopes.data() + m * most_terms;
  double f = start_hz_;
  for (int j = 0; j < most_terms; ++j) f += theta_[j] * slope[j];
  return f;
}

double PhasePath::mean_hz(double from, double to) const {
  return start_hz_ + mean_hz_by_term(from, to, most_terms).dot(theta_);
}

Eigen::VectorXd PhasePath::mean_hz_by_term(double from, double to, int terms) const {
  Polynomials a{};
  Polynomials b{};
  Polynomials slope{};
  legendre(tau(from), a, slope);
  legendre(tau(to), b, slope);
  Eigen::VectorXd c(terms);
  for (int j = 0; j < terms; ++j) {
    const auto i = static_cast<std::size_t>(j + 1);
    c[j] = (b[i] - a[i]) / ((to - from) * hop_s_);
  }
  return c;
}

void PhasePath::find_extremes() {
  lowest_hz_ = highest_hz_ = hz(0);
  const auto see = [this](double f) {
    lowest_hz_ = std::min(lowest_hz_, f);
    highest_hz_ = std::max(highest_hz_, f);
  };
  if (terms() == 1) return;
  for (std::size_t m = 1; m < frames_; m += 4) see(hz(m));
  see(hz(frames_ - 1));
}

int PhasePath::terms() const {
  int n = most_terms;
  while (n > 1 && theta_[n - 1] == 0.0) --n;
  return n;
}

void PhasePath::add(const Eigen::VectorXd& step) {
  theta_.head(step.size()) += step;
  find_extremes();
}

void PhasePath::limit_drift(double hz_per_s) {
  // d t^2 / 2 over the half span is a third of d (T/2)^2 times P_2, and a constant.
  const double most = hz_per_s * span_s() * span_s() / 12.0;
  theta_[1] = std::clamp(theta_[1], -most, most);
  find_extremes();
}

std::vector<std::complex<double>> PhasePath::phasors() const {
  std::vector<std::complex<double>> out(frames_);
  const double middle = 0.5 * static_cast<double>(frames_ - 1);
  const int n = terms();
  for (std::size_t m = 0; m < frames_; ++m) {
    double turns = start_hz_ * (static_cast<double>(m) - middle) * hop_s_;
    for (int j = 1; j <= n; ++j) turns += theta_[j - 1] * term(j, m);
    out[m] = std::polar(1.0, -2.0 * std::numbers::pi * (turns - std::round(turns)));
  }
  return out;
}

}  // namespace linebench::measure
