// The joint fit of a mains comb. Model of the frames: harmonic k puts A_k exp(i 2 pi k turns(t)) into its
// bin; the path turns(t) and all A_k are unknown, the A_k afresh in each piece of the stretch. Gauss-Newton
// on the path with the A_k eliminated, each frame of each bin weighted by the noise found there, so that
// under speech the pauses carry the result.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

#include "hum_chunk.hpp"
#include "hum_frames.hpp"
#include "hum_path.hpp"
#include "hum_pieces.hpp"
#include "hum_track.hpp"
#include "hum_wander.hpp"

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::size_t most_harmonics = 40;
// What the window's side lobes leave of the strongest line after it has been taken out.
constexpr double leak_floor = 1e-6;
constexpr double steady_drift_hz_per_s = 0.02;
// Evidence (-ln of a chance) that each further term of the path has to bring.
constexpr double evidence_per_term = 6.0;
constexpr double evidence_per_amplitude = 5.0;
constexpr double present_share = 0.1;
constexpr int wandering_terms = 8;
// In less than this the mains does not change its frequency by anything to be seen.
constexpr double shortest_bend_s = 5.0;
// How well the gain of the frames (decimator, window) is known, as a share of the power.
constexpr double gain_u = 1e-5;
// The same where the mains moves by a tenth of a hertz or more, and how well in time (in hops) its mean is
// taken: found by simulation.
constexpr double moving_gain_u = 5e-4;
constexpr double moving_time_u = 0.1;

class Fit {
 public:
  Fit(const HumChunk& chunk, PhasePath path, std::span<const double> foreign)
      : chunk_(chunk), path_(std::move(path)), n_(chunk.frames()), start_hz_(path_.hz(n_ / 2)) {
    const double highest = path_.highest_hz();
    count_ = std::min(static_cast<std::size_t>(chunk.grid().top_hz / highest), most_harmonics);
    const double apart = std::max(1.0, 2.5 / chunk.seconds());
    for (std::size_t k = 1; k <= count_; ++k) {
      const double hz = static_cast<double>(k) * start_hz_;
      if (std::any_of(foreign.begin(), foreign.end(), [&](double x) { return std::abs(x - hz) < apart; })) {
        continue;
      }
      HumTrack t(chunk, k, path_, foreign);
      if (t.usable()) tracks_.push_back(std::move(t));
    }
    pieces_ = make_pieces(std::vector<std::size_t>{0, n_});
  }

  CombFit run() {
    activate(10);
    each_turned([this](HumTrack& t, std::span<const Complex> p) { t.take_lines_out(p, pieces_); });
    turn();
    cut(false);
    for (int i = 0; i < 3; ++i) step(1);
    turn();
    cut();
    for (int i = 0; i < 2; ++i) {
      settle();
      if (!choose_active()) return result(1);  // nothing stands out: no better start will be found here
      step(1);
      step(1);
    }
    const bool bend = chunk_.seconds() > shortest_bend_s;
    // The drift first from what stands out without it, then from what stands out with it.
    for (int i = 0; bend && i < 2; ++i) {
      settle();
      cut();
      choose_active();
      step(2);
      step(2);
    }
    const int terms = bend ? wander(2) : 1;
    finish();
    return result(terms);
  }

  // From a path that is roughly known already: low harmonics, which bear more error, first.
  CombFit run_wandering(int terms) {
    for (const std::size_t top : {2U, 4U, 8U}) {
      activate(top);
      for (int i = 0; i < 4; ++i) step(terms);
    }
    turn();
    cut();
    for (int i = 0; i < 2; ++i) {
      settle();
      if (!choose_active()) return result(terms);
      step(terms);
      step(terms);
    }
    for (HumTrack& t : tracks_) t.reload(chunk_, path_);
    terms = wander(terms);
    turn();
    cut();
    finish();
    return result(terms);
  }

