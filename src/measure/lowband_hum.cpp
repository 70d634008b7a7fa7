#include "lowband_hum.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/window.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double block_s = 120;
constexpr double shortest_s = 0.4;
constexpr double decimated_hz = 2560;  // a ripple's edges reach up to a kilohertz
constexpr double surely = 70;  // sum of squared amplitudes over their variances, of the multiples searched by
}  // namespace

// One look: samples at even times with the field's phase at each.
struct HumLook {
  double rate = 0;
  double pass_hz = 0;
  double middle = 0;  // s, of the samples from the first
  std::vector<double> y;
  std::vector<double> turns;  // fields since some field
  double field_hz = 0;
  int comb = 0;  // harmonics of half the field rate
  // A capture may begin while a coupling capacitor still settles: what falls off so is no multiple, and its
  // spectrum, 1 / f, is no noise around one. Corners of 20, 6, 2 and 0.6 Hz: sums of these stand for others.
  static constexpr std::array<double, 4> settling_s{0.008, 0.025, 0.08, 0.25};
  bool begins = false;  // the capture, with this look
  [[nodiscard]] int others() const { return 2 + (begins ? static_cast<int>(settling_s.size()) : 0); }
  [[nodiscard]] double seconds() const { return static_cast<double>(y.size()) / rate; }
  [[nodiscard]] double at(std::size_t n) const { return static_cast<double>(n) / rate - middle; }
};

namespace {

// Columns of one sample: level, drift, settling, the picture's comb, then the hum's.
struct Columns {
  double hz = 0;
  std::vector<int> hum{};  // which harmonics
  [[nodiscard]] int count(const HumLook& k) const {
    return k.others() + 2 * k.comb + 2 * static_cast<int>(hum.size());
  }
  void fill(const HumLook& k, std::size_t n, Eigen::VectorXd& row) const {
    const double t = k.at(n);
    row(0) = 1;
    row(1) = t / std::max(k.middle, 1e-9);
    int c = 2;
    if (k.begins) {
      for (const double fall : HumLook::settling_s) row(c++) = std::exp(-(t + k.middle) / fall);
    }
    const double half = pi * k.turns[n];  // of the frame
    double cs = std::cos(half);
    double sn = std::sin(half);
    const double c1 = cs;
    const double s1 = sn;
    for (int q = 0; q < k.comb; ++q) {
      row(c++) = cs;
      row(c++) = sn;
      const double next = cs * c1 - sn * s1;
      sn = sn * c1 + cs * s1;
      cs = next;
    }
    if (hum.empty()) return;
    const double h1 = std::cos(2 * pi * hz * t);
    const double g1 = std::sin(2 * pi * hz * t);
    double h = 1;
    double g = 0;
    int at = 0;
    for (const int m : hum) {
      for (; at < m; ++at) {
        const double next = h * h1 - g * g1;
        g = g * h1 + h * g1;
        h = next;
      }
      row(c++) = h;
      row(c++) = g;
    }
  }
};

struct Solved {
  /// Cosine column of the hum's harmonic number h of those fitted; the sine's is the next.
  [[nodiscard]] static Eigen::Index column(const HumLook& k, std::size_t h) {
    return k.others() + 2 * k.comb + 2 * static_cast<Eigen::Index>(h);
  }
  [[nodiscard]] double power(const HumLook& k, std::size_t h) const {
    const auto c = column(k, h);
    return x(c) * x(c) + x(c + 1) * x(c + 1);
  }
  /// Of one amplitude, for noise of unit variance.
  [[nodiscard]] double variance(const HumLook& k, std::size_t h) const {
    const auto c = column(k, h);
    return 0.5 * (covariance(c, c) + covariance(c + 1, c + 1));
  }
  Eigen::VectorXd x;
  Eigen::MatrixXd covariance;
  std::vector<double> residual;
};

Solved solve(const HumLook& k, const Columns& columns) {
  const int n = columns.count(k);
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);
  Eigen::VectorXd b = Eigen::VectorXd::Zero(n);
  constexpr int chunk = 64;
  Eigen::MatrixXd rows(n, chunk);
  Eigen::VectorXd row(n);
  Eigen::VectorXd values(chunk);
  for (std::size_t i = 0; i < k.y.size(); i += chunk) {
    const auto size = static_cast<Eigen::Index>(std::min<std::size_t>(chunk, k.y.size() - i));
    for (Eigen::Index j = 0; j < size; ++j) {
      columns.fill(k, i + static_cast<std::size_t>(j), row);
      rows.col(j) = row;
      values(j) = k.y[i + static_cast<std::size_t>(j)];
    }
    a.selfadjointView<Eigen::Lower>().rankUpdate(rows.leftCols(size));
    b.noalias() += rows.leftCols(size) * values.head(size);
  }
  a.diagonal().array() += 1e-9 * static_cast<double>(k.y.size());
  const Eigen::LDLT<Eigen::MatrixXd> ldlt(a.selfadjointView<Eigen::Lower>());
  Solved s;
  s.x = ldlt.solve(b);
  s.covariance = ldlt.solve(Eigen::MatrixXd::Identity(n, n));
  s.residual.resize(k.y.size());
  for (std::size_t i = 0; i < k.y.size(); ++i) {
    columns.fill(k, i, row);
    s.residual[i] = k.y[i] - row.dot(s.x);
  }
  return s;
}

