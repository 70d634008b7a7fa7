// The joint fit of a mains comb. Model of the frames: harmonic k puts A_k exp(i 2 pi k (f t + d t^2 / 2))
// into its bin; f, d and all A_k are unknown. Gauss-Newton on f and d with the A_k eliminated, each frame of
// each bin weighted by the noise found there, so that under speech the pauses carry the result.
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include "hum_chunk.hpp"
#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::size_t most_harmonics = 40;
// What the window's side lobes leave of the strongest line after it has been taken out.
constexpr double leak_floor = 1e-6;
constexpr std::size_t groups_wanted = 8;
// Weights taken from the noise itself are never quite the best ones, and few frames say little about their
// own noise: by how much variances exceed those of known weights (three frames of three bins make about nine
// degrees of freedom; set and checked by the coverage tests).
double weight_penalty(double independent_samples) {
  return 1.22 * (1.0 + 3.0 / std::max(independent_samples, 1.0));
}

struct NearLine {
  double hz;
  Complex a;
};

// One harmonic's bin over the frames.
struct Track {
  std::size_t k = 1;
  bool active = true;          // takes part in finding f
  double bin_offset_hz = 0;    // bin centre minus harmonic
  std::vector<Complex> y;      // frames, window gain taken out
  std::vector<double> beside;  // noise seen half way to the neighbours; empty where that is not to be had
  std::vector<double> weight;  // 1 / E|noise|^2 per frame
  std::vector<double> root;    // its square root
  std::vector<NearLine> lines;
  Complex a;
  double weight_sum = 0;
};

// exp(-i 2 pi k (f t + d t^2 / 2)) for one frame after the other.
class Rotor {
 public:
  Rotor(double k, double f, double d, double t0, double hop)
      : now_(std::polar(1.0, -two_pi * k * (f * t0 + 0.5 * d * t0 * t0))),
        step_(std::polar(1.0, -two_pi * k * (f * hop + d * (t0 * hop + 0.5 * hop * hop)))),
        bend_(std::polar(1.0, -two_pi * k * d * hop * hop)) {}
  Complex next() {
    const Complex r = now_;
    now_ = multiply(now_, step_);
    step_ = multiply(step_, bend_);
    return r;
  }
  static Complex multiply(Complex a, Complex b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
  }

 private:
  Complex now_, step_, bend_;
};

// Sum of what lies `by` frames apart, multiplied.
double lagged(const std::vector<double>& v, std::size_t by) {
  double sum = 0.0;
  for (std::size_t m = 0; m + by < v.size(); ++m) sum += v[m] * v[m + by];
  return sum;
}

class Fit {
 public:
  Fit(const HumChunk& chunk, double f, std::span<const double> foreign) : chunk_(chunk), start_hz_(f), f_(f) {
    const FrameGrid& g = chunk.grid();
    n_ = chunk.frames();
    t0_ = chunk.time_s(0.0);
    const auto top = static_cast<std::size_t>(g.top_hz / f);
    count_ = std::min(top, most_harmonics);
    for (std::size_t k = 1; k <= count_; ++k) {
      const double hz = static_cast<double>(k) * f;
      const double apart = std::max(1.0, 2.5 / chunk.seconds());
      if (std::any_of(foreign.begin(), foreign.end(), [&](double x) { return std::abs(x - hz) < apart; })) {
        continue;
      }
      add_track(k, hz, foreign);
    }
  }

  CombFit run() {
    for (Track& t : tracks_) t.active = t.k <= 10;
    for (int i = 0; i < 3; ++i) step(false);
    for (int i = 0; i < 2; ++i) {
      settle();
      if (!choose_active()) return result(false);  // nothing stands out: no better start will be found here
      step(false);
      step(false);
    }
    const bool bend = chunk_.seconds() > 5.0;
    // The drift first from what stands out without it, then from what stands out with it.
    for (int i = 0; bend && i < 2; ++i) {
      settle();
      choose_active();
      step(true);
      step(true);
    }
    settle();
    return result(bend);
  }

