#include "video_echo_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/fft.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

using Part = EchoLine::Part;
using Spectrum = std::vector<std::complex<double>>;
constexpr double pi = std::numbers::pi;
constexpr double tail_from_us = 0.1;  // where the t^-1/2 tail is rounded off
constexpr double tail_us[] = {0.25};
constexpr int rounds = 16;
constexpr double least_own = 0.0004;  // of an echo's power that no other term explains
constexpr double most_ratio = 0.8;

// The transforms of one line length.
class Round {
 public:
  explicit Round(std::size_t n) : n_(n), fft_(n) {}
  Spectrum forward(const std::vector<double>& x) {
    std::copy(x.begin(), x.end(), fft_.input().begin());
    fft_.forward();
    return {fft_.output().begin(), fft_.output().end()};
  }
  std::vector<double> back(const Spectrum& x) {
    std::copy(x.begin(), x.end(), fft_.output().begin());
    fft_.inverse();
    std::vector<double> y(fft_.input().begin(), fft_.input().end());
    for (double& v : y) v /= static_cast<double>(n_);
    return y;
  }
  /// Radians per point of bin k.
  [[nodiscard]] double w(std::size_t k) const {
    return 2 * pi * static_cast<double>(k) / static_cast<double>(n_);
  }

 private:
  std::size_t n_;
  dsp::RealFft fft_;
};

}  // namespace

// Rows: the points where the signal stands still; columns: what may be there.
struct EchoFit::System {
  Eigen::MatrixXd a;  // levels, offsets and slopes of lines, tails, then for each echo ratio and delay
  Eigen::VectorXd b;
  std::vector<std::vector<double>> sent;  // s of each line
  Eigen::Index fixed = 0;                 // columns before the echoes
  /// The solution of both halves, each with terms from the other.
  [[nodiscard]] Eigen::VectorXd with(const System& t) const;
};

EchoFit::EchoFit(std::vector<EchoLine> lines, double step_us, std::vector<EchoLine> others)
    : lines_(std::move(lines)), others_(std::move(others)), step_us_(step_us) {}

EchoFit::System EchoFit::build(const std::vector<EchoLine>& lines, const std::vector<Echo>& echoes) const {
  const std::size_t n = lines.front().y.size();
  Round fft(n);
  Eigen::Index rows = 0;
  for (const EchoLine& l : lines)
    rows += std::count_if(l.parts.begin(), l.parts.end(), [](Part p) { return p != Part::Unused; });
  const auto kinds = static_cast<Eigen::Index>(lines.size());
  constexpr Eigen::Index tails = 1 + std::size(tail_us);
  const bool beside = std::any_of(lines.begin(), lines.end(), [](const EchoLine& l) {
    return std::find(l.parts.begin(), l.parts.end(), Part::Beside) != l.parts.end();
  });
  const Eigen::Index levels = beside ? 2 : 1;
  System s;
  s.fixed = levels + 2 * kinds + tails;
  s.a = Eigen::MatrixXd::Zero(rows, s.fixed + 2 * static_cast<Eigen::Index>(echoes.size()));
  s.b = Eigen::VectorXd::Zero(rows);
  // Tails as kernels over one round.
  std::vector<Spectrum> kernels;
  for (Eigen::Index k = 0; k < tails; ++k) {
    std::vector<double> g(n);
    for (std::size_t i = 0; i < n; ++i) {
      const double t = static_cast<double>(i) * step_us_;
      g[i] = k == 0 ? 1 / std::sqrt(std::max(t, tail_from_us)) : std::exp(-t / tail_us[k - 1]);
    }
    kernels.push_back(fft.forward(g));
  }
  Eigen::Index row0 = 0;
  for (std::size_t line = 0; line < lines.size(); ++line) {
    const EchoLine& l = lines[line];
    Spectrum sent = fft.forward(l.y);
    for (std::size_t k = 0; k < sent.size(); ++k) {
      std::complex<double> h = 1.0;
      for (const Echo& e : echoes) h += e.ratio * std::polar(1.0, -fft.w(k) * e.delay_us / step_us_);
      if (std::abs(h) > 0.1) sent[k] /= h;
    }
    Spectrum slope = sent;  // per point
    for (std::size_t k = 0; k < slope.size(); ++k)
      slope[k] *= 2 * k == n ? std::complex<double>(0.0) : std::complex<double>(0, fft.w(k));
    std::vector<std::vector<double>> columns;
    for (const Spectrum& kernel : kernels) {
      Spectrum x = slope;
      for (std::size_t k = 0; k < x.size(); ++k) x[k] *= kernel[k];
      columns.push_back(fft.back(x));
    }
    for (const Echo& e : echoes) {
      Spectrum x = sent;
      Spectrum d = slope;
      for (std::size_t k = 0; k < x.size(); ++k) {
        const auto turn = std::polar(1.0, -fft.w(k) * e.delay_us / step_us_);
        x[k] *= 2 * k == n ? std::complex<double>(turn.real()) : turn;
        d[k] *= -e.ratio * turn;
      }
      columns.push_back(fft.back(x));
      columns.push_back(fft.back(d));
    }
    s.sent.push_back(fft.back(sent));
    const double weight = 1 / l.sigma_mv;
    Eigen::Index row = row0;
    for (std::size_t i = 0; i < n; ++i) {
      if (l.parts[i] == Part::Unused) continue;
      s.b(row) = weight * l.y[i];
      const auto own = levels + 2 * static_cast<Eigen::Index>(line);
      if (l.parts[i] == Part::Tip) s.a(row, 0) = weight;
      if (l.parts[i] == Part::Beside) s.a(row, 1) = weight;
      s.a(row, own) = weight;  // the clamp's own error
      s.a(row, own + 1) = weight * (static_cast<double>(i) / static_cast<double>(n) - 0.5);
      for (std::size_t c = 0; c < columns.size(); ++c)
        s.a(row, levels + 2 * kinds + static_cast<Eigen::Index>(c)) = weight * columns[c][i];
      ++row;
    }
    row0 = row;
  }
  return s;
}

