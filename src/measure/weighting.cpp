#include <Eigen/Dense>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/weighting.hpp>
#include <linebench/standards/weighting.hpp>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;

// Detector constants in seconds, fitted to the burst tables of [BS.468-4] (Tables 2 and 3, mid values): a
// fast peak detector, a slow one charged by it, and the indicator's share of each.
constexpr double fast_charge_s = 1.396e-3;
constexpr double fast_leak_s = 0.1785;
constexpr double slow_charge_s = 0.4744;
constexpr double slow_leak_s = 0.3309;
constexpr double fast_share = 0.2771;

// Roots of a polynomial given by ascending powers: eigenvalues of its companion matrix.
std::vector<Complex> roots(const std::vector<double>& ascending) {
  const auto n = static_cast<Eigen::Index>(ascending.size()) - 1;
  Eigen::MatrixXd companion = Eigen::MatrixXd::Zero(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    companion(0, i) = -ascending[static_cast<std::size_t>(n - 1 - i)] / ascending.back();
    if (i + 1 < n) companion(i + 1, i) = 1.0;
  }
  const Eigen::EigenSolver<Eigen::MatrixXd> solver(companion, false);
  std::vector<Complex> out;
  for (Eigen::Index i = 0; i < n; ++i) out.push_back(solver.eigenvalues()[i]);
  return out;
}

// Quadratic factors 1 + c1 z^-1 + c2 z^-2 of a set of roots that is real as a whole: pairs, then what is
// real.
std::vector<std::pair<double, double>> quadratics(std::vector<Complex> all) {
  std::vector<std::pair<double, double>> out;
  std::vector<double> real;
  for (const Complex& r : all) {
    const double small = 1e-9 * std::abs(r);
    if (std::abs(r.imag()) <= small) real.push_back(r.real());
    if (r.imag() > small) out.emplace_back(-2.0 * r.real(), std::norm(r));
  }
  std::sort(real.begin(), real.end());
  for (std::size_t i = 0; i < real.size(); i += 2) {
    const double second = i + 1 < real.size() ? real[i + 1] : 0.0;
    out.emplace_back(-real[i] - second, real[i] * second);
  }
  return out;
}

// Zeros inside the unit circle of the filter whose squared magnitude is c0 + c1 cos w + c2 cos 2w + c3 cos
// 3w.
std::vector<Complex> minimum_phase_zeros(const Eigen::VectorXd& c) {
  const Eigen::Index m = c.size() - 1;
  std::vector<double> palindrome(static_cast<std::size_t>(2 * m + 1));
  for (Eigen::Index k = -m; k <= m; ++k) {
    palindrome[static_cast<std::size_t>(k + m)] = k == 0 ? c[0] : 0.5 * c[std::abs(k)];
  }
  std::vector<Complex> inside;
  for (const Complex& r : roots(palindrome)) {
    if (std::abs(r) < 1.0) inside.push_back(r);
  }
  return inside;
}

}  // namespace

dsp::Cascade bs468_filter(double rate_hz) {
  if (!(rate_hz >= 8000.0)) throw std::invalid_argument("bs468_filter: rate of at least 8 kHz");
  const standards::Bs468Network network = standards::bs468_network();
  // Poles where the network has them; a zero at dc; three more zeros so that the magnitude follows the
  // network, by least squares on the squared magnitude. (A bilinear transform would be 5 dB off at 16 kHz.)
  std::vector<Complex> poles;
  for (const Complex& p : roots({network.denominator.begin(), network.denominator.end()})) {
    poles.push_back(std::exp(two_pi * p / rate_hz));
  }
  constexpr int points = 300;
  constexpr int order = 3;
  const double top = std::min(0.49 * rate_hz, 20000.0);
  Eigen::MatrixXd a(points, order + 1);
  for (int i = 0; i < points; ++i) {
    const double hz = 31.5 * std::pow(top / 31.5, i / (points - 1.0));
    const double w = two_pi * hz / rate_hz;
    const Complex z1 = std::polar(1.0, -w);
    double wanted = power_from_db(standards::bs468_weighting_db(hz)) / std::norm(1.0 - z1);
    for (const Complex& p : poles) wanted *= std::norm(1.0 - p * z1);
    for (int m = 0; m <= order; ++m) a(i, m) = std::cos(m * w) / wanted;
  }
  const Eigen::VectorXd c = a.colPivHouseholderQr().solve(Eigen::VectorXd::Ones(points));
  std::vector<Complex> zeros = minimum_phase_zeros(c);
  zeros.emplace_back(1.0, 0.0);

  const auto below = quadratics(poles);
  const auto above = quadratics(zeros);
  std::vector<dsp::Section> sections;
  for (std::size_t i = 0; i < below.size(); ++i) {
    dsp::Section s;
    if (i < above.size()) {
      s.b1 = above[i].first;
      s.b2 = above[i].second;
    }
    s.a1 = below[i].first;
    s.a2 = below[i].second;
    sections.push_back(s);
  }
  const double gain = 1.0 / dsp::Cascade(sections).magnitude(1000.0, rate_hz);
  sections[0].b0 *= gain;
  sections[0].b1 *= gain;
  sections[0].b2 *= gain;
  return dsp::Cascade(std::move(sections));
}

