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
// A line far above those near it is a tone as well, unless it is a small part of the whole. Multiples of
// rectifiers and dimmers come in company: one or two apart, those of six pulses by twice the first; of the
// mains' own the fifth may stand alone, at 300 Hz at most (common practice).
constexpr double lone_others = 10.0;
struct Company {
  double from_hz, reach_hz, power_ratio;
};
constexpr Company low_company{230.0, 330.0, lone_power_ratio};
constexpr Company high_company{380.0, 130.0, 10.0};
// A comb this certain needs no second opinion.
constexpr double clear_score = 60.0;
constexpr double near_per_multiple_hz = 0.15;
constexpr double moving_per_multiple_hz = 0.7;
// Supplies of aircraft and ships, 400 Hz; generators keep within 2 % (common practice).
constexpr double supply_hz = 400.0;
constexpr double supply_reach_hz = 8.0;
constexpr double supply_over_neighbours = 10.0;
constexpr double left_out_near_hz = 1.0;

std::size_t capacity_for(const FrameGrid& grid) {
  return static_cast<std::size_t>(std::lround(stretch_s / grid.hop_s));
}

// hz, 2 hz, 3 hz ... under top_hz, as far as they matter.
void add_multiples(std::vector<double>& list, double hz, double top_hz) {
  const auto count = std::min<std::size_t>(200, static_cast<std::size_t>(top_hz / hz));
  for (std::size_t m = 1; m <= count; ++m) list.push_back(static_cast<double>(m) * hz);
}

bool on_public_mains(double hz) {
  return std::abs(hz - 50.0) < public_mains_hz || std::abs(hz - 60.0) < public_mains_hz;
}

// Notes make combs anywhere; mains is where public mains runs unless much speaks for another place.
double worth(const CombFit& fit) {
  constexpr double preferred = 3.0;
  if (!fit.found)  // the bound has to hold where a fundamental is nearly one
    return fit.score + (fit.harmonics.empty() ? 0.0 : std::max(0.0, fit.harmonics[0].evidence));
  return fit.score * (on_public_mains(fit.f0_hz) ? preferred : 1.0);
}

CombSearch search_for(const HumOptions& options) {
  CombSearch s;
  s.public_first = !options.mains_hz;
  if (options.mains_hz) {
    s.low_hz = std::max(s.low_hz, *options.mains_hz * (1.0 - search_share));
    s.high_hz = std::min(s.high_hz, *options.mains_hz * (1.0 + search_share));
  }
  return s;
}

// The 400 Hz multiples of a comb that stand far out of their neighbours: those of another supply whose
// frequency cannot be told from a multiple of this one.
double supply_power(const CombFit& fit) {
  if (fit.harmonics.size() < 17 || std::abs(8.0 * fit.f0_hz - supply_hz) > supply_reach_hz) return 0.0;
  double sum = 0.0;
  int out = 0;
  for (std::size_t k = 8; k < fit.harmonics.size(); k += 8) {
    const CombHarmonic& h = fit.harmonics[k - 1];
    // Rectifier ripple has company only at every second one.
    double beside = 0.0;
    for (const std::size_t m : {k - 2, k - 1, k + 1, k + 2}) {
      if (m <= fit.harmonics.size()) beside = std::max(beside, fit.harmonics[m - 1].power);
    }
    if (!h.used || h.evidence < 30.0 || h.power < supply_over_neighbours * beside) continue;
    if (k > 8 && out == 0) return 0.0;
    ++out;
    sum += h.power;
  }
  return out >= 2 ? sum : 0.0;
}

}  // namespace

HumCore::HumCore(const FrameGrid& grid, const HumOptions& options)
    : options_(options), search_(search_for(options)), chunk_(grid, capacity_for(grid)), phone_(grid) {}

void HumCore::frame(std::span<const std::complex<float>> bins) {
  const double hits = phone_.hits();
  phone_.frame(bins);
  if (!std::isfinite(bins[0].real()) || !std::isfinite(bins[bins.size() / 2].real())) return;
  chunk_.add(bins);
  burst_.push_back(0);
  if (phone_.hits() > hits) {
    const auto seen = std::min(burst_.size(), PhoneBurstCore::window_frames);
    std::fill(burst_.end() - static_cast<std::ptrdiff_t>(seen), burst_.end(), 1);
  }
  if (chunk_.full()) process();
}