 private:
  void add_track(std::size_t k, double hz, std::span<const double> foreign) {
    const FrameGrid& g = chunk_.grid();
    const auto bin = static_cast<std::size_t>(std::lround(hz / g.bin_hz));
    if (bin + 5 >= g.bins) return;
    Track t;
    t.k = k;
    t.bin_offset_hz = static_cast<double>(bin) * g.bin_hz - hz;
    const double gain = frame_response(t.bin_offset_hz / g.bin_hz);
    const auto z = chunk_.z(bin);
    t.y.resize(n_);
    for (std::size_t m = 0; m < n_; ++m) t.y[m] = Complex(z[m]) / gain;
    int sides = 0;
    for (const double side : {-0.5, 0.5}) {
      const double at = hz + side * f_;
      if (std::any_of(foreign.begin(), foreign.end(),
                      [&](double x) { return std::abs(x - at) < 5.5 * g.bin_hz; })) {
        continue;
      }
      const auto beside = chunk_.z(static_cast<std::size_t>(std::lround(at / g.bin_hz)));
      t.beside.resize(n_, 0.0);
      for (std::size_t m = 0; m < n_; ++m) {
        t.beside[m] += static_cast<double>(std::norm(beside[m])) / (gain * gain);
      }
      ++sides;
    }
    for (double& b : t.beside) b /= sides;
    for (const double x : foreign) {
      if (std::abs(x - hz) < 5.5 * g.bin_hz) t.lines.push_back({x, 0.0});
    }
    std::vector<double> start(t.beside);
    if (start.empty()) {
      for (const Complex& v : t.y) start.push_back(std::norm(v));
    }
    set_noise(t, start);
    tracks_.push_back(std::move(t));
  }

  // Mean over three frames (a pause between words may be no longer than that), kept from falling so low that
  // a chance dip decides everything.
  void set_noise(Track& t, const std::vector<double>& power) {
    t.weight.resize(n_);
    t.root.resize(n_);
    sorted_.resize(n_);
    for (std::size_t m = 0; m < n_; ++m) {
      const double before = power[m > 0 ? m - 1 : m];
      const double after = power[m + 1 < n_ ? m + 1 : m];
      t.weight[m] = (before + power[m] + after) / 3.0;
    }
    std::copy(t.weight.begin(), t.weight.end(), sorted_.begin());
    const auto low = sorted_.begin() + static_cast<std::ptrdiff_t>(n_ / 50);
    std::nth_element(sorted_.begin(), low, sorted_.end());
    const double floor = std::max(0.5 * *low, 1e-24);
    t.weight_sum = 0.0;
    for (std::size_t m = 0; m < n_; ++m) {
      t.weight[m] = 1.0 / std::max(t.weight[m], floor);
      t.root[m] = std::sqrt(t.weight[m]);
      t.weight_sum += t.weight[m];
    }
  }

  [[nodiscard]] Rotor rotor(const Track& t) const {
    return {static_cast<double>(t.k), f_, d_, t0_, chunk_.grid().hop_s};
  }

  // One Gauss-Newton step on f (and drift).
  void step(bool bend) {
    double n11 = 0, n12 = 0, n22 = 0, r1 = 0, r2 = 0;
    for (Track& t : tracks_) {
      if (!t.active) continue;
      Rotor rot = rotor(t);
      Complex s = 0, c1 = 0, c2 = 0;
      double x1 = 0, x2 = 0, x11 = 0, x12 = 0, x22 = 0;
      for (std::size_t m = 0; m < n_; ++m) {
        const double time = t0_ + static_cast<double>(m) * chunk_.grid().hop_s;
        const double q = t.weight[m];
        const Complex u = Rotor::multiply(t.y[m], rot.next()) * q;
        const double half_square = 0.5 * time * time;
        s += u;
        c1 += u * time;
        c2 += u * half_square;
        x1 += q * time;
        x2 += q * half_square;
        x11 += q * time * time;
        x12 += q * time * half_square;
        x22 += q * half_square * half_square;
      }
      const double q = t.weight_sum;
      t.a = s / q;
      const double w = two_pi * static_cast<double>(t.k);
      const double p = std::norm(t.a) * w * w;
      n11 += p * (x11 - x1 * x1 / q);
      n12 += p * (x12 - x1 * x2 / q);
      n22 += p * (x22 - x2 * x2 / q);
      r1 += w * (std::conj(t.a) * c1).imag();
      r2 += w * (std::conj(t.a) * c2).imag();
    }
    if (n11 <= 0.0) return;
    const double most = 0.3 / chunk_.seconds();
    const double det = n11 * n22 - n12 * n12;
    if (bend && det > 1e-9 * n11 * n22) {
      f_ += std::clamp((n22 * r1 - n12 * r2) / det, -most, most);
      d_ += std::clamp((n11 * r2 - n12 * r1) / det, -0.01, 0.01);
      d_ = std::clamp(d_, -0.02, 0.02);
      f_information_ = det / n22;
    } else {
      f_ += std::clamp(r1 / n11, -most, most);
      f_information_ = n11;
    }
  }