// Power per bin, so scaled that white noise of variance v gives v.
struct Spectrum {
  std::vector<double> power;
  double bin = 1;
  [[nodiscard]] double at(double hz) const {
    const auto k = static_cast<std::size_t>(std::max(0.0, std::round(hz / bin)));
    return k < power.size() ? power[k] : 0.0;
  }
  // Level of the surroundings: median over some hertz on both sides, as a mean.
  [[nodiscard]] double around(double hz, double bins = 24) const {
    const double width = std::max(1.5, bins * bin);
    const auto a = static_cast<std::size_t>(std::max(1.0, (hz - width) / bin));
    const auto b = std::min(power.size(), static_cast<std::size_t>((hz + width) / bin) + 1);
    if (a >= b) return 0;
    return dsp::median(std::vector<double>{power.begin() + static_cast<std::ptrdiff_t>(a),
                                           power.begin() + static_cast<std::ptrdiff_t>(b)}) /
           std::numbers::ln2;
  }
};

Spectrum spectrum_of(const std::vector<double>& e, double rate) {
  const std::size_t n = dsp::next_fast_size(2 * e.size());
  dsp::RealFft fft(n);
  const auto w = dsp::make_window(dsp::Window::Hann, e.size());
  double w2 = 0;
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  for (std::size_t i = 0; i < e.size(); ++i) {
    fft.input()[i] = w[i] * e[i];
    w2 += w[i] * w[i];
  }
  fft.forward();
  Spectrum s;
  s.bin = rate / static_cast<double>(n);
  s.power.resize(n / 2 + 1);
  for (std::size_t k = 0; k < s.power.size(); ++k) s.power[k] = std::norm(fft.output()[k]) / w2;
  return s;
}

// How far a multiple stands from the picture's comb, Hz.
double off_the_comb(double field_hz, double hz) {
  const double half = 0.5 * field_hz;
  return std::abs(hz - half * std::round(hz / half));
}

// Multiples up to `most`, below the decimator's edge, that do not fall on the picture's comb.
std::vector<int> free_harmonics(const HumLook& k, double hz, double blind_hz, int most) {
  std::vector<int> out;
  for (int m = 1; m <= most && m * hz < k.pass_hz; ++m) {
    if (off_the_comb(k.field_hz, m * hz) >= blind_hz) out.push_back(m);
  }
  return out;
}