PhoneLines HumCore::phone_lines() {
  const double hits = phone_.hits() - bursts_before_;
  const double offset = phone_.offset_sum() - offsets_before_;
  bursts_before_ = phone_.hits();
  offsets_before_ = phone_.offset_sum();
  if (hits <= 0.0) return {};
  // Phone and recorder keep their clocks far better than a few looks can measure.
  constexpr double fewest_looks = 8.0;
  constexpr double clock_share = 5e-4;
  const double share = offset / hits / phone_frame_rate_hz;
  const bool measured = hits >= fewest_looks && std::abs(share) < clock_share;
  return PhoneLines(chunk_, phone_frame_rate_hz * (measured ? 1.0 + share : 1.0), burst_);
}

// What is known to have been sent, at the frequencies it has by this recorder's clock.
std::vector<double> HumCore::told_lines() {
  std::vector<double> list;
  const double apart = 0.5 / chunk_.seconds();
  const auto seen_at = [&](double hz, double share) {
    for (const SteadyLine& line : chunk_.lines()) {
      if (std::abs(line.hz - hz) < share * hz + apart) return line.hz;
    }
    return hz;
  };
  const double top = chunk_.grid().top_hz;
  if (options_.tone_hz && *options_.tone_hz > 0.0)
    add_multiples(list, seen_at(*options_.tone_hz, 0.005), top);
  double ratio = 1.0;
  double reference = 0.0;
  for (const double hz : options_.sent_hz) {
    const double seen = seen_at(hz, 0.0005);
    if (hz < reference || hz > top || seen == hz) continue;
    reference = hz;
    ratio = seen / hz;
  }
  for (const double hz : options_.sent_hz) {
    if (hz < top) list.push_back(hz * ratio);
  }
  return list;
}

// Tones nobody announced: on a high multiple of mains they would steer the comb, for their weight goes with
// the square of the multiple.
std::vector<double> HumCore::lone_tones() const {
  const auto& lines = chunk_.lines();
  const auto strongest = std::find_if(lines.begin(), lines.end(),
                                      [](const SteadyLine& x) { return x.hz > low_company.from_hz; });
  if (strongest == lines.end()) return {};
  const SteadyLine& tone = *strongest;
  const Company& near = tone.hz < high_company.from_hz ? low_company : high_company;
  std::vector<double> own;
  double others = 0.0;
  for (const SteadyLine& x : lines) {
    const double share = x.amplitude * x.amplitude / (tone.amplitude * tone.amplitude);
    const double m = std::round(x.hz / tone.hz);
    if (m >= 1.0 && std::abs(x.hz - m * tone.hz) < m / chunk_.seconds()) {
      own.push_back(x.hz);
      if (m > 1.0 && share > 1.0 / lone_power_ratio) return {};
    } else {
      others += share;
      if (std::abs(x.hz - tone.hz) < near.reach_hz && share > 1.0 / near.power_ratio) return {};
    }
  }
  return others < lone_others ? own : std::vector<double>{};
}

std::vector<double> HumCore::foreign_for(double f0, std::vector<double> foreign,
                                         double tolerance_per_multiple) const {
  const double own = std::max(0.3, 1.2 / chunk_.seconds());
  for (const SteadyLine& line : chunk_.lines()) {
    const double k = std::max(1.0, std::round(line.hz / f0));
    const bool known = std::any_of(foreign.begin(), foreign.end(),
                                   [&](double x) { return std::abs(x - line.hz) < 2.0 / chunk_.seconds(); });
    if (!known && std::abs(line.hz - k * f0) > own + k * tolerance_per_multiple) foreign.push_back(line.hz);
  }
  return foreign;
}

