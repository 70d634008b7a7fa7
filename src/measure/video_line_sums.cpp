#include "video_line_sums.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/standards/video.hpp>
#include <numbers>
#include <optional>

#include "video_interpolate.hpp"

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double pi = std::numbers::pi;
constexpr std::size_t block = 4;  // lines dealt to one group at a time, and summed in float

LINEBENCH_VECTORISED void add_plain(float* to, const float* x, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) to[i] += x[i];
}
LINEBENCH_VECTORISED void add_turned(float* to_cos, float* to_sin, const float* x, float c, float s,
                                     std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    to_cos[i] += c * x[i];
    to_sin[i] += s * x[i];
  }
}

// Positions in the moments: 0 number of lines, then for V as is and V reversed: lines, cos, sin, cos^2,
// cos sin, sin^2.
std::size_t at(int v, std::size_t which) { return 1 + static_cast<std::size_t>(v) * 6 + which; }

// Weights on the five sums that give luminance free of chrominance with the least noise: every chrominance is
// A cos + B sin of the line's phase, apart for the two kinds of line. nullopt when phases are too few.
std::optional<std::array<double, 5>> luma_weights(const std::array<double, 13>& m) {
  Eigen::Matrix<double, 5, 5> g = Eigen::Matrix<double, 5, 5>::Zero();
  g(0, 0) = m[0];
  for (int v = 0; v < 2; ++v) {
    const int c = 1 + 2 * v;
    g(0, c) = g(c, 0) = m[at(v, 1)];
    g(0, c + 1) = g(c + 1, 0) = m[at(v, 2)];
    g(c, c) = m[at(v, 3)];
    g(c, c + 1) = g(c + 1, c) = m[at(v, 4)];
    g(c + 1, c + 1) = m[at(v, 5)];
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix<double, 5, 5>> eigen(g);
  const double least = 1e-6 * m[0];
  Eigen::Matrix<double, 5, 1> w = Eigen::Matrix<double, 5, 1>::Zero();
  for (int k = 0; k < 5; ++k) {
    if (eigen.eigenvalues()(k) > least)
      w += eigen.eigenvectors()(0, k) / eigen.eigenvalues()(k) * eigen.eigenvectors().col(k);
  }
  const Eigen::Matrix<double, 5, 1> got = g * w;
  const double miss = (got - Eigen::Matrix<double, 5, 1>::Unit(0)).norm();
  const double noise = w.dot(got) * m[0];  // variance re that of the plain mean
  if (miss > 1e-6 || noise > 3) return std::nullopt;
  std::array<double, 5> out{};
  for (int k = 0; k < 5; ++k) out[static_cast<std::size_t>(k)] = w(k);
  return out;
}

template <class T>
T tapered(const std::vector<T>& x, double from_us, double step_us, double from, double to) {
  const auto a = static_cast<std::ptrdiff_t>(std::ceil((from - from_us) / step_us));
  const auto b = static_cast<std::ptrdiff_t>(std::floor((to - from_us) / step_us));
  if (a < 0 || b >= static_cast<std::ptrdiff_t>(x.size()) || b < a) return T(std::nan(""));
  T sum{};
  double weight = 0;
  for (std::ptrdiff_t i = a; i <= b; ++i) {
    const double phase = (from_us + static_cast<double>(i) * step_us - from) / (to - from);
    const double w = 0.5 - 0.5 * std::cos(2 * pi * phase);
    sum += w * x[static_cast<std::size_t>(i)];
    weight += w;
  }
  return weight > 0 ? sum / weight : T(std::nan(""));
}

template <class T>
std::vector<T> smoothed(const std::vector<T>& x, double half_samples) {
  const auto h = static_cast<std::ptrdiff_t>(std::ceil(half_samples)) - 1;
  std::vector<double> kernel(static_cast<std::size_t>(2 * h + 1));
  double sum = 0;
  for (std::ptrdiff_t k = -h; k <= h; ++k) {
    const double c = std::cos(pi * static_cast<double>(k) / (2 * half_samples));
    sum += kernel[static_cast<std::size_t>(k + h)] = c * c;
  }
  std::vector<T> out(x.size());
  const auto n = static_cast<std::ptrdiff_t>(x.size());
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    T s{};
    for (std::ptrdiff_t k = -h; k <= h; ++k)
      s += kernel[static_cast<std::size_t>(k + h)] *
           x[static_cast<std::size_t>(std::clamp(i + k, std::ptrdiff_t{0}, n - 1))];
    out[static_cast<std::size_t>(i)] = s / sum;
  }
  return out;
}

