#include "picture_hum_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "picture_turns.hpp"

namespace linebench::measure {
namespace {

using cd = std::complex<double>;
using Shape = std::array<double, hum_shapes>;
constexpr double two_pi = 2 * std::numbers::pi;

// Two sums side by side and two more: none waits for the one before.
double dot(const Shape& a, const Shape& b) {
  constexpr std::size_t whole = hum_shapes / 4 * 4;
  double s[4]{};
  for (std::size_t k = 0; k < whole; k += 4)
    for (std::size_t i = 0; i < 4; ++i) s[i] += a[k + i] * b[k + i];
  for (std::size_t k = whole; k < hum_shapes; ++k) s[k - whole] += a[k] * b[k];
  return (s[0] + s[2]) + (s[1] + s[3]);
}
cd dot(const Shape& a, const FieldShapes::Turning& b) {
  cd s = 0;
  for (std::size_t k = 0; k < hum_shapes; ++k) s += a[k] * b[k];
  return s;
}

class Fitter {
 public:
  Fitter(const std::vector<FieldProfile>& fields, const HumProblem& p) : f_(fields), p_(p) {
    for (const FieldProfile& x : f_) ++count_[static_cast<std::size_t>(x.parity)];
    clean_ = f_;
    take_out_standing(clean_, p_);
    seconds_ = f_.back().t - f_.front().t + (f_.size() > 1 ? 1.0 / p_.field_hz : 0);
    middle_ = 0.5 * (f_.front().t + f_.back().t);
    rows_alike_ = (*p_.shapes)[0].rows() == (*p_.shapes)[1].rows();
    double dof = static_cast<double>(f_.size()) * hum_shapes;
    for (std::size_t q = 0; q < 2; ++q)
      if (count_[q] > 0) dof -= static_cast<double>(p_.standing[q].size());
    dof_ = std::max(1.0, dof);
  }

  HumFit run() {
    HumFit out;
    out.seconds = seconds_;
    double total = 0;
    for (const FieldProfile& x : clean_) total += dot(x.c, x.c);
    const double best = search();
    if (best <= 0) {
      out.least_pp = std::numeric_limits<double>::infinity();
      return out;
    }
    base_ = best;
    for (int j = 1; j <= hum_harmonics; ++j) use_[static_cast<std::size_t>(j - 1)] = true;
    for (int i = 0; i < 4; ++i) step(i > 0);
    // Keep what stands out of the noise around it.
    variance_ = residual_ / dof_;
    const double strongest = prune();
    for (int i = 0; i < 4; ++i) step(true);
    variance_ = residual_ / std::max(1.0, dof_ - size_ - 1);
    out.base_hz = base_;
    out.slowest_hz = p_.difference_s > 0 ? 1 / seconds_ : 0;
    out.least_pp = std::max(2 * least_amplitude(), least_shown());
    out.found = strongest > 28 && total > 0 && std::abs(base_ - best) < 1.5 / seconds_ + 0.05;
    if (!out.found) {
      find_tone(out);
      return out;
    }
    report(out);
    const double unlike = share_unlike();
    const bool shown = out.pp > least_shown();
    out.unlike = out.found && shown && unlike > 0.4;
    out.found = out.found && shown && !out.unlike;
    if (out.unlike) find_tone(out);
    out.pp_u = std::hypot(out.pp_u, 0.25 * out.pp * std::sqrt(std::clamp(unlike - 0.001, 0.0, 1.0)));
    // Of a saw or pulses about as much is missing as the last harmonic counted has.
    if (out.cut_short)
      out.pp_u = std::hypot(out.pp_u, std::abs(a_[static_cast<std::size_t>(out.highest - 1)]));
    return out;
  }

  // The profiles less what was fitted.
  [[nodiscard]] std::vector<FieldProfile> rest() const {
    std::vector<FieldProfile> out = f_;
    subtract(out);
    return out;
  }