Eigen::VectorXd EchoFit::System::with(const System& t) const {
  const System& s = *this;
  const Eigen::MatrixXd st = t.a.transpose() * s.a;
  const Eigen::VectorXd x = st.colPivHouseholderQr().solve(t.a.transpose() * s.b);
  const Eigen::VectorXd y = st.transpose().colPivHouseholderQr().solve(s.a.transpose() * t.b);
  return 0.5 * (x + y);
}

std::vector<Echo> EchoFit::settle(std::vector<Echo> echoes) const {
  for (int round = 0; round < rounds && !echoes.empty(); ++round) {
    const System s = build(lines_, echoes);
    const Eigen::VectorXd x = others_.empty() ? Eigen::VectorXd(s.a.colPivHouseholderQr().solve(s.b))
                                              : s.with(build(others_, echoes));
    double moved = 0;
    for (std::size_t e = 0; e < echoes.size(); ++e) {
      const Eigen::Index c = s.fixed + 2 * static_cast<Eigen::Index>(e);
      echoes[e].ratio = std::clamp(x(c), -0.9, 0.9);
      const double move = std::clamp(x(c + 1), -1.0, 1.0) * step_us_;
      echoes[e].delay_us += move;
      moved = std::max(moved, std::abs(move));
    }
    if (moved < 1e-4 && round > 1) break;
  }
  return echoes;
}

double EchoFit::misfit(const std::vector<Echo>& echoes) const {
  const System s = build(lines_, echoes);
  // Without the delays' columns: what is left at these delays, not near them.
  Eigen::MatrixXd a = s.a.leftCols(s.fixed + static_cast<Eigen::Index>(echoes.size()));
  for (std::size_t e = 0; e < echoes.size(); ++e)
    a.col(s.fixed + static_cast<Eigen::Index>(e)) = s.a.col(s.fixed + 2 * static_cast<Eigen::Index>(e));
  return (s.b - a * a.colPivHouseholderQr().solve(s.b)).squaredNorm();
}

EchoFit::Scan EchoFit::scan(const std::vector<Echo>& echoes, const EchoSearch& search) const {
  const std::size_t n = lines_.front().y.size();
  const auto first = static_cast<std::size_t>(std::ceil(search.from_us / step_us_));
  const auto last = std::min(n / 2, static_cast<std::size_t>(search.to_us / step_us_));
  const std::size_t stride = std::max<std::size_t>(1, static_cast<std::size_t>(0.03 / step_us_));
  const System s = build(lines_, echoes);
  const Eigen::HouseholderQR<Eigen::MatrixXd> qr(s.a);
  const Eigen::MatrixXd q = qr.householderQ() * Eigen::MatrixXd::Identity(s.a.rows(), s.a.cols());
  const Eigen::VectorXd r = s.b - q * (q.transpose() * s.b);
  Scan out;
  Eigen::VectorXd v(s.a.rows());
  for (std::size_t shift = first; shift <= last; shift += stride) {
    Eigen::Index row = 0;
    for (std::size_t line = 0; line < lines_.size(); ++line) {
      const EchoLine& l = lines_[line];
      for (std::size_t i = 0; i < n; ++i) {
        if (l.parts[i] != Part::Unused) v(row++) = s.sent[line][(i + n - shift) % n] / l.sigma_mv;
      }
    }
    const double whole = v.squaredNorm();
    const double own = whole - (q.transpose() * v).squaredNorm();
    if (own < least_own * whole) continue;  // cannot be told from a tail or a change of level
    const double along = v.dot(r);
    const double ratio = along / own;
    if (std::abs(ratio) > most_ratio) continue;
    const double delay_us = static_cast<double>(shift) * step_us_;
    if (delay_us >= search.sure_from_us)
      out.bound = std::max(out.bound, std::abs(ratio) + 2 / std::sqrt(own));
    out.places.push_back({{delay_us, ratio}, along * along / own});
  }
  std::sort(out.places.begin(), out.places.end(),
            [](const Candidate& a, const Candidate& b) { return a.gain > b.gain; });
  out.left = r.squaredNorm();
  out.points = static_cast<double>(r.size());
  return out;
}

}  // namespace linebench::measure