// The fundamental that explains most of the strong steady lines; 0 when none lies on a low multiple of any.
double HumCore::from_lines(std::span<const double> foreign) const {
  const double own = std::max(0.3, 1.2 / chunk_.seconds());
  double best = 0.0;
  double most = 0.0;
  const auto& lines = chunk_.lines();
  const auto told = [&](double hz) {
    return std::any_of(foreign.begin(), foreign.end(), [&](double x) { return std::abs(x - hz) < own; });
  };
  for (const SteadyLine& line : lines) {
    for (int k = 1; k <= 3; ++k) {
      const double f0 = line.hz / k;
      if (f0 < search_.low_hz || f0 > search_.high_hz || told(line.hz)) continue;
      double power = 0.0;
      for (const SteadyLine& other : lines) {
        const double n = std::round(other.hz / f0);
        const bool on = n >= 1.0 && std::abs(other.hz - n * f0) < std::min(own, 0.1 * n);
        if (on && !told(other.hz)) power += other.amplitude * other.amplitude;
      }
      if (power > 1.01 * most) {
        most = power;
        best = f0;
      }
    }
  }
  return best;
}

CombFit HumCore::best_fit(std::vector<double>& foreign) {
  const bool on_track = track_hz_ > 0.0;
  CombFit best;
  double best_start = 0.0;
  const auto attempt = [&](double start) {
    CombFit fit = fit_comb(chunk_, start, foreign_for(start, foreign));
    const double moved = fit.highest_hz - fit.lowest_hz;
    if (std::abs(fit.f0_hz - start) > 1.0 / chunk_.seconds() + 0.05 + moved) fit.found = false;  // ran away
    // Where it was before, it is the same comb though too weak to be seen: that says more than chance
    // elsewhere.
    const bool keep = on_track && start != track_hz_ && !fit.found;
    if (best.harmonics.empty() || (fit.found && !best.found) ||
        (fit.found == best.found && worth(fit) > worth(best) && !keep)) {
      best = std::move(fit);
      best_start = start;
    }
  };
  if (on_track) attempt(track_hz_);
  // A comb that goes on as before needs no rival.
  std::vector<double> tried{track_hz_};
  if (const double start = from_lines(foreign); start > 0.0 && !best.found) {
    tried.push_back(start);
    attempt(start);
  }
  for (const Loudness loudness : {Loudness::Own, Loudness::Beside}) {
    if (best.found && (loudness == Loudness::Beside || on_public_mains(best.f0_hz) || !search_.public_first))
      break;
    for (const double start : likely_fundamentals(chunk_, search_, foreign, 2, loudness)) {
      // Every fifth multiple of 60 Hz is a sixth one of 50 Hz: a comb of one mains leaves some of the
      // other's, so both are tried and the one that explains more is taken.
      const bool rival = on_public_mains(start);
      if (best.found && worth(best) > clear_score && !rival) break;
      if (std::any_of(tried.begin(), tried.end(), [&](double x) { return std::abs(x - start) < 0.05; }))
        continue;
      tried.push_back(start);
      attempt(start);
    }
  }
  // Hum that lasts for a small part only hardly shows in a search over the whole.
  for (const double start : short_lived_fundamentals(chunk_, search_, foreign)) {
    if (best.found) break;
    if (std::any_of(tried.begin(), tried.end(), [&](double x) { return std::abs(x - start) < 0.005; }))
      continue;
    attempt(start);
  }
  if (best.found) {
    // Multiples of mains that moves look like tones a little beside the comb.
    const std::vector<double> near = foreign_for(best.f0_hz, foreign, near_per_multiple_hz);
    if (near.size() < foreign_for(best.f0_hz, foreign).size()) {
      CombFit wider = fit_comb(chunk_, best.f0_hz, near);
      if (clearly_better(wider, best)) best = std::move(wider);
    }
  }
  if (!best.found || best.wants_another()) {
    const double middle = best.harmonics.empty() ? 50.0 : best.f0_hz;
    CombFit moving =
        fit_wandering_comb(chunk_, search_, foreign_for(middle, foreign, moving_per_multiple_hz));
    if (moving.found && (!best.found || clearly_better(moving, best))) return moving;
  }
  return best.found ? without_tones(std::move(best), best_start, foreign) : best;
}

