#include "hum_core.hpp"

#include <algorithm>
#include <cmath>

namespace linebench::measure {
namespace {

constexpr double stretch_s = 10.0;
// A last stretch shorter than this adds too little to be fitted by itself.
constexpr double least_tail_s = 2.5;
constexpr double search_share = 0.06;
// Twelve hours of stretches; beyond, the frequency is that of the first twelve hours.
constexpr std::size_t most_stretches = 4320;
// A multiple this far above all others together is a tone, not mains.
constexpr double lone_power_ratio = 20.0;
// A comb this certain needs no second opinion.
constexpr double clear_score = 60.0;

std::size_t capacity_for(const FrameGrid& grid) {
  return static_cast<std::size_t>(std::lround(stretch_s / grid.hop_s));
}

// hz, 2 hz, 3 hz ... under top_hz, as far as they matter.
void add_multiples(std::vector<double>& list, double hz, double top_hz) {
  const auto count = std::min<std::size_t>(200, static_cast<std::size_t>(top_hz / hz));
  for (std::size_t m = 1; m <= count; ++m) list.push_back(static_cast<double>(m) * hz);
}

CombSearch search_for(const HumOptions& options) {
  CombSearch s;
  if (options.mains_hz) {
    s.low_hz = std::max(s.low_hz, *options.mains_hz * (1.0 - search_share));
    s.high_hz = std::min(s.high_hz, *options.mains_hz * (1.0 + search_share));
  }
  return s;
}

HumKind kind_of(const HumResult& r) {
  if (!r.found) return HumKind::None;
  double first = 0.0;
  double even = 0.0;
  double high = 0.0;
  bool odd_high = false;
  bool even_high = false;
  for (const HumHarmonic& h : r.harmonics) {
    if (h.number == 1) first += h.power;
    if (h.number % 2 == 0) even += h.power;
    if (h.number >= 4) {
      high += h.power;
      const bool counts = h.power > 0.003 * r.power;
      odd_high = odd_high || (counts && h.number % 2 == 1);
      even_high = even_high || (counts && h.number % 2 == 0);
    }
  }
  if (first >= 0.7 * r.power) return HumKind::Fundamental;
  if (even >= 0.7 * r.power) return HumKind::Ripple;
  if (high >= 0.25 * r.power && odd_high && even_high && r.harmonics.size() >= 6) return HumKind::Buzz;
  return HumKind::Mixed;
}

}  // namespace

HumCore::HumCore(const FrameGrid& grid, const HumOptions& options)
    : options_(options), search_(search_for(options)), chunk_(grid, capacity_for(grid)) {}

void HumCore::frame(std::span<const std::complex<float>> bins) {
  if (!std::isfinite(bins[0].real()) || !std::isfinite(bins[bins.size() / 2].real())) return;
  chunk_.add(bins);
  if (chunk_.full()) process();
}

std::vector<double> HumCore::tone_multiples() {
  std::vector<double> multiples;
  if (!options_.tone_hz || *options_.tone_hz <= 0.0) return multiples;
  double hz = *options_.tone_hz;
  for (const SteadyLine& line : chunk_.lines()) {
    if (std::abs(line.hz - hz) < 0.005 * hz + 0.5 / chunk_.seconds()) {
      hz = line.hz;
      break;
    }
  }
  add_multiples(multiples, hz, chunk_.grid().top_hz);
  return multiples;
}

std::vector<double> HumCore::foreign_for(double f0, std::vector<double> foreign) const {
  const double own = std::max(0.3, 1.2 / chunk_.seconds());
  for (const SteadyLine& line : chunk_.lines()) {
    const double k = std::max(1.0, std::round(line.hz / f0));
    if (std::abs(line.hz - k * f0) > own) foreign.push_back(line.hz);
  }
  return foreign;
}

CombFit HumCore::best_fit(std::vector<double>& foreign) {
  const bool on_track = track_hz_ > 0.0;
  CombFit best;
  double best_start = 0.0;
  const auto attempt = [&](double start) {
    CombFit fit = fit_comb(chunk_, start, foreign_for(start, foreign));
    if (std::abs(fit.f0_hz - start) > 1.0 / chunk_.seconds() + 0.05) fit.found = false;  // ran away
    if (best.harmonics.empty() || (fit.found && !best.found) ||
        (fit.found == best.found && fit.score > best.score)) {
      best = std::move(fit);
      best_start = start;
    }
  };
  if (on_track) attempt(track_hz_);
  // A comb that goes on as before needs no rival.
  if (!best.found) {
    for (const double start : likely_fundamentals(chunk_, search_, foreign, 2)) {
      if (on_track && std::abs(start - track_hz_) < 0.05) continue;
      attempt(start);
      if (best.found && best.score > clear_score) break;
    }
  }
  if (!best.found) return best;
  // A tone nobody announced that happens to fall on a high multiple.
  double total = 0.0;
  for (const Harmonic& h : best.harmonics) total += h.used && h.evidence > 9.0 ? std::norm(h.a) : 0.0;
  for (std::size_t i = 3; i < best.harmonics.size(); ++i) {
    const Harmonic& h = best.harmonics[i];
    if (!h.used || std::norm(h.a) < lone_power_ratio * (total - std::norm(h.a))) continue;
    const double hz = best.f0_hz * static_cast<double>(i + 1);
    add_multiples(foreign, hz, chunk_.grid().top_hz);
    best = fit_comb(chunk_, best_start, foreign_for(best_start, foreign));
    break;
  }
  return best;
}

void HumCore::note_left_out(const CombFit& fit, std::span<const double> foreign) {
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const double hz = fit.f0_hz * static_cast<double>(i + 1);
    if (fit.harmonics[i].used || hz > chunk_.grid().top_hz - 6.0 * chunk_.grid().bin_hz) continue;
    if (std::find(left_out_.begin(), left_out_.end(), i + 1) == left_out_.end()) left_out_.push_back(i + 1);
    if (left_out_hz_ <= 0.0 && !foreign.empty()) left_out_hz_ = foreign.front();
  }
}