// Lines laid over each other a little out of place are one line seen through a Gaussian filter; to first
// order that adds smear^2 / 2 of the second derivative, here by seven points.
void sharpen(std::vector<double>& y, double smear_samples) {
  const double c = 0.5 * smear_samples * smear_samples;
  std::vector<double> x = y;
  for (std::size_t i = 3; i + 3 < y.size(); ++i) {
    const double curve =
        (2 * (x[i - 3] + x[i + 3]) - 27 * (x[i - 2] + x[i + 2]) + 270 * (x[i - 1] + x[i + 1]) - 490 * x[i]) /
        180;
    y[i] = x[i] - c * curve;
  }
}

}  // namespace

double AveragedLine::response(double hz) const {
  Complex sum{};
  double n = 0;
  for (std::size_t k = 0; k < fractions.size(); ++k) {
    if (fractions[k] == 0) continue;
    sum += fractions[k] * interpolation_response(hz * 1e-6 * step_us, (static_cast<double>(k) + 0.5) / 16.0);
    n += fractions[k];
  }
  return n > 0 ? std::abs(sum) / n : 1.0;
}

double AveragedLine::smeared(double hz) const {
  const double angle = 2 * pi * hz * 1e-6 * smear_us;
  return 1 - std::exp(-0.5 * angle * angle);
}

double AveragedLine::level(double from, double to) const { return tapered(luma, from_us, step_us, from, to); }

Complex AveragedLine::chroma(int v, double from, double to) const {
  const auto& raw = chroma_raw[static_cast<std::size_t>(v)];
  return raw.empty() ? Complex{} : tapered(raw, from_us, step_us, from, to);
}

Complex AveragedLine::chroma_undone(double from, double to) const {
  const double n = chroma_lines[0] + chroma_lines[1];
  if (!(n > 0)) return {};
  return (chroma_lines[0] * chroma(0, from, to) + chroma_lines[1] * std::conj(chroma(1, from, to))) / n;
}

double AveragedLine::chroma_mv(double from, double to) const {
  const double n = chroma_lines[0] + chroma_lines[1];
  if (!(n > 0)) return 0;
  const double sum =
      chroma_lines[0] * std::abs(chroma(0, from, to)) + chroma_lines[1] * std::abs(chroma(1, from, to));
  return sum / n / response(1e6 / subcarrier_us);
}

std::vector<double> AveragedLine::smooth_luma() const {
  return smoothed(luma, (subcarrier_us > 0 ? 2 * subcarrier_us : 0.5) / step_us);
}

std::vector<Complex> AveragedLine::smooth_chroma(int v) const {
  const auto& raw = chroma_raw[static_cast<std::size_t>(v)];
  return raw.empty() ? raw : smoothed(raw, 2 * subcarrier_us / step_us);
}

Trace AveragedLine::trace() const { return {from_us, step_us, std::vector<float>(luma.begin(), luma.end())}; }

LineSums::LineSums(const VideoSetup& setup)
    : colour_(setup.colour), subcarrier_us_(setup.subcarrier_us()), step_us_(1e6 / setup.rate_hz) {
  const double us = setup.line_period_samples * step_us_ + beyond_us - from_us;
  points_ = static_cast<std::size_t>(std::ceil(us / step_us_ / 16)) * 16;
  for (std::size_t a = 0; a < (colour_ ? arrays : 1); ++a) fresh_[a].assign(points_, 0.0F);
}

// The first lines go to a group each, so that few lines still say how much they differ; then four at a time,
// over which the phase of the subcarrier comes round.
std::size_t LineSums::next_group() const {
  const auto n = static_cast<std::size_t>(total_);
  return n < line_groups ? n : (n / block) % line_groups;
}