// Leaves out what is no more than noise: it would blur the frequency and make the peaks higher. The first of
// those searched by stays.
void drop_noise(const HumLook& k, const Spectrum& s, const Solved& with, Columns& columns, double bins) {
  for (std::size_t h = columns.hum.size(); h-- > 1;) {
    const double noise = with.variance(k, h) * s.around(columns.hum[h] * columns.hz, bins);
    if (with.power(k, h) < LowbandHum::clearly * LowbandHum::clearly * noise)
      columns.hum.erase(columns.hum.begin() + static_cast<std::ptrdiff_t>(h));
  }
}

// Amplitude of what neither the comb nor the hum took from the field rate's surroundings.
double left_beside(const HumLook& k, const Spectrum& rest, double blind_hz) {
  double most = 0;
  const int halves = static_cast<int>(8 * blind_hz / rest.bin);
  for (int i = 0; i <= halves; ++i)
    most = std::max(most, rest.at(k.field_hz - 2 * blind_hz + 0.5 * i * rest.bin));
  // A sine of amplitude a through the window: a^2 / 4 n 2/3.
  return std::sqrt(6 * most / static_cast<double>(k.y.size()));
}

// Amplitude of what stands round a multiple after the fit: mains frequency wanders, and what its lines lose
// by that lies beside them.
double left_around(const HumLook& k, const Spectrum& rest, int m, double hz, double noise) {
  constexpr double wander_hz = 0.05;
  const double width = 3 / k.seconds() + wander_hz * m;
  double sum = 0;
  const int bins = static_cast<int>(2 * width / rest.bin);
  for (int i = 0; i <= bins; ++i)
    sum += rest.at(m * hz - width + i * rest.bin) - 2 * noise;  // chance alone makes it less
  return std::sqrt(4 * std::max(sum, 0.0) * rest.bin / k.rate);
}

// The frequency by the slope of each harmonic's phase over time: one Gauss-Newton step, and what it is known
// by: only as much of that slope as the picture's comb beside it and the amplitudes do not explain.
struct Step {
  double hz = 0;  // damped: by all of the slope, so that it does not run into the comb
  double information = 0;
};

Step frequency_step(const HumLook& k, const Columns& columns, const Solved& with) {
  Step step;
  double move = 0;
  const Eigen::Index n = columns.count(k);
  Eigen::VectorXd row(n);
  Eigen::VectorXd shared = Eigen::VectorXd::Zero(n);
  for (std::size_t i = 0; i < k.y.size(); ++i) {
    const double t = k.at(i);
    double d = 0;
    for (std::size_t h = 0; h < columns.hum.size(); ++h) {
      const double w = 2 * pi * columns.hum[h];
      const auto c = Solved::column(k, h);
      d += w * t * (-with.x(c) * std::sin(w * columns.hz * t) + with.x(c + 1) * std::cos(w * columns.hz * t));
    }
    step.information += d * d;
    move += d * with.residual[i];
    columns.fill(k, i, row);
    shared += d * row;
  }
  if (step.information > 0) step.hz = move / step.information;
  step.information -= shared.dot(with.covariance * shared);
  return step;
}

}  // namespace

LowbandHum::LowbandHum(double rate_hz, double low_hz, double high_hz)
    : decimator_(rate_hz, decimated_hz),
      low_hz_(low_hz),
      high_hz_(high_hz),
      block_(static_cast<std::size_t>(block_s * decimator_.rate_hz())) {
  start_s_ = -decimator_.delay_s();
}

void LowbandHum::field(std::int64_t number, double t_s) {
  field_number_.push_back(static_cast<double>(number));
  field_s_.push_back(t_s);
}

void LowbandHum::push(std::span<const float> mv) {
  for (const float v : decimator_.push(mv)) samples_.push_back(static_cast<double>(v));
  // Fields are told a little after their samples: wait for those of the block's end.
  while (samples_.size() >= block_ + static_cast<std::size_t>(decimator_.rate_hz())) close_block();
}