  // Amplitudes, lines beside them, and the noise that is left.
  void settle() {
    std::vector<double> power(n_);
    for (Track& t : tracks_) {
      for (NearLine& line : t.lines) take_out(t, line);
      std::vector<Complex> u(n_);
      Rotor rot = rotor(t);
      Complex s = 0;
      for (std::size_t m = 0; m < n_; ++m) {
        u[m] = Rotor::multiply(t.y[m], rot.next());
        s += u[m] * t.weight[m];
      }
      t.a = s / t.weight_sum;
      const double spare = 1.0 + 1.0 / std::max(1.0, independent(t) - 1.0);
      for (std::size_t m = 0; m < n_; ++m) {
        const double own = std::norm(u[m] - t.a) * spare;
        power[m] = t.beside.empty() ? own : (own + 2.0 * t.beside[m]) / 3.0;
      }
      set_noise(t, power);
    }
  }

  // A line that is not mains but shares the bin: its own amplitude is fitted in turn with the harmonic's.
  void take_out(Track& t, NearLine& line) const {
    const FrameGrid& g = chunk_.grid();
    for (int i = 0; i < 3; ++i) {
      Rotor hum = rotor(t);
      Rotor other(1.0, line.hz, 0.0, t0_, g.hop_s);
      Complex b = 0;
      Complex a = 0;
      std::vector<Complex> conj_line(n_);
      std::vector<Complex> conj_hum(n_);
      for (std::size_t m = 0; m < n_; ++m) {
        conj_line[m] = other.next();
        conj_hum[m] = hum.next();
        a += Rotor::multiply(t.y[m], conj_hum[m]) * t.weight[m];
      }
      a /= t.weight_sum;
      for (std::size_t m = 0; m < n_; ++m) {
        b += Rotor::multiply(t.y[m] - Rotor::multiply(a, std::conj(conj_hum[m])), conj_line[m]) * t.weight[m];
      }
      b /= t.weight_sum;
      for (std::size_t m = 0; m < n_; ++m) t.y[m] -= Rotor::multiply(b, std::conj(conj_line[m]));
      line.a += b;
    }
  }

  // Number of independent samples the weights amount to.
  [[nodiscard]] double independent(const Track& t) const {
    double sum = 0.0;
    for (int d = 0; d < 4; ++d) {
      const double lag = lagged(t.weight, static_cast<std::size_t>(d));
      sum += (d == 0 ? 1.0 : 2.0) * frame_correlation(d) * lag;
    }
    return t.weight_sum * t.weight_sum / sum;
  }

  // Which harmonics stand out enough to steer the frequency; false when none does.
  bool choose_active() {
    bool any = false;
    for (Track& t : tracks_) {
      t.active = std::norm(t.a) > 9.0 * model_variance(t);
      any = any || t.active;
    }
    return any;
  }

  // Variance of the weighted mean: overlapping frames share samples, so neighbours count.
  [[nodiscard]] double model_variance(const Track& t) const {
    double sum = 0.0;
    for (int d = 0; d < 4; ++d) {
      const double lag = lagged(t.root, static_cast<std::size_t>(d));
      const double turn = std::cos(two_pi * t.bin_offset_hz * static_cast<double>(d) * chunk_.grid().hop_s);
      sum += (d == 0 ? 1.0 : 2.0) * frame_correlation(d) * turn * lag;
    }
    return weight_penalty(independent(t)) * sum / (t.weight_sum * t.weight_sum);
  }

  // Variance from how the harmonic's amplitude differs from one part of the stretch to the next: honest also
  // where what disturbs is no noise but a voice that holds its pitch.
  [[nodiscard]] double group_variance(const Track& t, std::size_t groups) const {
    Rotor rot = rotor(t);
    double sum = 0.0;
    for (std::size_t g = 0; g < groups; ++g) {
      const std::size_t to = (g + 1) * n_ / groups;
      Complex s = 0;
      double q = 0;
      for (std::size_t m = g * n_ / groups; m < to; ++m) {
        s += Rotor::multiply(t.y[m], rot.next()) * t.weight[m];
        q += t.weight[m];
      }
      sum += std::norm(s - t.a * q) / (t.weight_sum * t.weight_sum);
    }
    return sum * static_cast<double>(groups) / static_cast<double>(groups - 1);
  }

