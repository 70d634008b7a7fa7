// The phase of the mains over one stretch: a start frequency and a polynomial for what it wanders.
#pragma once

#include <Eigen/Dense>
#include <complex>
#include <cstddef>
#include <memory>
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
    return table_->terms[static_cast<std::size_t>(j - 1) * frames_ + m];
  }
  [[nodiscard]] double hz(std::size_t m) const;
  /// Mean frequency between two frame indices (fractions allowed).
  [[nodiscard]] double mean_hz(double from, double to) const;
  /// What each coefficient adds to that mean.
  [[nodiscard]] Eigen::VectorXd mean_hz_by_term(double from, double to, int terms) const;
  /// All frames of term j.
  [[nodiscard]] const double* frames_of(int j) const {
    return table_->terms.data() + static_cast<std::size_t>(j - 1) * frames_;
  }
  [[nodiscard]] double lowest_hz() const { return lowest_hz_; }
  [[nodiscard]] double highest_hz() const { return highest_hz_; }
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
  void find_extremes();

  std::size_t frames_;
  double hop_s_;
  double start_hz_;
  Eigen::VectorXd theta_;
  double lowest_hz_, highest_hz_;
  struct Table {
    std::vector<double> terms;   // by term, then frame
    std::vector<double> slopes;  // by frame, then term: Hz for each unit of its coefficient
  };
  std::shared_ptr<const Table> table_;  // of one length: copies of a path share it
};

}  // namespace linebench::measure