 private:
  struct Line {
    cd z = 0;
    double d = 0;  // half the power of the model, what stands still taken out
  };
  // Projection of the data (as many as there are fields; or none, for the power alone) on a turning phase.
  Line project(double hz, double spatial_hz, const std::vector<FieldProfile>& data) const {
    Line l;
    FieldShapes::Turning e[2];
    Shape real[2], imaginary[2];  // apart, the inner loop takes several at a time
    double energy[2]{};
    for (std::size_t q = 0; q < 2; ++q) {
      if (count_[q] == 0) continue;
      e[q] = q == 1 && count_[0] > 0 && rows_alike_ ? e[0] : model(q, spatial_hz);
      for (const cd& v : e[q]) energy[q] += std::norm(v);
      for (std::size_t k = 0; k < hum_shapes; ++k) {
        real[q][k] = e[q][k].real();
        imaginary[q][k] = e[q][k].imag();
      }
    }
    cd mean[2]{};
    Turns turns(hz);
    for (std::size_t i = 0; i < f_.size(); ++i) {
      const FieldProfile& x = f_[i];
      const auto q = static_cast<std::size_t>(x.parity);
      const cd turn = turns.at(x.t - middle_);
      mean[q] += turn;
      if (data.empty()) continue;
      const cd part(dot(data[i].c, real[q]), -dot(data[i].c, imaginary[q]));
      l.z += dsp::product(std::conj(turn), part);
    }
    for (std::size_t q = 0; q < 2; ++q) {
      if (count_[q] == 0) continue;
      double standing = 0;
      for (const Shape& v : p_.standing[q]) standing += std::norm(dot(v, e[q]));
      l.d += 0.5 * (count_[q] * energy[q] - std::norm(mean[q]) / count_[q] * standing);
    }
    return l;
  }

  // The phase a difference's earlier frame has.
  [[nodiscard]] cd earlier(double hz) const {
    return std::polar(1.0, -two_pi * std::fmod(hz * p_.difference_s, 1.0));
  }
  // What the shapes make of a turning phase of this frequency, differences taken where the data are such.
  [[nodiscard]] FieldShapes::Turning model(std::size_t parity, double hz) const {
    FieldShapes::Turning e = (*p_.shapes)[parity].turning(hz);
    if (p_.difference_s > 0) {
      for (cd& v : e) v *= 1.0 - earlier(hz);
    }
    return e;
  }

  double search() {
    const double step = std::min(0.5, 0.3 / std::max(seconds_, 0.02));
    double best = 0;
    double best_hz = 0;
    for (double hz = p_.low_hz; hz <= p_.high_hz; hz += step) {
      double score = 0;
      for (int j = 1; j <= 3; ++j) {
        const Line l = project(j * hz, j * hz, clean_);
        const double full =
            0.5 * static_cast<double>(f_.size()) * 0.9 *
            static_cast<double>((*p_.shapes)[0].rows().size() + (*p_.shapes)[1].rows().size()) /
            (count_[0] > 0 && count_[1] > 0 ? 2 : 1);
        if (l.d < (p_.difference_s > 0 ? 2e-4 : 0.03) * full) continue;
        score += std::norm(l.z) / l.d;
      }
      if (score > best) {
        best = score;
        best_hz = hz;
      }
    }
    return best_hz;
  }

  // The rows of a field tell frequencies apart that are the same from field to field, as far as the shapes
  // reach.
  void find_tone(HumFit& out) const {
    constexpr double first_hz = 2, last_hz = 400;
    if (p_.difference_s > 0 || seconds_ < 0.5) return;
    double total = 0, best = 0;
    for (const FieldProfile& x : clean_) total += dot(x.c, x.c);
    const auto look = [&](double hz) {
      const Line l = project(hz, hz, clean_);
      const double explained = l.d > 1 ? std::norm(l.z) / l.d : 0;
      if (explained <= best) return;
      best = explained;
      out.tone_hz = hz;
      out.tone_pp = 2 * std::abs(l.z) / l.d;
    };
    const double step = 0.35 / seconds_;
    for (double hz = first_hz; hz < last_hz; hz += step) look(hz);
    for (double closer = step / 2; closer > 0.002; closer /= 2)
      for (const double hz : {out.tone_hz - closer, out.tone_hz + closer}) look(hz);
    if (best < 0.5 * total || best < 60 * (total - best) / dof_) out.tone_hz = out.tone_pp = 0;
  }