void HumCore::restart_track() {
  sums_.clear();
  stretches_.clear();
  left_out_.clear();
  left_out_hz_ = 0;
  found_seconds_ = track_seconds_ = track_score_ = 0;
}

void HumCore::take(const CombFit& fit) {
  const double t = chunk_.seconds();
  track_hz_ = fit.f0_hz;
  track_seconds_ += t;
  track_score_ += fit.score;
  if (fit.found) {
    found_seconds_ += t;
    if (stretches_.size() < most_stretches) stretches_.push_back({fit.f0_hz, fit.f0_variance, t});
  }
  if (sums_.size() < fit.harmonics.size()) sums_.resize(fit.harmonics.size());
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const Harmonic& h = fit.harmonics[i];
    if (!h.used) continue;
    Sums& s = sums_[i];
    s.power_time += t * 0.5 * (std::norm(h.a) - h.variance);
    const double v = 0.5 * std::norm(h.a) * h.variance;
    s.variance_time += t * t * (std::max(v - 0.25 * h.variance * h.variance, 0.25 * h.variance * h.variance));
    s.evidence += h.evidence;
    s.chunks += 1.0;
  }
}

void HumCore::process() {
  chunk_.prepare();
  const double t = chunk_.seconds();
  seconds_ += t;
  std::vector<double> foreign = tone_multiples();
  const CombFit fit = best_fit(foreign);
  for (std::size_t k = 0; k < low_variance_time_.size() && k < fit.harmonics.size(); ++k) {
    if (!fit.harmonics[k].used) continue;
    low_variance_time_[k] += t * fit.harmonics[k].variance;
    low_time_[k] += t;
  }
  if (!fit.harmonics.empty()) {
    const bool same = track_hz_ > 0.0 && std::abs(fit.f0_hz - track_hz_) < 0.1 + 1.0 / t;
    if (same) {
      take(fit);
    } else if (fit.found && fit.score > track_score_) {
      restart_track();
      take(fit);
    }
    if (fit.found && (same || track_seconds_ == t)) note_left_out(fit, foreign);
  }
  chunk_.clear();
}