// Tones nobody announced that happen to fall on a high multiple.
CombFit HumCore::without_tones(CombFit fit, double start_hz, std::vector<double>& foreign) {
  double total = 0.0;
  for (const CombHarmonic& h : fit.harmonics) total += h.used && h.evidence > 9.0 ? h.power : 0.0;
  for (std::size_t i = 3; i < fit.harmonics.size(); ++i) {
    const CombHarmonic& h = fit.harmonics[i];
    if (!h.used || h.power < lone_power_ratio * (total - h.power)) continue;
    add_multiples(foreign, fit.f0_hz * static_cast<double>(i + 1), chunk_.grid().top_hz);
    return fit_comb(chunk_, start_hz, foreign_for(start_hz, foreign));
  }
  if (const double power = supply_power(fit); power > 0.0) {
    supply_.add(8.0 * fit.f0_hz, power, chunk_.seconds());
    add_multiples(foreign, 8.0 * fit.f0_hz, chunk_.grid().top_hz);
    return fit_comb(chunk_, start_hz, foreign_for(start_hz, foreign));
  }
  return fit;
}

// Another mains comb, or a 400 Hz one, beside what was found.
void HumCore::look_for_others(const CombFit& fit, std::vector<double> foreign) {
  const double t = chunk_.seconds();
  const double own = std::max(0.3, 1.2 / t);
  const auto told = [&](double hz) {
    return std::any_of(foreign.begin(), foreign.end(), [&](double x) { return std::abs(x - hz) < own; });
  };
  const SteadyLine* supply = nullptr;
  bool unexplained_line = false;
  for (const SteadyLine& line : chunk_.lines()) {
    if (told(line.hz)) continue;
    const double k = std::max(1.0, std::round(line.hz / fit.f0_hz));
    const bool harmonic = fit.found && std::abs(line.hz - k * fit.f0_hz) < own &&
                          k <= static_cast<double>(fit.harmonics.size()) &&
                          fit.harmonics[static_cast<std::size_t>(k) - 1].used;
    if (!harmonic && std::abs(line.hz - supply_hz) < supply_reach_hz && supply == nullptr) supply = &line;
    const bool low = line.hz < 4.0 * search_.high_hz;
    unexplained_line = unexplained_line || (low && std::abs(line.hz - k * fit.f0_hz) > own);
  }
  if (supply != nullptr) {
    double power = 0.0;
    int lines = 0;
    for (const SteadyLine& line : chunk_.lines()) {
      const double n = std::round(line.hz / supply->hz);
      if (n < 1.0 || std::abs(line.hz - n * supply->hz) > 0.1 + 0.1 * n) continue;
      if (line.amplitude < 0.01 * supply->amplitude) continue;
      power += 0.5 * line.amplitude * line.amplitude;
      ++lines;
    }
    if (lines >= 2) supply_.add(supply->hz, power, t);
  }
  if (!fit.found || !unexplained_line) return;
  for (std::size_t k = 1; k <= fit.harmonics.size(); ++k)
    foreign.push_back(static_cast<double>(k) * fit.f0_hz);
  for (const double start : likely_fundamentals(chunk_, search_, foreign, 1, Loudness::Beside)) {
    if (std::abs(start - fit.f0_hz) < 1.0) continue;
    const CombFit other = fit_comb(chunk_, start, foreign_for(start, foreign));
    if (!other.found || other.score < 0.5 * clear_score) continue;
    double power = 0.0;
    for (const CombHarmonic& h : other.harmonics) power += h.used && h.evidence > 9.0 ? h.power : 0.0;
    second_.add(other.f0_hz, power, t);
  }
}

void HumCore::note_left_out(const CombFit& fit, std::span<const double> foreign) {
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const double hz = fit.f0_hz * static_cast<double>(i + 1);
    if (fit.harmonics[i].used || hz > chunk_.grid().top_hz - 6.0 * chunk_.grid().bin_hz) continue;
    if (std::find(left_out_.begin(), left_out_.end(), i + 1) == left_out_.end()) left_out_.push_back(i + 1);
    if (phone_lines_.is_line(hz, left_out_near_hz)) {
      left_out_for_phone_ = true;
      continue;
    }
    const auto tone = std::find_if(foreign.begin(), foreign.end(),
                                   [&](double x) { return !phone_lines_.is_line(x, left_out_near_hz); });
    if (left_out_hz_ <= 0.0 && tone != foreign.end()) left_out_hz_ = *tone;
  }
}

