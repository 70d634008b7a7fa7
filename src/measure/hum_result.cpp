// What the stretches amount to.
#include <algorithm>
#include <cmath>
#include <linebench/standards/weighting.hpp>

#include "hum_core.hpp"

namespace linebench::measure {
namespace {

constexpr double longest_stretch_s = 10.0;
constexpr double least_tail_s = 2.5;
// Found in this share of the channel, or once beyond doubt.
constexpr double enough_share = 0.34;
constexpr double beyond_doubt = 60.0;
constexpr double smallest_power = 1e-16;
constexpr double present_share = 0.1;
constexpr double join_s = 0.2;
// A comb that is still there in so many of its top harmonics goes on above them.
constexpr std::size_t top_harmonics = 10;
constexpr int fewest_on_top = 3;
// Hum spread over several harmonics, or there in part of the time, needs more power to be found than a steady
// fundamental: by simulation.
constexpr double spread_allowance = 2.0;

// What an ear takes for a buzz is what it hears: the harmonics weighed by the A curve [IEC 61672-1], which
// takes 30 dB off a 50 Hz fundamental and 3 dB off its twentieth harmonic.
HumKind kind_of(const HumResult& r) {
  if (!r.found) return HumKind::None;
  constexpr std::size_t first_high = 4;
  constexpr double counted_share = 0.003;
  constexpr int fewest_high = 3;
  double first = 0.0;
  double even = 0.0;
  double heard = 0.0;
  double heard_high = 0.0;
  int high = 0;
  bool odd_high = false;
  for (const HumHarmonic& h : r.harmonics) {
    if (h.number == 1) first += h.power;
    if (h.number % 2 == 0) even += h.power;
    const double loud =
        h.power *
        std::pow(10.0, 0.1 * standards::a_weighting_db(r.frequency_hz * static_cast<double>(h.number)));
    heard += loud;
    if (h.number < first_high) continue;
    heard_high += loud;
    if (h.power < counted_share * r.power) continue;
    ++high;
    odd_high = odd_high || h.number % 2 == 1;
  }
  if (first >= 0.7 * r.power) return HumKind::Fundamental;
  if (even >= 0.7 * r.power) return HumKind::Ripple;
  if (high >= fewest_high && odd_high && heard_high >= 0.5 * heard) return HumKind::Buzz;
  return HumKind::Mixed;
}

}  // namespace

void HumCore::OtherSum::add(double hz, double power, double t) {
  hz_time += hz * t;
  power_time += power * t;
  seconds += t;
}

std::optional<OtherComb> HumCore::OtherSum::mean() const {
  if (seconds <= 0.0) return std::nullopt;
  return OtherComb{hz_time / seconds, power_time / seconds};
}

// What a lone fundamental needs to be believed (hum_judge.cpp), turned from evidence into amplitude over
// noise, and two sigma more so that it is not missed by bad luck.
double HumCore::visible_power(double seconds, std::span<const double> noise_variance) const {
  const double trials = std::log(20.0 * std::min(seconds, longest_stretch_s) + 1.0);
  const double spare =
      std::max(1.0, std::min(seconds, longest_stretch_s) / (2.9 * chunk_.grid().hop_s) - 1.0);
  const double needed = spare * std::expm1((13.0 + trials) / spare);
  const double margin = std::pow(std::sqrt(needed) + std::sqrt(2.0), 2.0);
  double most = 0.0;
  for (const double v : noise_variance) most = std::max(most, 0.5 * margin * v);
  return most;
}

bool HumCore::believed() const {
  if (found_seconds_ <= 0.0) return false;
  // The longer it was looked for, the more chance had its opportunities.
  const double chunks = std::max(1.0, seconds_ / longest_stretch_s);
  return found_seconds_ >= enough_share * seconds_ || track_score_ > beyond_doubt + 10.0 * std::log(chunks);
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
  std::array<double, 4> noise{};
  for (std::size_t k = 0; k < noise.size(); ++k) {
    if (low_time_[k] > 0.0) noise[k] = low_variance_time_[k] / low_time_[k];
  }
  r.least_power = std::max(visible_power(seconds_, noise), smallest_power);
  r.second = second_.mean();
  r.supply = supply_.mean();
  r.phone = phone_seen_;
  if (options_.tone_hz && *options_.tone_hz > search_.low_hz && *options_.tone_hz < search_.high_hz)
    r.covered_hz = options_.tone_hz;
  for (const double hz : options_.sent_hz) {
    if (hz > search_.low_hz && hz < search_.high_hz) r.covered_hz = hz;
  }
  r.found = believed();
  if (r.found) put_power(r);
  // A level that its own uncertainty swallows is none.
  r.found = r.found && r.power > 2.0 * r.power_u && r.power > smallest_power;
  if (r.found) {
    put_frequency(r);
    put_times(r);
    put_unseen(r);
    r.kind = kind_of(r);
    std::sort(left_out_.begin(), left_out_.end());
    r.left_out = left_out_;
    r.left_out_for_phone = left_out_for_phone_;
    if (!left_out_.empty() && left_out_hz_ > 0.0) r.left_out_for_hz = left_out_hz_;
    return r;
  }
  // Lines that make no pattern, and a comb seen too seldom to be believed, may be hum all the same.
  double doubtful = denied_energy_ / seconds_;
  for (const Level& l : levels_) doubtful += l.power * (l.to_s - l.from_s) / seconds_;
  if (denied_energy_ > 0.0) r.denied = OtherComb{denied_hz_, denied_energy_ / seconds_};
  r.least_power = std::max({spread_allowance * r.least_power, 1.1 * doubtful, hidden_energy_ / seconds_});
  r.power = r.power_u = 0.0;
  r.harmonics.clear();
  return r;
}

void HumCore::put_frequency(HumResult& r) const {
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
  r.lowest_hz = lowest_hz_;
  r.highest_hz = highest_hz_;
}

void HumCore::put_power(HumResult& r) const {
  double while_tracked = 0.0;
  for (const Sums& s : sums_) {
    if (s.chunks >= 1.0) while_tracked += std::max(0.0, s.power_time);
  }
  while_tracked /= track_seconds_;
  // Stretches before it was first found count as without it where it would have been seen; elsewhere nothing
  // is known of them.
  double seconds = track_seconds_;
  for (const Level& l : empty_) {
    if (l.visible_power < while_tracked) seconds += l.to_s - l.from_s;
  }
  double power_variance = border_variance_time_ / (seconds * seconds);
  for (std::size_t i = 0; i < sums_.size(); ++i) {
    const Sums& s = sums_[i];
    if (s.chunks < 1.0) continue;
    const double p = s.power_time / seconds;
    const double v = s.variance_time / (seconds * seconds);
    power_variance += v;
    if (s.evidence > s.chunks + 4.0 * std::sqrt(s.chunks) + 4.0 && p > 0.0) {
      r.harmonics.push_back({i + 1, p, std::sqrt(v)});
      r.power += p;
    }
  }
  r.power_u = std::sqrt(power_variance);
}

// Above the band nothing is known: as much again as the top harmonics would make if they went on for as long.
void HumCore::put_unseen(HumResult& r) const {
  for (std::size_t i = 0; i < sums_.size(); ++i) {
    if (sums_[i].chunks >= 1.0) r.fitted = i + 1;
  }
  int count = 0;
  double power = 0.0;
  for (const HumHarmonic& h : r.harmonics) {
    if (h.number + top_harmonics <= r.fitted) continue;
    ++count;
    power += h.power;
  }
  if (count < fewest_on_top) return;
  r.unseen_power = power / static_cast<double>(top_harmonics) * static_cast<double>(r.fitted);
}

void HumCore::put_times(HumResult& r) const {
  double most = 0.0;
  for (const Level& l : levels_) most = std::max(most, l.power);
  double time = 0.0;
  double energy = 0.0;
  for (const Level& l : levels_) {
    const bool absent = l.power < present_share * most && l.visible_power < 0.5 * most;
    if (absent) continue;
    const double from = std::max(0.0, l.from_s);
    const double to = l.to_s;
    time += to - from;
    energy += l.power * (to - from);
    if (l.power > 0.0) {
      r.weakest_power = r.weakest_power > 0.0 ? std::min(r.weakest_power, l.power) : l.power;
      r.strongest_power = std::max(r.strongest_power, l.power);
    }
    if (!r.present.empty() && from < r.present.back().to_s + join_s) {
      r.present.back().to_s = to;
    } else {
      r.present.push_back({from, to});
    }
  }
  for (const HumTime& p : r.present) r.present_s += p.to_s - p.from_s;
}

}  // namespace linebench::measure