 private:
  void activate(std::size_t top) {
    for (HumTrack& t : tracks_) t.active = t.k() <= top;
  }

  // Calls f(track, phasors of its harmonic) in turn.
  template <class F>
  void each_turned(F f, std::size_t highest = most_harmonics) {
    const std::vector<Complex> base = path_.phasors();
    std::vector<Complex> power(n_, Complex(1.0, 0.0));
    std::size_t k = 0;
    for (HumTrack& t : tracks_) {
      if (t.k() > highest) break;
      for (; k < t.k(); ++k) {
        for (std::size_t m = 0; m < n_; ++m) power[m] = dsp::product(power[m], base[m]);
      }
      f(t, power);
    }
  }

  void turn() {
    each_turned([](HumTrack& t, std::span<const Complex> p) { t.turn_back(p); });
  }

  void settle() {
    each_turned([this](HumTrack& t, std::span<const Complex> p) { t.settle(p, pieces_); });
  }

  void cut(bool check = true) {
    std::vector<PieceSums> sums;
    for (const HumTrack& t : tracks_) {
      if (t.k() <= 10) sums.push_back(t.sums());
    }
    std::vector<std::size_t> borders = find_borders(sums, n_);
    pieces_ = make_pieces(borders);
    // A voice that holds its pitch looks like a change until its own unsteadiness is counted as noise.
    // (Before the frequency is settled, hum would look as unsteady.)
    while (check && borders.size() > 2) {
      std::size_t least = 1;
      double evidence = change(1);
      for (std::size_t i = 2; i + 1 < borders.size(); ++i) {
        const double e = change(i);
        if (e < evidence) {
          evidence = e;
          least = i;
        }
      }
      if (stands(evidence)) break;
      borders.erase(borders.begin() + static_cast<std::ptrdiff_t>(least));
      pieces_ = make_pieces(borders);
    }
  }

  // Evidence for a change between a piece and the one before it.
  [[nodiscard]] double change(std::size_t piece) const {
    double sum = 0.0;
    for (const HumTrack& t : tracks_) {
      if (t.k() > 10) break;
      const auto a = t.checked_mean(pieces_[piece - 1]);
      const auto b = t.checked_mean(pieces_[piece]);
      const double spare = std::min(a.spare, b.spare);
      sum += evidence_of_change(spare * std::log1p(std::norm(a.a - b.a) / (a.variance + b.variance) / spare));
    }
    return sum;
  }

  // The frames were scaled for the frequency the fit started from; the level is that at the one it found.
  void finish() {
    for (HumTrack& t : tracks_) t.reload(chunk_, path_);
    each_turned([this](HumTrack& t, std::span<const Complex> p) { t.take_lines_out(p, pieces_); });
    settle();
  }