  // One Gauss-Newton step over amplitudes and, where asked, frequency.
  void step(bool frequency) {
    int n = 0;
    std::array<int, hum_harmonics> at{};
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      at[j] = n;
      if (use_[j]) n += 2;
    }
    const int size = n + (frequency ? 1 : 0);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(size, size);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(size);
    std::array<Eigen::MatrixXd, 2> mean_h;
    std::array<Eigen::VectorXd, 2> mean_c;
    std::array<std::array<FieldShapes::Turning, hum_harmonics>, 2> e;
    for (std::size_t q = 0; q < 2; ++q) {
      mean_h[q] = Eigen::MatrixXd::Zero(hum_shapes, size);
      mean_c[q] = Eigen::VectorXd::Zero(hum_shapes);
      if (count_[q] == 0) continue;
      for (std::size_t j = 0; j < hum_harmonics; ++j) e[q][j] = model(q, base_ * static_cast<double>(j + 1));
    }
    Eigen::MatrixXd h(hum_shapes, size);
    Eigen::VectorXd c(hum_shapes);
    double energy = 0;
    for (const FieldProfile& x : f_) {
      const auto q = static_cast<std::size_t>(x.parity);
      h.setZero();
      for (std::size_t j = 0; j < hum_harmonics; ++j) {
        if (!use_[j]) continue;
        const double number = static_cast<double>(j + 1);
        const double t = x.t - middle_;
        const cd turn = std::polar(1.0, two_pi * std::fmod(number * base_ * t, 1.0));
        const cd back = earlier(number * base_);
        // Of the factor 1 - back that differences put on a turning phase; relative to it.
        const cd factor_slope = p_.difference_s > 0 && std::abs(1.0 - back) > 1e-6
                                    ? cd(0, two_pi * number * p_.difference_s) * back / (1.0 - back)
                                    : cd(0, 0);
        for (int k = 0; k < hum_shapes; ++k) {
          const cd v = turn * e[q][j][static_cast<std::size_t>(k)];
          h(k, at[j]) = v.real();
          h(k, at[j] + 1) = -v.imag();
          if (frequency) {
            // d/df of Re(a exp(i 2 pi j f t)); the row's own time is small beside the field's.
            h(k, n) += (a_[j] * v * (cd(0, two_pi * number * t) + factor_slope)).real();
          }
        }
      }
      for (int k = 0; k < hum_shapes; ++k) c[k] = x.c[static_cast<std::size_t>(k)];
      normal += h.transpose() * h;
      right += h.transpose() * c;
      energy += c.squaredNorm();
      mean_h[q] += h;
      mean_c[q] += c;
    }
    for (std::size_t q = 0; q < 2; ++q) {
      if (count_[q] == 0) continue;
      for (const Shape& v : p_.standing[q]) {
        const Eigen::Map<const Eigen::VectorXd> u(v.data(), hum_shapes);
        const Eigen::VectorXd hu = mean_h[q].transpose() * u;
        const double cu = mean_c[q].dot(u);
        normal -= hu * hu.transpose() / count_[q];
        right -= hu * cu / count_[q];
        energy -= cu * cu / count_[q];
      }
    }
    // Scaled, so that the frequency's other unit does not spoil the solution.
    Eigen::VectorXd scale = normal.diagonal().cwiseMax(1e-12).cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
    const Eigen::LDLT<Eigen::MatrixXd> ldlt(scaled + 1e-9 * Eigen::MatrixXd::Identity(size, size));
    const Eigen::VectorXd x = scale.asDiagonal() * ldlt.solve(scale.asDiagonal() * right);
    covariance_ = scale.asDiagonal() * ldlt.solve(Eigen::MatrixXd::Identity(size, size)) * scale.asDiagonal();
    residual_ = std::max(0.0, energy - x.dot(right));
    at_ = at;
    size_ = n;
    for (std::size_t j = 0; j < hum_harmonics; ++j) a_[j] = use_[j] ? cd(x[at[j]], x[at[j] + 1]) : cd(0, 0);
    if (frequency) base_ += std::clamp(x[n], -0.3 / seconds_, 0.3 / seconds_);
  }