HumResult HumCore::finish() {
  const double tail = chunk_.seconds();
  const bool tail_counts =
      seconds_ > 0.0 ? tail >= least_tail_s : tail >= shortest_hum_s && chunk_.frames() >= 7;
  if (tail_counts) process();
  HumResult r;
  r.seconds = seconds_;
  if (seconds_ <= 0.0) {
    r.seconds = chunk_.frames() > 0 ? tail : 0.0;
    r.too_short = true;
    return r;
  }
  const double trials = std::log(20.0 * std::min(seconds_, stretch_s) + 1.0);
  // What a lone fundamental needs to be believed (hum_fit.cpp), turned from evidence into amplitude over
  // noise, and two sigma more so that it is not missed by bad luck.
  const double spare = std::max(1.0, std::min(seconds_, stretch_s) / (2.9 * chunk_.grid().hop_s) - 1.0);
  const double needed = spare * std::expm1((13.0 + trials) / spare);
  const double margin = std::pow(std::sqrt(needed) + std::sqrt(2.0), 2.0);
  for (std::size_t k = 0; k < low_time_.size(); ++k) {
    if (low_time_[k] > 0.0) {
      r.least_power = std::max(r.least_power, 0.5 * margin * low_variance_time_[k] / low_time_[k]);
    }
  }
  r.least_power = std::max(r.least_power, 1e-16);
  r.found = found_seconds_ > 0.0 && found_seconds_ >= 0.34 * seconds_;
  if (!r.found) return r;

  double weight = 0.0;
  double mean = 0.0;
  double scatter = 0.0;
  double claimed = 0.0;
  for (const Stretch& s : stretches_) mean += s.hz / static_cast<double>(stretches_.size());
  for (const Stretch& s : stretches_) {
    scatter += (s.hz - mean) * (s.hz - mean);
    claimed += s.variance;
  }
  // Mains wanders: what the stretches differ by beyond their noise must not let a few of them decide the
  // mean.
  const auto n = static_cast<double>(stretches_.size());
  const double wander = n > 1 ? std::max(0.0, scatter / (n - 1.0) - claimed / n) : 0.0;
  double variance = 0.0;
  for (const Stretch& s : stretches_) {
    const double w = s.seconds / (s.variance + wander + 1e-18);
    weight += w;
    r.frequency_hz += w * s.hz;
    variance += w * w * s.variance;
  }
  r.frequency_hz /= weight;
  const double unseen = std::max(0.0, 1.0 - found_seconds_ / seconds_);
  r.frequency_u = std::sqrt(variance / (weight * weight) + wander * unseen / n);

  double power_variance = 0.0;
  for (std::size_t i = 0; i < sums_.size(); ++i) {
    const Sums& s = sums_[i];
    if (s.chunks < 1.0) continue;
    const double p = s.power_time / track_seconds_;
    const double v = s.variance_time / (track_seconds_ * track_seconds_);
    power_variance += v;
    if (s.evidence > s.chunks + 4.0 * std::sqrt(s.chunks) + 4.0 && p > 0.0) {
      r.harmonics.push_back({i + 1, p, std::sqrt(v)});
      r.power += p;
    }
  }
  r.power_u = std::sqrt(power_variance);
  r.found = r.power > 0.0;
  r.kind = kind_of(r);
  std::sort(left_out_.begin(), left_out_.end());
  r.left_out = left_out_;
  if (!left_out_.empty() && left_out_hz_ > 0.0) r.left_out_for_hz = left_out_hz_;
  return r;
}

}  // namespace linebench::measure