QuasiPeakMeter::QuasiPeakMeter(double rate_hz)
    : fast_charge_(-std::expm1(-1.0 / (fast_charge_s * rate_hz))),
      fast_leak_(-std::expm1(-1.0 / (fast_leak_s * rate_hz))),
      slow_charge_(-std::expm1(-1.0 / (slow_charge_s * rate_hz))),
      slow_leak_(-std::expm1(-1.0 / (slow_leak_s * rate_hz))),
      settle_samples_(static_cast<std::size_t>(0.5 * rate_hz)) {
  const dsp::Cascade filter = bs468_filter(rate_hz);
  std::copy_n(filter.sections().begin(), sections_.size(), sections_.begin());
  // What the detector says to a steady sine, so that it reads that sine's rms: started near the end it
  // settles soon.
  double fast = 0.95;
  double slow = 0.5;
  double highest = 0;
  const auto length = static_cast<std::size_t>(1.5 * rate_hz);
  const auto last = static_cast<std::size_t>(1.49 * rate_hz);
  const double turn = two_pi * 1000.0 / rate_hz;
  for (std::size_t i = 0; i < length; ++i) {
    const double v = std::abs(std::sin(turn * static_cast<double>(i)));
    fast += std::max(v - fast, 0.0) * fast_charge_ - fast * fast_leak_;
    slow += std::max(fast - slow, 0.0) * slow_charge_ - slow * slow_leak_;
    if (i >= last) highest = std::max(highest, fast_share * fast + (1.0 - fast_share) * slow);
  }
  calibration_ = 1.0 / (std::numbers::sqrt2 * highest);
}

void QuasiPeakMeter::push(std::span<const float> samples) {
  // All state in local variables: this loop is the costliest per sample of the whole audio measurement.
  const auto [s1, s2, s3] = sections_;
  auto [z11, z12, z21, z22, z31, z32] = state_;
  double fast = fast_;
  double slow = slow_;
  double highest = 0;
  const double keep_fast = 1.0 - fast_leak_;
  const double keep_slow = 1.0 - slow_leak_;
  const bool was_settled = settled();
  for (const float x : samples) {
    const double in = static_cast<double>(x);
    const double y1 = s1.b0 * in + z11;
    z11 = s1.b1 * in - s1.a1 * y1 + z12;
    z12 = s1.b2 * in - s1.a2 * y1;
    const double y2 = s2.b0 * y1 + z21;
    z21 = s2.b1 * y1 - s2.a1 * y2 + z22;
    z22 = s2.b2 * y1 - s2.a2 * y2;
    const double y3 = s3.b0 * y2 + z31;
    z31 = s3.b1 * y2 - s3.a1 * y3 + z32;
    z32 = s3.b2 * y2 - s3.a2 * y3;
    const double up = std::abs(y3) - fast;
    fast = fast * keep_fast + (up > 0 ? up : 0.0) * fast_charge_;
    const double slow_up = fast - slow;
    slow = slow * keep_slow + (slow_up > 0 ? slow_up : 0.0) * slow_charge_;
    const double shown = fast_share * fast + (1.0 - fast_share) * slow;
    highest = shown > highest ? shown : highest;
  }
  state_ = {z11, z12, z21, z22, z31, z32};
  fast_ = fast;
  slow_ = slow;
  samples_ += samples.size();
  any_ = std::max(any_, highest);
  if (was_settled) highest_ = std::max(highest_, highest);
}

}  // namespace linebench::measure
