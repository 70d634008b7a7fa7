#include "hum_track.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::size_t groups_wanted = 8;

// Weights taken from the noise itself are never quite the best ones, and few frames say little about their
// own noise: by how much variances exceed those of known weights (three frames of three bins make about nine
// degrees of freedom; set and checked by the coverage tests).
double weight_penalty(double independent_samples) {
  return 1.22 * (1.0 + 3.0 / std::max(independent_samples, 1.0));
}

// Sum of what lies `by` frames apart within [from, to), multiplied.
double lagged(const std::vector<double>& v, std::size_t from, std::size_t to, std::size_t by) {
  double sum = 0.0;
  for (std::size_t m = from; m + by < to; ++m) sum += v[m] * v[m + by];
  return sum;
}

}  // namespace

HumTrack::HumTrack(const HumChunk& chunk, std::size_t k, const PhasePath& path,
                   std::span<const double> foreign)
    : k_(k), n_(chunk.frames()), hop_s_(chunk.grid().hop_s), t0_(chunk.time_s(0.0)) {
  const FrameGrid& g = chunk.grid();
  const double f0 = path.hz(n_ / 2);
  const double hz = static_cast<double>(k) * f0;
  const double highest = static_cast<double>(k) * path.highest_hz();
  if (static_cast<std::size_t>(std::lround(highest / g.bin_hz)) + 5 >= g.bins) return;
  reload(chunk, path);
  const double gain = frame_response(bin_offset_hz_ / g.bin_hz);
  int sides = 0;
  for (const double side : {-0.5, 0.5}) {
    const double at = hz + side * f0;
    if (std::any_of(foreign.begin(), foreign.end(),
                    [&](double x) { return std::abs(x - at) < 5.5 * g.bin_hz; })) {
      continue;
    }
    const auto z = chunk.z(static_cast<std::size_t>(std::lround(at / g.bin_hz)));
    beside_.resize(n_, 0.0);
    for (std::size_t m = 0; m < n_; ++m) beside_[m] += static_cast<double>(std::norm(z[m])) / (gain * gain);
    ++sides;
  }
  for (double& b : beside_) b /= sides;
  for (const double x : foreign) {
    if (std::abs(x - hz) < HumChunk::line_reach_bins * g.bin_hz) lines_hz_.push_back(x);
  }
  std::vector<double> start(beside_);
  if (start.empty()) {
    for (const Complex& v : y_) start.push_back(std::norm(v));
  }
  set_noise(start);
  undisturbed_ = weight_;
}

void HumTrack::reload(const HumChunk& chunk, const PhasePath& path) {
  const FrameGrid& g = chunk.grid();
  const auto k = static_cast<double>(k_);
  const double middle = k * path.hz(n_ / 2);
  const auto middle_bin = static_cast<std::size_t>(std::lround(middle / g.bin_hz));
  bin_offset_hz_ = static_cast<double>(middle_bin) * g.bin_hz - middle;
  y_.resize(n_);
  if (path.flat()) {
    const double gain = frame_response(bin_offset_hz_ / g.bin_hz);
    const auto z = chunk.z(middle_bin);
    for (std::size_t m = 0; m < n_; ++m) y_[m] = Complex(z[m]) / gain;
    return;
  }
  for (std::size_t m = 0; m < n_; ++m) {
    const double at = k * path.hz(m) / g.bin_hz;
    const double bin = std::clamp(std::round(at), 1.0, static_cast<double>(g.bins - 1));
    y_[m] = Complex(chunk.z(static_cast<std::size_t>(bin))[m]) / std::max(frame_response(bin - at), 0.5);
  }
}