  // How much louder the noise is near a frequency than white noise of the residual's variance.
  double colour_of(double hz) {
    std::vector<FieldProfile> rest = clean_;
    subtract(rest);
    double sum = 0;
    double white = 0;
    for (int i = 3; i <= 14; ++i) {
      for (const double sign : {-1.0, 1.0}) {
        const Line l = project(hz + sign * i * 0.75 / seconds_, hz, rest);
        sum += std::norm(l.z);
        white += 2 * l.d * variance_;
      }
    }
    const double ratio = white > 0 ? sum / white : 1;
    return ratio > 0.6 && ratio < 1.7 ? 1.0 : std::max(ratio, 0.6);
  }
  void subtract(std::vector<FieldProfile>& data) const {
    for (std::size_t q = 0; q < 2; ++q) {
      if (count_[q] == 0) continue;
      for (std::size_t j = 0; j < hum_harmonics; ++j) {
        if (a_[j] == cd(0, 0)) continue;
        const auto e = model(q, base_ * static_cast<double>(j + 1));
        for (FieldProfile& x : data) {
          if (x.parity != static_cast<int>(q)) continue;
          const cd turn =
              a_[j] *
              std::polar(1.0, two_pi * std::fmod(static_cast<double>(j + 1) * base_ * (x.t - middle_), 1.0));
          for (std::size_t k = 0; k < hum_shapes; ++k) x.c[k] -= (turn * e[k]).real();
        }
      }
    }
  }