void LowbandHum::close_block() {
  const double rate = decimator_.rate_hz();
  const std::size_t n = std::min(block_, samples_.size());
  HumLook k;
  k.rate = rate;
  // The decimator's first output samples are its filters filling up.
  const std::size_t skip =
      fits_.empty() ? std::min(n, static_cast<std::size_t>(2 * decimator_.delay_s() * rate) + 1) : 0;
  const double start = start_s_ + static_cast<double>(skip) / rate;
  k.y.assign(samples_.begin() + static_cast<std::ptrdiff_t>(skip),
             samples_.begin() + static_cast<std::ptrdiff_t>(n));
  samples_.erase(samples_.begin(), samples_.begin() + static_cast<std::ptrdiff_t>(n));
  start_s_ += static_cast<double>(n) / rate;
  Fit fit;
  if (field_s_.size() >= 8 && k.seconds() >= shortest_s) {
    k.middle = 0.5 * k.seconds();
    const double period =
        (field_s_.back() - field_s_.front()) / (field_number_.back() - field_number_.front());
    k.field_hz = 1 / period;
    k.turns.resize(k.y.size());
    std::size_t j = 0;
    for (std::size_t i = 0; i < k.y.size(); ++i) {
      const double t = start + static_cast<double>(i) / rate;
      while (j + 2 < field_s_.size() && t >= field_s_[j + 1]) ++j;
      const double step = (field_s_[j + 1] - field_s_[j]) / (field_number_[j + 1] - field_number_[j]);
      k.turns[i] = field_number_[j] + (t - field_s_[j]) / step;
    }
    k.begins = fits_.empty();
    k.pass_hz = decimator_.pass_hz();
    // One more than the decimator passes whole: what is left of it beyond the edge is the picture's, too.
    k.comb = std::min(static_cast<int>(k.pass_hz / (0.5 * k.field_hz)) + 1, static_cast<int>(k.y.size() / 8));
    fit = look_for_hum(k);
  }
  fits_.push_back(fit);
  // Keep the last field, for the phase at the next block's start.
  if (field_s_.size() > 1) {
    const auto all = static_cast<std::ptrdiff_t>(field_s_.size());
    std::ptrdiff_t keep = 0;
    while (keep + 2 < all && field_s_[static_cast<std::size_t>(keep + 1)] < start_s_) ++keep;
    field_s_.erase(field_s_.begin(), field_s_.begin() + keep);
    field_number_.erase(field_number_.begin(), field_number_.begin() + keep);
  }
}