void LineSums::add(std::span<const float> x, const LineView& v) {
  const std::size_t g = next_group();
  if (fresh_lines_ > 0 && (g != fresh_group_ || fresh_lines_ >= block)) put_away();
  fresh_group_ = g;
  add_plain(fresh_[0].data(), x.data(), points_);
  Group& group = groups_[g];
  const int kind = v.v_switch < 0 ? 1 : 0;
  group.moment[0] += 1;
  const double begin = v.position(from_us);
  group.fractions[static_cast<std::size_t>((begin - std::floor(begin)) * 16) % 16] += 1;
  group.lines[static_cast<std::size_t>(kind)] += 1;
  if (colour_) {
    const double c = std::cos(v.subcarrier_phase);
    const double s = std::sin(v.subcarrier_phase);
    const auto first = static_cast<std::size_t>(1 + 2 * kind);
    add_turned(fresh_[first].data(), fresh_[first + 1].data(), x.data(), static_cast<float>(c),
               static_cast<float>(s), points_);
    fresh_v_[static_cast<std::size_t>(kind)] = true;
    group.moment[at(kind, 0)] += 1;
    group.moment[at(kind, 1)] += c;
    group.moment[at(kind, 2)] += s;
    group.moment[at(kind, 3)] += c * c;
    group.moment[at(kind, 4)] += c * s;
    group.moment[at(kind, 5)] += s * s;
  }
  ++fresh_lines_;
  total_ += 1;
}

void LineSums::flush(double smear_us) {
  put_away();
  smear_us_ = smear_us;
}

void LineSums::put_away() {
  if (fresh_lines_ == 0) return;
  Group& g = groups_[fresh_group_];
  for (std::size_t a = 0; a < (colour_ ? arrays : 1); ++a) {
    if (a > 0 && !fresh_v_[(a - 1) / 2]) continue;
    if (g.sum[a].empty()) g.sum[a].assign(points_, 0.0);
    for (std::size_t i = 0; i < points_; ++i) g.sum[a][i] += static_cast<double>(fresh_[a][i]);
    std::fill(fresh_[a].begin(), fresh_[a].end(), 0.0F);
  }
  fresh_v_ = {false, false};
  fresh_lines_ = 0;
}

AveragedLine LineSums::average(std::size_t without) const {
  AveragedLine out;
  out.from_us = from_us;
  out.step_us = step_us_;
  out.subcarrier_us = colour_ ? subcarrier_us_ : 0.0;
  std::array<double, moments> m{};
  std::array<std::vector<double>, arrays> sum;
  for (std::size_t a = 0; a < (colour_ ? arrays : 1); ++a) sum[a].assign(points_, 0.0);
  for (std::size_t g = 0; g < line_groups; ++g) {
    if (g == without) continue;
    for (std::size_t k = 0; k < moments; ++k) m[k] += groups_[g].moment[k];
    for (std::size_t k = 0; k < out.fractions.size(); ++k) out.fractions[k] += groups_[g].fractions[k];
    for (std::size_t a = 0; a < arrays; ++a) {
      if (groups_[g].sum[a].empty()) continue;
      for (std::size_t i = 0; i < points_; ++i) sum[a][i] += groups_[g].sum[a][i];
    }
  }
  out.lines = m[0];
  if (!(m[0] > 0)) return out;
  const auto weights = colour_ ? luma_weights(m) : std::nullopt;
  out.separated = weights.has_value();
  out.luma.resize(points_);
  for (std::size_t i = 0; i < points_; ++i) {
    if (weights) {
      double y = 0;
      for (std::size_t a = 0; a < arrays; ++a) y += (*weights)[a] * sum[a][i];
      out.luma[i] = y;
    } else {
      out.luma[i] = sum[0][i] / m[0];
    }
  }
  const std::vector<double> as_added = out.luma;
  out.smear_us = smear_us_;
  if (smear_us_ > 0) sharpen(out.luma, smear_us_ / step_us_);
  if (!colour_) return out;
  // Chrominance is Im(B e^(j psi)), psi = phase at 0H + w t, so 2j mean(x e^(-j phase)) e^(-j w t) = B less
  // its image.
  for (int v = 0; v < 2; ++v) {
    const double n = m[at(v, 0)];
    out.chroma_lines[static_cast<std::size_t>(v)] = n;
    if (!(n > 0)) continue;
    auto& b = out.chroma_raw[static_cast<std::size_t>(v)];
    b.resize(points_);
    const Complex mean_turn(m[at(v, 1)] / n, -m[at(v, 2)] / n);
    const auto c = static_cast<std::size_t>(1 + 2 * v);
    for (std::size_t i = 0; i < points_; ++i) {
      const double t = from_us + step_us_ * static_cast<double>(i);
      const double turns = t / subcarrier_us_;
      Complex w(sum[c][i] / n, -sum[c + 1][i] / n);
      if (out.separated) w -= as_added[i] * mean_turn;
      b[i] = Complex(0, 2) * w * std::polar(1.0, -2 * pi * (turns - std::floor(turns)));
    }
  }
  return out;
}

}  // namespace linebench::measure
