#include "video_cable_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <linebench/dsp/fft.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

using Part = EchoLine::Part;
constexpr double pi = std::numbers::pi;
constexpr double soft_hz = 1.8e6;   // of the low-pass that keeps what is taken back from raising the noise
constexpr double margin_us = 0.25;  // by which it widens edges
constexpr double reference_hz = 5e6;
constexpr double db_per_neper = 8.685889638;

// Points with `margin` of their own kind on either side.
std::vector<bool> inside(const EchoLine& l, double step_us) {
  const auto n = static_cast<std::ptrdiff_t>(l.parts.size());
  const auto margin = static_cast<std::ptrdiff_t>(std::ceil(margin_us / step_us));
  std::vector<bool> out(l.parts.size(), false);
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    const Part p = l.parts[static_cast<std::size_t>(i)];
    bool all = p != Part::Unused;
    for (std::ptrdiff_t k = i - margin; all && k <= i + margin; ++k)
      all = l.parts[static_cast<std::size_t>((k + n) % n)] == p;
    out[static_cast<std::size_t>(i)] = all;
  }
  return out;
}

// What takes a cable's loss back at a frequency.
std::complex<double> equaliser(double hz, double loss_db) {
  const double nepers = loss_db / db_per_neper * std::sqrt(hz / reference_hz);
  return std::polar(std::exp(nepers - 0.5 * (hz / soft_hz) * (hz / soft_hz)), nepers);
}

class Flatness {
 public:
  Flatness(const std::vector<EchoLine>& lines, double step_us, const std::vector<Echo>& echoes)
      : lines_(lines), step_us_(step_us), n_(lines.front().y.size()), fft_(n_) {
    Eigen::Index rows = 0;
    for (const EchoLine& l : lines) {
      used_.push_back(inside(l, step_us));
      rows += std::count(used_.back().begin(), used_.back().end(), true);
      std::copy(l.y.begin(), l.y.end(), fft_.input().begin());
      fft_.forward();
      spectra_.emplace_back(fft_.output().begin(), fft_.output().end());
      for (std::size_t k = 0; k < spectra_.back().size(); ++k) {
        std::complex<double> h = 1.0;
        for (const Echo& e : echoes)
          h += e.ratio * std::polar(1.0, -2 * pi * static_cast<double>(k) / static_cast<double>(n_) *
                                             e.delay_us / step_us);
        if (std::abs(h) > 0.1) spectra_.back()[k] /= h;
      }
    }
    const auto kinds = static_cast<Eigen::Index>(lines.size());
    Eigen::MatrixXd a = Eigen::MatrixXd::Zero(rows, 1 + 2 * kinds);
    Eigen::Index row = 0;
    for (std::size_t line = 0; line < lines.size(); ++line) {
      for (std::size_t i = 0; i < n_; ++i) {
        if (!used_[line][i]) continue;
        const double w = 1 / lines[line].sigma_mv;
        const auto own = 1 + 2 * static_cast<Eigen::Index>(line);
        if (lines[line].parts[i] == Part::Tip) a(row, 0) = w;
        a(row, own) = w;  // the clamp's own error
        a(row, own + 1) = w * (static_cast<double>(i) / static_cast<double>(n_) - 0.5);
        ++row;
      }
    }
    if (rows > a.cols())
      q_ =
          Eigen::HouseholderQR<Eigen::MatrixXd>(a).householderQ() * Eigen::MatrixXd::Identity(rows, a.cols());
  }
  [[nodiscard]] Eigen::Index rows() const { return q_.rows(); }
  [[nodiscard]] bool usable() const { return q_.rows() > 0; }
  /// What does not stand still when so much loss is taken back.
  Eigen::VectorXd left(double loss_db) {
    Eigen::VectorXd r(q_.rows());
    Eigen::Index row = 0;
    for (std::size_t line = 0; line < lines_.size(); ++line) {
      for (std::size_t k = 0; k < spectra_[line].size(); ++k) {
        const double hz = static_cast<double>(k) / static_cast<double>(n_) / step_us_ * 1e6;
        fft_.output()[k] = spectra_[line][k] * equaliser(hz, loss_db) / static_cast<double>(n_);
      }
      fft_.inverse();
      for (std::size_t i = 0; i < n_; ++i) {
        if (used_[line][i]) r(row++) = fft_.input()[i] / lines_[line].sigma_mv;
      }
    }
    return r - q_ * (q_.transpose() * r);
  }

 private:
  const std::vector<EchoLine>& lines_;
  double step_us_;
  std::size_t n_;
  dsp::RealFft fft_;
  std::vector<std::vector<bool>> used_;
  std::vector<std::vector<std::complex<double>>> spectra_;
  Eigen::MatrixXd q_;
};

}  // namespace

double cable_loss_db(const std::vector<EchoLine>& lines, const std::vector<EchoLine>& others, double step_us,
                     const std::vector<Echo>& echoes) {
  constexpr double none = std::numeric_limits<double>::quiet_NaN();
  if (lines.empty() || lines.size() != others.size()) return none;
  Flatness f(lines, step_us, echoes);
  Flatness g(others, step_us, echoes);
  if (!f.usable() || !g.usable() || f.rows() != g.rows()) return none;
  double loss = 0;
  constexpr double most_db = 30;
  for (int round = 0; round < 8; ++round) {
    constexpr double h = 0.2;
    const Eigen::VectorXd r = f.left(loss);
    const Eigen::VectorXd s = g.left(loss);
    const Eigen::VectorXd d = (f.left(loss + h) - f.left(loss - h)) / (2 * h);
    const Eigen::VectorXd e = (g.left(loss + h) - g.left(loss - h)) / (2 * h);
    const double move = -0.5 * (e.dot(r) + d.dot(s)) / d.dot(e);
    if (!std::isfinite(move)) return none;
    loss = std::clamp(loss + std::clamp(move, -4.0, 4.0), -6.0, most_db);
    if (std::abs(move) < 1e-3) break;
  }
  return loss;
}

std::vector<EchoLine> without_loss(std::vector<EchoLine> lines, double step_us, double loss_db) {
  for (EchoLine& l : lines) {
    const std::size_t n = l.y.size();
    dsp::RealFft fft(n);
    std::copy(l.y.begin(), l.y.end(), fft.input().begin());
    fft.forward();
    for (std::size_t k = 0; k <= n / 2; ++k) {
      const double hz = static_cast<double>(k) / static_cast<double>(n) / step_us * 1e6;
      fft.output()[k] *= equaliser(hz, loss_db) / static_cast<double>(n);
    }
    fft.inverse();
    std::copy(fft.input().begin(), fft.input().end(), l.y.begin());
    const std::vector<bool> keep = inside(l, step_us);
    for (std::size_t i = 0; i < n; ++i) {
      if (!keep[i]) l.parts[i] = Part::Unused;
    }
  }
  return lines;
}

}  // namespace linebench::measure