LowbandHum::Fit LowbandHum::look_for_hum(const HumLook& k) const {
  Fit fit;
  fit.seconds = k.seconds();
  fit.field_hz = k.field_hz;
  const double blind = 1 / k.seconds();
  Columns columns;
  const Solved without = solve(k, columns);
  const Spectrum s = spectrum_of(without.residual, k.rate);
  // Of the picture's lines among which hum is searched.
  const int among = std::min(k.comb, static_cast<int>(searched * high_hz_ / (0.5 * k.field_hz)) + 1);
  fit.floor = 0.2 + 2e-3 * without.x.segment(k.others(), 2 * among).norm();
  double best = 0;
  const int steps = static_cast<int>((high_hz_ - low_hz_) * 4 * k.seconds());
  for (int i = 0; i <= steps; ++i) {
    const double hz = low_hz_ + 0.25 * i / k.seconds();
    // Mains hidden by the field rate still shows by the multiples that are not: 60.00 Hz by 180 Hz
    // beside 59.94 fields. Left out here, they would be taken for multiples of another mains.
    double score = 0;
    for (const int m : free_harmonics(k, hz, blind, searched))
      score += s.at(m * hz) / std::max(s.around(m * hz), 1e-20);
    if (score > best) {
      best = score;
      columns.hz = hz;
    }
  }
  if (!(best > 0)) return fit;
  columns.hum = free_harmonics(k, columns.hz, blind, searched);
  Solved with = solve(k, columns);
  drop_noise(k, s, with, columns, 24);
  double information = 0;
  constexpr int searching = 3;  // rounds: high multiples need the frequency better than the search knows it
  for (int round = 0; round <= searching + 1; ++round) {
    // A better frequency may put a multiple onto the picture's comb, or take it off.
    const std::vector<int> free = free_harmonics(k, columns.hz, blind, harmonics);
    if (round == searching) columns.hum = free;
    std::erase_if(columns.hum, [&](int m) { return std::find(free.begin(), free.end(), m) == free.end(); });
    if (columns.hum.empty()) return fit;
    with = solve(k, columns);
    if (round == searching) {
      drop_noise(k, spectrum_of(with.residual, k.rate), with, columns, 80);
      with = solve(k, columns);
    }
    const Step step = frequency_step(k, columns, with);
    information = step.information;
    const double limit = 0.3 / k.seconds();
    if (round <= searching && information > 0) columns.hz += std::clamp(step.hz, -limit, limit);
  }
  const Spectrum rest = spectrum_of(with.residual, k.rate);
  // What is left beside the field rate was not fitted, and leaks into what was: by 1 / (pi df T).
  const double left = left_beside(k, rest, blind);
  const auto leak = [&](double hz) { return left / (pi * std::abs(hz - k.field_hz) * k.seconds()); };
  double certainty = 0;
  for (std::size_t h = 0; h < columns.hum.size(); ++h) {
    const auto c = Solved::column(k, h);
    const auto m = static_cast<std::size_t>(columns.hum[h] - 1);
    // So wide that what the fit itself took away beside the hum and the picture's comb counts little.
    const double noise = rest.around(columns.hum[h] * columns.hz, 80);
    fit.c[m] = with.x(c);
    fit.s[m] = with.x(c + 1);
    const double chance =
        std::hypot(std::sqrt(noise * with.variance(k, h)), leak(columns.hum[h] * columns.hz));
    fit.u[m] = std::hypot(chance, 0.5 * left_around(k, rest, columns.hum[h], columns.hz, noise));
    if (columns.hum[h] <= searched) certainty += with.power(k, h) / std::max(chance * chance, 1e-20);
    if (h == 0) {
      fit.least = 2 * (std::sqrt(surely) + 2) * chance;
      // Beside noise: fields' measured places wander, and what the comb so leaves of the picture moves the
      // hum's phase, from end to end of the capture by some thousandth of a radian.
      constexpr double wander = 7e-4;  // rms, radian
      fit.hz_u = information > 0 ? std::hypot(std::sqrt(noise / information),
                                              std::sqrt(12.0) * wander / (2 * pi * k.seconds()))
                                 : 1e3;
    }
  }
  fit.hz = columns.hz;
  for (int m = 1; m <= harmonics && m * fit.hz < k.pass_hz; ++m) {
    const auto i = static_cast<std::size_t>(m - 1);
    fit.hidden[i] = off_the_comb(k.field_hz, m * fit.hz) < blind;
    // White noise on a sine of that many samples.
    if (!fit.hidden[i] && fit.u[i] <= 0)
      fit.noise[i] = std::sqrt(2 * rest.around(m * fit.hz, 80) / static_cast<double>(k.y.size()));
  }
  fit.beside_pp = 2 * left;
  // Drawn in from the edge of what can be told apart: it belongs to what cannot.
  const bool fundamental = columns.hum.front() == 1;
  fit.found = certainty > surely && (!fundamental || std::abs(columns.hz - k.field_hz) >= blind);
  return fit;
}

LowbandHum::Result LowbandHum::finish(double coupling) {
  if (fits_.empty() || samples_.size() > block_ / 4) close_block();
  return put_together(fits_, coupling);
}

}  // namespace linebench::measure