  [[nodiscard]] CombFit result(bool bend) {
    CombFit fit;
    fit.f0_hz = f_;
    fit.drift_hz_per_s = bend ? d_ : 0.0;
    fit.harmonics.resize(count_);
    const std::size_t groups = std::clamp<std::size_t>(n_ / 6, 2, groups_wanted);
    const double leak = leak_floor * chunk_.strongest();
    double excess = 0.0;
    double excess_weight = 0.0;
    for (Track& t : tracks_) {
      Harmonic& h = fit.harmonics[t.k - 1];
      h.used = true;
      Rotor rot = rotor(t);
      Complex s = 0;
      for (std::size_t m = 0; m < n_; ++m) s += Rotor::multiply(t.y[m], rot.next()) * t.weight[m];
      t.a = h.a = s / t.weight_sum;
      const double model = model_variance(t);
      const double by_group = group_variance(t, groups);
      double spare = independent(t) - 1.0;
      h.variance = model;
      if (by_group > 1.7 * model) {
        h.variance = by_group;
        spare = std::min(spare, static_cast<double>(groups - 1));
      }
      h.variance += leak * leak;
      spare = std::max(spare, 0.5);
      h.evidence = spare * std::log1p(std::norm(h.a) / h.variance / spare);
      if (t.active) {
        const double w = std::norm(t.a) * static_cast<double>(t.k * t.k) * t.weight_sum;
        excess += w * h.variance / model * weight_penalty(independent(t));
        excess_weight += w;
      }
      // The frames were scaled for the frequency the fit started from; the level is that at the one it found.
      const double moved = static_cast<double>(t.k) * (f_ - start_hz_);
      const double bin_hz = chunk_.grid().bin_hz;
      const double scale =
          frame_response(t.bin_offset_hz / bin_hz) / frame_response((t.bin_offset_hz - moved) / bin_hz);
      h.a *= scale;
      h.variance *= scale * scale;
    }
    // The normal equations took frames as independent; they overlap (and may hold more than noise).
    double overlap = 1.0;
    for (int d = 1; d < 4; ++d) overlap += 2.0 * frame_correlation(d);
    const double factor = overlap * (excess_weight > 0 ? excess / excess_weight : 1.0);
    fit.f0_variance = f_information_ > 0 ? factor / (2.0 * f_information_) : 1.0;
    judge(fit);
    return fit;
  }

  void judge(CombFit& fit) const {
    // Chances grow with the number of separate frequencies tried.
    const double trials = std::log(20.0 * chunk_.seconds() + 1.0);
    int strong = 0;
    int fair = 0;
    std::size_t common = 0;  // greatest common divisor of the harmonics seen
    bool alone = false;
    for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
      const Harmonic& h = fit.harmonics[i];
      if (!h.used) continue;
      fit.score += std::clamp(h.evidence - 9.0, 0.0, 60.0);
      if (h.evidence > 9.0) common = std::gcd(common, i + 1);
      strong += h.evidence > 9.0 + trials ? 1 : 0;
      fair += h.evidence > 6.0 + trials ? 1 : 0;
      // A single line is mains at the fundamental; at twice it (rectifier ripple) only where public mains
      // runs.
      const bool public_mains = std::abs(fit.f0_hz - 50.0) < 1.0 || std::abs(fit.f0_hz - 60.0) < 1.2;
      if ((i == 0 || (i == 1 && public_mains)) && h.evidence > 13.0 + trials) alone = true;
    }
    // Only even multiples: ripple, if mains may run there. Only multiples of three and more: somebody's tone.
    const bool near_mains = std::abs(fit.f0_hz - 50.0) < 2.5 || std::abs(fit.f0_hz - 60.0) < 3.0;
    const bool mains_pattern = common == 1 || (common == 2 && near_mains);
    fit.found = mains_pattern && (alone || strong >= 2 || fair >= 3);
  }

  const HumChunk& chunk_;
  double start_hz_;
  double f_;
  double d_ = 0;
  double t0_ = 0;
  std::size_t n_ = 0;
  std::size_t count_ = 0;
  double f_information_ = 0;
  std::vector<Track> tracks_;
  std::vector<double> sorted_;
};

}  // namespace

CombFit fit_comb(const HumChunk& chunk, double start_hz, std::span<const double> foreign) {
  return Fit(chunk, start_hz, foreign).run();
}

}  // namespace linebench::measure