  double power_over_noise(std::size_t j) {
    if (!use_[j]) return 0;
    const int i = at_[j];
    Eigen::Matrix2d c = covariance_.block(i, i, 2, 2);
    const Eigen::Vector2d a(a_[j].real(), a_[j].imag());
    return a.dot(c.ldlt().solve(a)) / std::max(1e-12, variance_ * colour_[j]);
  }
  double prune() {
    double strongest = 0;
    std::array<double, hum_harmonics> power{};
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      colour_[j] = colour_of(base_ * static_cast<double>(j + 1));
      power[j] = power_over_noise(j);
      if (j < 3) strongest = std::max(strongest, power[j]);
    }
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      // Whole codes bend a sine that no noise dithers; what that makes is not hum.
      const bool real = power[j] > 18 && std::abs(a_[j]) > 1.2 * p_.rounding;
      use_[j] = real || power[j] == strongest;
      if (!use_[j]) a_[j] = 0;
    }
    return strongest;
  }
  [[nodiscard]] double amplitude_variance(std::size_t j) const {
    const int i = at_[j];
    return 0.5 * (covariance_(i, i) + covariance_(i + 1, i + 1)) * variance_ * colour_[j];
  }
  // Amplitude that would have been found (power over noise of 28), and what may hide beside it, wherever the
  // mains may be: bars that hardly move share more with the picture.
  [[nodiscard]] double least_amplitude() const {
    double variance = 0;
    for (std::size_t j = 0; j < hum_harmonics; ++j)
      if (use_[j]) variance = std::max(variance, amplitude_variance(j));
    const double colour = *std::max_element(colour_.begin(), colour_.begin() + 3);
    const double slowest = p_.difference_s > 0 ? 1 / seconds_ : 0;
    for (const double low : {p_.low_hz, p_.field_hz - slowest, p_.field_hz + slowest, p_.high_hz}) {
      if (low < p_.low_hz || low > p_.high_hz) continue;
      for (int j = 1; j <= 2; ++j) {
        const Line l = project(j * low, j * low, {});
        if (l.d > 0) variance = std::max(variance, variance_ * colour / l.d);
      }
    }
    return std::sqrt(28 * variance) + 2 * std::sqrt(variance);
  }
  // Peak to peak that whole codes show at all: bars of less are lost in them where no noise dithers.
  [[nodiscard]] double least_shown() const { return std::max(0.02, 2.4 * p_.rounding); }

  // Mains spreads over the rows by their time alone. What is left at the same rates from field to field,
  // whatever its shape over the rows, noise's share taken out: over the power of the fit.
  [[nodiscard]] double share_unlike() const {
    std::vector<FieldProfile> rest = clean_;
    subtract(rest);
    take_out_standing(rest, p_);
    double fitted = 0;
    for (std::size_t i = 0; i < rest.size(); ++i)
      for (std::size_t k = 0; k < hum_shapes; ++k) fitted += std::pow(clean_[i].c[k] - rest[i].c[k], 2);
    double most = 0;
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      if (!use_[j]) continue;
      const double hz = static_cast<double>(j + 1) * base_;
      std::array<std::array<cd, hum_shapes>, 2> sum{};
      for (const FieldProfile& x : rest) {
        const cd turn = std::polar(1.0, -two_pi * std::fmod(hz * (x.t - middle_), 1.0));
        for (std::size_t k = 0; k < hum_shapes; ++k)
          sum[static_cast<std::size_t>(x.parity)][k] += x.c[k] * turn;
      }
      const double alias = std::abs(hz - p_.field_hz * std::round(hz / p_.field_hz));
      double power = 0;
      for (std::size_t q = 0; q < 2; ++q)
        for (const cd& v : sum[q])
          if (count_[q] > 0) power += (alias * seconds_ < 0.5 ? 1 : 2) * std::norm(v) / count_[q];
      // Of white noise each shape of either parity gives twice the variance; three deviations above that.
      const double shapes = hum_shapes * ((count_[0] > 0 ? 1 : 0) + (count_[1] > 0 ? 1 : 0));
      power -= 2 * variance_ * std::max(1.0, colour_[j]) * (shapes + 3 * std::sqrt(shapes));
      most = std::max(most, power);
    }
    return fitted > 0 ? std::max(0.0, most) / fitted : 0;
  }

  void report(HumFit& out) {
    double biggest = 0;
    for (const cd& a : a_) biggest = std::max(biggest, std::abs(a));
    out.lowest = 1;
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      if (std::abs(a_[j]) < 0.2 * biggest) continue;
      out.lowest = static_cast<int>(j + 1);
      break;
    }
    for (std::size_t j = 0; j < hum_harmonics; ++j)
      if (a_[j] != cd(0, 0)) out.highest = static_cast<int>(j + 1);
    out.cut_short = out.highest + out.lowest > hum_harmonics;
    out.hz = base_ * out.lowest;
    const double colour = colour_[static_cast<std::size_t>(out.lowest - 1)];
    out.hz_u = out.lowest * std::sqrt(covariance_(size_, size_) * variance_ * colour);
    const double alias = std::abs(out.hz - p_.field_hz * std::round(out.hz / p_.field_hz));
    if (p_.difference_s > 0 && alias * seconds_ < 0.75)
      out.found = false;  // shading that comes and goes looks alike
    out.standing_still = alias < 5 * out.hz_u + 0.01 / seconds_;
    out.a = a_;
    for (std::size_t j = 0; j < hum_harmonics; ++j)  // phases from the record's start of time
      out.a[j] *= std::polar(1.0, -two_pi * std::fmod(static_cast<double>(j + 1) * base_ * middle_, 1.0));
    // Peak to peak of the sum, and its gradient over the amplitudes.
    constexpr int points = 720;
    double high = -1e9, low = 1e9;
    int at_high = 0, at_low = 0;
    for (int i = 0; i < points; ++i) {
      double v = 0;
      for (std::size_t j = 0; j < hum_harmonics; ++j)
        v += (a_[j] * std::polar(1.0, two_pi * static_cast<double>(j + 1) * i / points)).real();
      if (v > high) high = v, at_high = i;
      if (v < low) low = v, at_low = i;
    }
    out.pp = high - low;
    Eigen::VectorXd g = Eigen::VectorXd::Zero(covariance_.rows());
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      if (!use_[j]) continue;
      const double n = static_cast<double>(j + 1);
      const cd d =
          std::polar(1.0, two_pi * n * at_high / points) - std::polar(1.0, two_pi * n * at_low / points);
      g[at_[j]] = d.real() * std::sqrt(colour_[j]);
      g[at_[j] + 1] = -d.imag() * std::sqrt(colour_[j]);
    }
    out.pp_u = std::sqrt(std::max(0.0, g.dot(covariance_ * g)) * variance_);
  }

  static constexpr std::array<double, hum_harmonics> ones() {
    std::array<double, hum_harmonics> a{};
    a.fill(1);
    return a;
  }

  const std::vector<FieldProfile>& f_;
  const HumProblem& p_;
  std::vector<FieldProfile> clean_;
  bool rows_alike_ = false;  // both kinds of field use the same rows: what shapes make of a phase is the same
  std::array<double, 2> count_{};
  double seconds_ = 0, middle_ = 0, dof_ = 1;
  double base_ = 0, residual_ = 0, variance_ = 0;
  std::array<cd, hum_harmonics> a_{};
  std::array<bool, hum_harmonics> use_{};
  std::array<double, hum_harmonics> colour_ = ones();
  std::array<int, hum_harmonics> at_{};
  int size_ = 0;
  Eigen::MatrixXd covariance_;
};

}  // namespace