  // One Gauss-Newton step on the first terms of the path.
  void step(int terms) {
    std::size_t highest = 0;
    for (const HumTrack& t : tracks_) {
      if (t.active) highest = t.k();
    }
    each_turned(
        [](HumTrack& t, std::span<const Complex> p) {
          if (t.active) t.turn_back(p);
        },
        highest);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(terms, terms);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(terms);
    Eigen::VectorXcd c(terms);
    Eigen::VectorXd x(terms);
    Eigen::MatrixXd xx(terms, terms);
    for (const HumTrack& t : tracks_) {
      if (!t.active) continue;
      for (const Piece& piece : pieces_) {
        Complex s = 0;
        double q = 0;
        c.setZero();
        x.setZero();
        xx.setZero();
        const double* w_of = t.weights().data();
        const Complex* u_of = t.turned().data();
        for (std::size_t m = piece.first; m < piece.last; ++m) {
          s += u_of[m] * w_of[m];
          q += w_of[m];
        }
        for (int i = 0; i < terms; ++i) {
          const double* b = path_.frames_of(i + 1);
          Complex ub = 0;
          for (std::size_t m = piece.first; m < piece.last; ++m) {
            const double wb = w_of[m] * b[m];
            ub += u_of[m] * wb;
            x[i] += wb;
          }
          c[i] = ub;
          for (int j = 0; j <= i; ++j) {
            const double* a = path_.frames_of(j + 1);
            double sum = 0;
            for (std::size_t m = piece.first; m < piece.last; ++m) sum += w_of[m] * b[m] * a[m];
            xx(i, j) = sum;
          }
        }
        const Complex a = s / q;
        const double w = two_pi * static_cast<double>(t.k());
        const double p = std::norm(a) * w * w;
        for (int i = 0; i < terms; ++i) {
          right[i] += w * (std::conj(a) * c[i]).imag();
          for (int j = 0; j <= i; ++j) normal(i, j) += p * (xx(i, j) - x[i] * x[j] / q);
        }
      }
    }
    for (int i = 0; i < terms; ++i) {
      for (int j = 0; j < i; ++j) normal(j, i) = normal(i, j);
    }
    if (normal(0, 0) <= 0.0) return;
    normal.diagonal() *= 1.0 + 1e-9;
    information_ = normal;
    Eigen::VectorXd move = normal.ldlt().solve(right);
    if (!move.allFinite()) return;
    for (double& v : move) v = std::clamp(v, -0.15, 0.15);
    path_.add(move);
    if (terms == 2) path_.limit_drift(steady_drift_hz_per_s);
  }

  // Which harmonics stand out enough to steer the frequency; false when none does.
  bool choose_active() {
    bool any = false;
    for (HumTrack& t : tracks_) {
      t.active = std::any_of(pieces_.begin(), pieces_.end(), [&](const Piece& p) {
        const auto m = t.mean(p);
        return std::norm(m.a) > 9.0 * m.model;
      });
      any = any || t.active;
    }
    return any;
  }

  [[nodiscard]] double energy() const {
    double sum = 0.0;
    for (const HumTrack& t : tracks_) {
      if (!t.active) continue;
      for (const Piece& p : pieces_) sum += t.explained(p);
    }
    return sum;
  }

  // What the active harmonics leave, over noise: much more than 1 where they do not follow the path.
  [[nodiscard]] double misfit() const {
    double sum = 0.0;
    double weight = 0.0;
    for (const HumTrack& t : tracks_) {
      if (!t.active) continue;
      for (const Piece& p : pieces_) {
        const auto frames = static_cast<double>(p.last - p.first);
        sum += frames * t.left(p);
        weight += frames;
      }
    }
    return weight > 0.0 ? sum / weight : 1.0;
  }

  // More terms, as long as they explain more than chance would. Returns how many.
  int wander(int terms) {
    double before = energy();
    int failures = 0;
    for (int more = terms + 2; more <= PhasePath::most_terms && failures < 2; more += 2) {
      if (before < 40.0) break;
      const PhasePath kept = path_;
      const Eigen::MatrixXd known = information_;
      for (int i = 0; i < 3; ++i) step(more);
      turn();
      const double after = energy();
      if (after > before + evidence_per_term * static_cast<double>(more - terms) + 0.002 * before) {
        terms = more;
        before = after;
        failures = 0;
        settle();
        choose_active();
        before = energy();
      } else {
        path_ = kept;
        information_ = known;
        turn();
        ++failures;
      }
    }
    return terms;
  }

  CombFit result(int terms);
  void fill_spans(CombFit& fit, const std::vector<std::vector<HumTrack::Mean>>& means) const;
  [[nodiscard]] double border(const std::vector<std::vector<HumTrack::Mean>>& means, std::size_t after) const;

  const HumChunk& chunk_;
  PhasePath path_;
  std::size_t n_;
  double start_hz_;
  std::size_t count_ = 0;
  std::vector<HumTrack> tracks_;
  std::vector<Piece> pieces_;
  Eigen::MatrixXd information_;
};