// Mean over three frames (a pause between words may be no longer than that), kept from falling so low that
// a chance dip decides everything.
void HumTrack::set_noise(const std::vector<double>& power) {
  weight_.resize(n_);
  root_.resize(n_);
  for (std::size_t m = 0; m < n_; ++m) {
    const double before = power[m > 0 ? m - 1 : m];
    const double after = power[m + 1 < n_ ? m + 1 : m];
    weight_[m] = (before + power[m] + after) / 3.0;
  }
  root_ = weight_;
  const auto low = root_.begin() + static_cast<std::ptrdiff_t>(n_ / 50);
  std::partial_sort(root_.begin(), low + 1, root_.end());
  const double floor = std::max(0.5 * *low, 1e-24);
  for (std::size_t m = 0; m < n_; ++m) {
    weight_[m] = 1.0 / std::max(weight_[m], floor);
    root_[m] = std::sqrt(weight_[m]);
  }
}

void HumTrack::turn_back(std::span<const Complex> phasors) {
  u_.resize(n_);
  for (std::size_t m = 0; m < n_; ++m) u_[m] = dsp::product(y_[m], phasors[m]);
}

// A line that is not mains but shares the bin: least squares of all amplitudes at once.
void HumTrack::take_lines_out(std::span<const Complex> phasors, std::span<const Piece> pieces) {
  if (lines_hz_.empty()) return;
  const auto p = static_cast<Eigen::Index>(pieces.size());
  const auto count = p + static_cast<Eigen::Index>(lines_hz_.size());
  Eigen::MatrixXcd columns = Eigen::MatrixXcd::Zero(static_cast<Eigen::Index>(n_), count);
  for (Eigen::Index i = 0; i < p; ++i) {
    const Piece& piece = pieces[static_cast<std::size_t>(i)];
    for (std::size_t m = piece.from; m < piece.to; ++m) {
      columns(static_cast<Eigen::Index>(m), i) = std::conj(phasors[m]);
    }
  }
  for (Eigen::Index i = p; i < count; ++i) {
    const double hz = lines_hz_[static_cast<std::size_t>(i - p)];
    for (std::size_t m = 0; m < n_; ++m) {
      const double turns = hz * (t0_ + static_cast<double>(m) * hop_s_);
      columns(static_cast<Eigen::Index>(m), i) = std::polar(1.0, two_pi * (turns - std::round(turns)));
    }
  }
  const Eigen::Map<const Eigen::VectorXd> w(weight_.data(), static_cast<Eigen::Index>(n_));
  const Eigen::Map<const Eigen::VectorXcd> y(y_.data(), static_cast<Eigen::Index>(n_));
  const Eigen::MatrixXcd weighted = w.asDiagonal() * columns;
  Eigen::MatrixXcd normal = weighted.adjoint() * columns;
  normal.diagonal() *= 1.0 + 1e-9;
  const Eigen::VectorXcd a = normal.ldlt().solve(weighted.adjoint() * y);
  if (!a.allFinite()) return;
  const Eigen::VectorXcd lines = columns.rightCols(count - p) * a.tail(count - p);
  for (std::size_t m = 0; m < n_; ++m) y_[m] -= lines[static_cast<Eigen::Index>(m)];
}

void HumTrack::settle(std::span<const Complex> phasors, std::span<const Piece> pieces) {
  take_lines_out(phasors, pieces);
  turn_back(phasors);
  std::vector<double> power(n_);
  for (const Piece& piece : pieces) {
    const Mean here = mean(piece);
    const double spare = 1.0 + 1.0 / std::max(1.0, here.spare);
    for (std::size_t m = piece.from; m < piece.to; ++m) {
      const double own = std::norm(u_[m] - here.a) * spare;
      power[m] = beside_.empty() ? own : (own + 2.0 * beside_[m]) / 3.0;
    }
  }
  set_noise(power);
}

double HumTrack::explained(const Piece& piece) const {
  Complex s = 0;
  double q = 0;
  for (std::size_t m = piece.first; m < piece.last; ++m) {
    s += u_[m] * undisturbed_[m];
    q += undisturbed_[m];
  }
  return std::norm(s) / (q * frame_overlap());
}

double HumTrack::left(const Piece& piece) const {
  Complex s = 0;
  double q = 0;
  double all = 0;
  for (std::size_t m = piece.first; m < piece.last; ++m) {
    s += u_[m] * undisturbed_[m];
    q += undisturbed_[m];
    all += std::norm(u_[m]) * undisturbed_[m];
  }
  return (all - std::norm(s) / q) / static_cast<double>(piece.last - piece.first);
}