void take_out_standing(std::vector<FieldProfile>& fields, const HumProblem& problem) {
  std::array<Shape, 2> mean{};
  std::array<double, 2> count{};
  for (const FieldProfile& x : fields) {
    const auto q = static_cast<std::size_t>(x.parity);
    ++count[q];
    for (std::size_t k = 0; k < hum_shapes; ++k) mean[q][k] += x.c[k];
  }
  for (std::size_t q = 0; q < 2; ++q) {
    Shape part{};
    for (const Shape& v : problem.standing[q]) {
      const double a = dot(v, mean[q]) / std::max(1.0, count[q]);
      for (std::size_t k = 0; k < hum_shapes; ++k) part[k] += a * v[k];
    }
    mean[q] = part;
  }
  for (FieldProfile& x : fields)
    for (std::size_t k = 0; k < hum_shapes; ++k) x.c[k] -= mean[static_cast<std::size_t>(x.parity)][k];
}

HumFit fit_hum(const std::vector<FieldProfile>& fields, const HumProblem& problem) {
  if (fields.size() < 4 || fields.back().t - fields.front().t < 0.06) {
    HumFit none;
    none.seconds = fields.empty() ? 0 : fields.back().t - fields.front().t;
    none.least_pp = std::numeric_limits<double>::infinity();
    return none;
  }
  Fitter first(fields, problem);
  HumFit fit = first.run();
  if (!fit.found) return fit;
  // Two supplies not locked to each other (common practice: mains and a ship's or standby generator).
  const std::vector<FieldProfile> rest = first.rest();
  const HumFit other = Fitter(rest, problem).run();
  // What a wandering mains leaves stands beside a line that was taken out.
  double apart = std::numeric_limits<double>::infinity();
  for (std::size_t j = 0; j < hum_harmonics; ++j) {
    if (fit.a[j] != cd(0, 0))
      apart = std::min(apart, std::abs(other.hz - static_cast<double>(j + 1) * fit.base_hz));
  }
  if (other.found && other.pp > 0.1 * fit.pp && apart > 3 / fit.seconds) {
    fit.other_hz = other.hz;
    fit.other_pp = other.pp;
  }
  return fit;
}

}  // namespace linebench::measure