// Where between two frames the level changed: each frame sees so much of the window on the far side, and the
// windows add up to one.
double Fit::border(const std::vector<std::vector<HumTrack::Mean>>& means, std::size_t after) const {
  constexpr std::size_t reach = 6;
  const std::size_t at = pieces_[after].from;
  double seen = 0.0;
  double whole = 0.0;
  for (std::size_t i = 0; i < tracks_.size(); ++i) {
    const auto& a = means[i][after - 1];
    const auto& b = means[i][after];
    const Complex change = b.a - a.a;
    const double w = 1.0 / (a.model + b.model);
    for (std::size_t m = at - reach; m < at + reach; ++m) {
      seen += w * ((tracks_[i].turned()[m] - a.a) * std::conj(change)).real();
    }
    whole += w * std::norm(change);
  }
  const double frames = whole > 0.0 ? seen / whole : static_cast<double>(reach);
  return static_cast<double>(at) - 0.5 + std::clamp(static_cast<double>(reach) - frames, -2.0, 2.0);
}

void Fit::fill_spans(CombFit& fit, const std::vector<std::vector<HumTrack::Mean>>& means) const {
  std::vector<double> at{-2.0};
  for (std::size_t p = 1; p < pieces_.size(); ++p) at.push_back(border(means, p));
  at.push_back(static_cast<double>(n_) + 1.0);
  for (std::size_t p = 0; p < pieces_.size(); ++p) {
    HumSpan s{chunk_.time_s(at[p]), chunk_.time_s(at[p + 1]), 0.0};
    for (std::size_t i = 0; i < tracks_.size(); ++i) {
      const auto& m = means[i][p];
      if (std::norm(m.a) > 9.0 * m.variance) s.power += 0.5 * (std::norm(m.a) - m.variance);
    }
    fit.spans.push_back(s);
  }
  // A quarter of a hop is more than the border is uncertain by once it is seen at all.
  const double u = 0.25 * chunk_.grid().hop_s / chunk_.seconds();
  for (std::size_t p = 1; p < fit.spans.size(); ++p) {
    fit.border_variance += std::pow(u * (fit.spans[p].power - fit.spans[p - 1].power), 2.0);
  }
}