void HumCore::restart_track() {
  for (const Level& l : levels_) {
    if (empty_.size() < most_stretches) empty_.push_back(l);
  }
  levels_.clear();
  sums_.clear();
  stretches_.clear();
  left_out_.clear();
  left_out_hz_ = 0;
  left_out_for_phone_ = false;
  found_seconds_ = track_seconds_ = track_score_ = border_variance_time_ = 0;
  lowest_hz_ = highest_hz_ = 0;
}

void HumCore::take(const CombFit& fit) {
  const double t = chunk_.seconds();
  track_hz_ = fit.f0_hz;
  track_seconds_ += t;
  track_score_ += fit.score;
  if (fit.found) {
    found_seconds_ += t;
    if (stretches_.size() < most_stretches) stretches_.push_back({fit.f0_hz, fit.f0_variance, t});
    lowest_hz_ = lowest_hz_ > 0.0 ? std::min(lowest_hz_, fit.lowest_hz) : fit.lowest_hz;
    highest_hz_ = std::max(highest_hz_, fit.highest_hz);
    border_variance_time_ += t * t * fit.border_variance;
  }
  if (sums_.size() < fit.harmonics.size()) sums_.resize(fit.harmonics.size());
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const CombHarmonic& h = fit.harmonics[i];
    if (!h.used) continue;
    Sums& s = sums_[i];
    s.power_time += t * h.power;
    s.variance_time += t * t * h.power_variance;
    s.evidence += h.evidence;
    s.chunks += 1.0;
  }
}

void HumCore::note_levels(const CombFit& fit, double visible_power) {
  const FrameGrid& g = chunk_.grid();
  const double middle =
      g.first_centre_s +
      (static_cast<double>(frames_before_) + 0.5 * static_cast<double>(chunk_.frames() - 1)) * g.hop_s;
  for (const HumSpan& s : fit.spans) {
    if (levels_.size() >= most_stretches) break;
    const double share = (s.to_s - s.from_s) / chunk_.seconds();
    levels_.push_back({middle + s.from_s, middle + s.to_s, s.power, visible_power / share});
  }
}

void HumCore::process() {
  chunk_.prepare();
  const double t = chunk_.seconds();
  seconds_ += t;
  std::vector<double> foreign = told_lines();
  const std::vector<double> tones = lone_tones();
  foreign.insert(foreign.end(), tones.begin(), tones.end());
  phone_lines_ = phone_lines();
  phone_seen_ = phone_seen_ || phone_lines_.any();
  foreign.insert(foreign.end(), phone_lines_.hz().begin(), phone_lines_.hz().end());
  CombFit fit = best_fit(foreign);
  phone_lines_.allow_for(fit, t);
  std::array<double, 4> noise{};
  for (std::size_t k = 0; k < low_variance_time_.size() && k < fit.harmonics.size(); ++k) {
    if (!fit.harmonics[k].used) continue;
    noise[k] = fit.harmonics[k].variance;
    low_variance_time_[k] += t * noise[k];
    low_time_[k] += t;
  }
  denied_energy_ += t * fit.denied_power;
  if (!fit.found) hidden_energy_ += t * (fit.hidden_power + phone_lines_.hidden_power());
  if (fit.denied_hz > 0.0) denied_hz_ = fit.denied_hz;
  if (!fit.harmonics.empty()) {
    look_for_others(fit, foreign);
    const double visible = visible_power(t, noise);
    const bool same = track_hz_ > 0.0 && std::abs(fit.f0_hz - track_hz_) <
                                             0.1 + 1.0 / t + 1.5 * (fit.highest_hz - fit.lowest_hz);
    if (same || (fit.found && fit.score > track_score_)) {
      if (!same) restart_track();
      take(fit);
      note_levels(fit, visible);
      if (fit.found) note_left_out(fit, foreign);
    } else if (empty_.size() < most_stretches) {
      empty_.push_back({0.0, t, 0.0, visible});
    }
  }
  frames_before_ += chunk_.frames();
  chunk_.clear();
  burst_.clear();
}

}  // namespace linebench::measure
