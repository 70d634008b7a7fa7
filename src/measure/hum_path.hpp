// The phase of the mains over one stretch: a start frequency and a polynomial for what it wanders.
#pragma once

#include <Eigen/Dense>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::measure {

class PhasePath {
 public:
  /// Highest degree of the polynomial (in Legendre's form, so that the terms hardly depend on each other).
  static constexpr int most_terms = 12;

  PhasePath(std::size_t frames, double hop_s, double start_hz);
  /// The path nearest to a frequency given for every frame (weighted least squares), with so many terms.
  PhasePath(std::span<const double> hz, std::span<const double> weight, double hop_s, int terms);

  [[nodiscard]] std::size_t frames() const { return frames_; }
  /// Term j = 1.. at frame m; turns of the fundamental for each unit of its coefficient.
  [[nodiscard]] double term(int j, std::size_t m) const {
    return terms_[static_cast<std::size_t>(j - 1) * frames_ + m];
  }
  [[nodiscard]] double hz(std::size_t m) const;
  /// Mean frequency between two frame indices (fractions allowed).
  [[nodiscard]] double mean_hz(double from, double to) const;
  /// What each coefficient adds to that mean.
  [[nodiscard]] Eigen::VectorXd mean_hz_by_term(double from, double to, int terms) const;
  [[nodiscard]] double lowest_hz() const;
  [[nodiscard]] double highest_hz() const;
  [[nodiscard]] bool flat() const { return highest_hz() - lowest_hz() < 1e-3; }
  [[nodiscard]] int terms() const;

  void add(const Eigen::VectorXd& step);
  /// Keeps the quadratic term from running away: at most so many Hz/s.
  void limit_drift(double hz_per_s);
  /// exp(-i 2 pi turns) of the fundamental, frame by frame.
  [[nodiscard]] std::vector<std::complex<double>> phasors() const;

 private:
  [[nodiscard]] double tau(double m) const;
  [[nodiscard]] double span_s() const { return static_cast<double>(frames_) * hop_s_; }
  void tabulate();

  std::size_t frames_;
  double hop_s_;
  double start_hz_;
  Eigen::VectorXd theta_;
  std::vector<double> terms_;
};

}  // namespace linebench::measure