CombFit Fit::result(int terms) {
  CombFit fit;
  fit.harmonics.resize(count_);
  const double leak = leak_floor * chunk_.strongest();
  std::vector<std::vector<HumTrack::Mean>> means;
  for (const HumTrack& t : tracks_) {
    means.emplace_back();
    for (const Piece& p : pieces_) {
      means.back().push_back(t.checked_mean(p));
      means.back().back().variance += leak * leak;
    }
  }
  fill_spans(fit, means);
  const double gain = gain_u + moving_gain_u * std::min(1.0, 10.0 * (path_.highest_hz() - path_.lowest_hz()));
  double excess = 0.0;
  double excess_weight = 0.0;
  for (std::size_t i = 0; i < tracks_.size(); ++i) {
    const HumTrack& t = tracks_[i];
    CombHarmonic& h = fit.harmonics[t.k() - 1];
    h.used = true;
    if (t.k() <= 7) fit.hidden_power += t.power_beyond_noise();
    double known = 0.0;
    double best = 0.0;
    for (std::size_t p = 0; p < pieces_.size(); ++p) {
      const auto& m = means[i][p];
      const double share = (fit.spans[p].to_s - fit.spans[p].from_s) / chunk_.seconds();
      h.power += share * 0.5 * (std::norm(m.a) - m.variance);
      const double v = 0.5 * std::norm(m.a) * m.variance;
      const double least = 0.25 * m.variance * m.variance;
      h.power_variance += share * share * std::max(v - least, least);
      known += 1.0 / m.variance;
      best = std::max(best, m.spare * std::log1p(std::norm(m.a) / m.variance / m.spare));
      fit.quality += std::max(0.0, std::norm(m.a) / m.model - 1.0);
      if (t.active) {
        const double w = std::norm(m.a) * static_cast<double>(t.k() * t.k()) * m.weight;
        excess += w * m.variance / m.model;
        excess_weight += w;
      }
    }
    h.power_variance += gain * gain * h.power * h.power;
    h.variance = 1.0 / known;
    h.evidence = best;
  }
  const auto borders = static_cast<double>(pieces_.size() - 1);
  fit.excess = excess_weight > 0.0 ? excess / excess_weight : 1.0;
  fit.misfit = misfit();
  fit.quality -=
      evidence_per_term * terms + evidence_per_amplitude * static_cast<double>(tracks_.size()) * borders;

  double most = 0.0;
  for (const HumSpan& s : fit.spans) most = std::max(most, s.power);
  Eigen::VectorXd by_term = Eigen::VectorXd::Zero(terms);
  double time = 0.0;
  fit.lowest_hz = path_.highest_hz();
  for (std::size_t p = 0; p < pieces_.size(); ++p) {
    if (fit.spans[p].power < present_share * most) continue;
    // The outer frames reach two hops further out.
    const double from = p == 0 ? -2.0 : static_cast<double>(pieces_[p].from) - 0.5;
    const double to =
        p + 1 == pieces_.size() ? static_cast<double>(n_) + 1.0 : static_cast<double>(pieces_[p].to) - 0.5;
    fit.f0_hz += (to - from) * path_.mean_hz(from, to);
    by_term += (to - from) * path_.mean_hz_by_term(from, to, terms);
    time += to - from;
    for (std::size_t m = pieces_[p].from; m < pieces_[p].to; m += 4) {
      fit.lowest_hz = std::min(fit.lowest_hz, path_.hz(m));
      fit.highest_hz = std::max(fit.highest_hz, path_.hz(m));
    }
  }
  fit.f0_hz /= time;
  by_term /= time;
  // The normal equations took frames as independent; they overlap (and may hold more than noise). Their
  // weights are no better than those of the amplitudes.
  fit.f0_variance = 1.0;
  if (information_.rows() == terms) {
    const Eigen::VectorXd solved = information_.ldlt().solve(by_term);
    const double penalty = 1.22;
    const double v = frame_overlap() * fit.excess * penalty * by_term.dot(solved) / 2.0;
    const double moved =
        (fit.highest_hz - fit.lowest_hz) * moving_time_u * chunk_.grid().hop_s / chunk_.seconds();
    if (std::isfinite(v) && v > 0.0) fit.f0_variance = v + moved * moved;
  }
  judge(fit, chunk_.seconds(), std::log(1.0 + 10.0 * borders) * 2.0);
  return fit;
}

}  // namespace

bool clearly_better(const CombFit& a, const CombFit& b) {
  if (!a.found || a.quality < b.quality + 15.0) return false;
  return a.quality > 1.05 * b.quality || a.misfit < 0.5 * b.misfit;
}

CombFit fit_comb(const HumChunk& chunk, double start_hz, std::span<const double> foreign) {
  const PhasePath start(chunk.frames(), chunk.grid().hop_s, start_hz);
  CombFit fit = Fit(chunk, start, foreign).run();
  if (!fit.found || !fit.wants_another() || chunk.seconds() < shortest_bend_s) return fit;
  CombFit unbroken = Fit(chunk, start, foreign).run_wandering(wandering_terms);
  return clearly_better(unbroken, fit) ? unbroken : fit;
}

CombFit fit_wandering_comb(const HumChunk& chunk, const CombSearch& search, std::span<const double> foreign) {
  const auto path = likely_path(chunk, search, foreign, wandering_terms);
  if (!path) return {};
  CombFit fit = Fit(chunk, *path, foreign).run_wandering(wandering_terms);
  judge(fit, chunk.seconds(), 12.0);
  return fit;
}

}  // namespace linebench::measure