double HumTrack::power_beyond_noise() const {
  double q = 0;
  double all = 0;
  for (std::size_t m = 0; m < n_; ++m) {
    q += undisturbed_[m];
    all += std::norm(u_[m]) * undisturbed_[m];
  }
  // Noise known from three frames of two bins seems greater than 1 by a third, and scatters over ten seconds
  // by a fifth: as simulated.
  constexpr double noise_alone = 1.75;
  const double over = all / static_cast<double>(n_);
  return beside_.empty() || over < noise_alone ? 0.0 : 0.5 * (over - 1.1) * static_cast<double>(n_) / q;
}

PieceSums HumTrack::sums() const {
  const double overlap = frame_overlap();
  PieceSums s;
  s.value.resize(n_ + 1);
  s.weight.resize(n_ + 1);
  for (std::size_t m = 0; m < n_; ++m) {
    s.value[m + 1] = s.value[m] + u_[m] * undisturbed_[m];
    s.weight[m + 1] = s.weight[m] + undisturbed_[m] * overlap;
  }
  return s;
}

HumTrack::Mean HumTrack::mean(const Piece& piece) const {
  Mean r;
  for (std::size_t m = piece.first; m < piece.last; ++m) {
    r.a += u_[m] * weight_[m];
    r.weight += weight_[m];
  }
  r.a /= r.weight;
  const double count = independent(piece, r.weight);
  r.model = r.variance = model_variance(piece, r.weight, count);
  r.spare = count - 1.0;
  return r;
}

HumTrack::Mean HumTrack::checked_mean(const Piece& piece) const {
  Mean r = mean(piece);
  const std::size_t groups = std::clamp<std::size_t>((piece.last - piece.first) / 6, 2, groups_wanted);
  const double by_group = group_variance(piece, r, groups);
  if (by_group > 1.7 * r.model) {
    r.variance = by_group;
    r.spare = std::min(r.spare, static_cast<double>(groups - 1));
  }
  r.spare = std::max(r.spare, 0.5);
  return r;
}

// Number of independent samples the weights amount to.
double HumTrack::independent(const Piece& piece, double weight_sum) const {
  double sum = 0.0;
  for (int d = 0; d < 4; ++d) {
    const double lag = lagged(weight_, piece.first, piece.last, static_cast<std::size_t>(d));
    sum += (d == 0 ? 1.0 : 2.0) * frame_correlation(d) * lag;
  }
  return weight_sum * weight_sum / sum;
}

// Variance of the weighted mean: overlapping frames share samples, so neighbours count.
double HumTrack::model_variance(const Piece& piece, double weight_sum, double independent) const {
  double sum = 0.0;
  for (int d = 0; d < 4; ++d) {
    const double lag = lagged(root_, piece.first, piece.last, static_cast<std::size_t>(d));
    const double turn = std::cos(two_pi * bin_offset_hz_ * static_cast<double>(d) * hop_s_);
    sum += (d == 0 ? 1.0 : 2.0) * frame_correlation(d) * turn * lag;
  }
  return weight_penalty(independent) * sum / (weight_sum * weight_sum);
}

// Variance from how the harmonic's amplitude differs from one part of the piece to the next: honest also
// where what disturbs is no noise but a voice that holds its pitch.
double HumTrack::group_variance(const Piece& piece, const Mean& mean, std::size_t groups) const {
  const std::size_t n = piece.last - piece.first;
  double sum = 0.0;
  for (std::size_t g = 0; g < groups; ++g) {
    const std::size_t to = piece.first + (g + 1) * n / groups;
    Complex s = 0;
    double q = 0;
    for (std::size_t m = piece.first + g * n / groups; m < to; ++m) {
      s += u_[m] * weight_[m];
      q += weight_[m];
    }
    sum += std::norm(s - mean.a * q) / (mean.weight * mean.weight);
  }
  return sum * static_cast<double>(groups) / static_cast<double>(groups - 1);
}

}  // namespace linebench::measure
