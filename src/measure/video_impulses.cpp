#include "video_impulses.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/base/catalogue.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>
#include <span>
#include <string>

namespace linebench::measure {
namespace {

constexpr double from_edge_us = 0.45;  // edges, and what a long cable makes of them
constexpr double after_burst_us = 0.35;
constexpr double level_us = 0.3;            // at the beginning of a window: what the rest stands on
constexpr double rise_us = 0.25;            // an impulse rises in less; streaks and tilts do not
constexpr double half_rise_us = 0.1;        // an impulse has risen before the window ends, or is not seen
constexpr double least_of_nominal_mv = 20;  // 3 % of white: seen on a dark picture (common practice)
// The largest of a hundred noisy samples, in one line of many, stays below so many of the usual line's.
constexpr double stands_out = 3;
constexpr double may_stand_out = 2.2;
constexpr std::size_t lines_remembered = 5;
constexpr std::uint64_t settle_lines = 64;
constexpr std::uint64_t fewest_lines = 200;
// What goes on line after line is the picture's echo or a burst of something else.
constexpr std::size_t run_lines = 3;
constexpr std::uint64_t run_gap = 2;
constexpr double most_share = 0.1;   // of lines hit: more make runs by chance
constexpr double again_share = 0.4;  // of those that have a next frame
constexpr std::size_t fewest_again = 3;
constexpr std::size_t most_hits = 1U << 16;
constexpr double bin_mv = 0.25;
constexpr std::size_t bins = 1600;
constexpr double none_seen = 3.0;  // of a count that is none, 95 % [Poisson]
constexpr double window_u = 0.05;  // of the windows' length, by an impulse's own
constexpr double blanked_ratio = 2;

// Share of lines hit, of which those that stand in runs by chance were left out: a run goes on with `next`,
// so that runs of one and two hold (1 - next)^2 (1 + 2 next) of all.
double with_chance_runs(double left) {
  double share = left;
  for (int i = 0; i < 10; ++i) {
    const double next = 1 - std::pow(1 - share, static_cast<double>(run_gap));
    share = left / (std::pow(1 - next, 2) * (1 + 2 * next));
  }
  return share;
}

// Whether, and with what, so many impulses keep time: what is switched with the mains comes twice in each of
// its periods. Rayleigh's test for a common phase: at random, n unit
// pointers sum to R with a chance of exp(-R^2 / n) of more [circular statistics, from memory].
Reading rhythm(const std::vector<double>& times_s) {
  const char* id = "video.impulses.rhythm";
  const Reading untold = unmeasurable(id, "too few to tell; take a longer capture");
  if (times_s.size() < 2) return untold;
  constexpr std::size_t enough = 1000;
  const std::span<const double> times(times_s.data(), std::min(enough, times_s.size()));
  const double length_s = times.back() - times.front();
  const auto n = static_cast<double>(times.size());
  double best = 0, best_hz = 0, tried = 0;
  for (const double mains_hz : {50.0, 60.0}) {
    constexpr double wanders = 0.02;  // of mains, generators' with it
    const double step_hz = 0.2 / std::max(length_s, 0.02);
    for (double hz = 2 * mains_hz * (1 - wanders); hz < 2 * mains_hz * (1 + wanders); hz += step_hz) {
      std::complex<double> sum{};
      for (const double t : times) sum += std::polar(1.0, 2 * std::numbers::pi * std::fmod(hz * t, 1.0));
      ++tried;
      if (std::norm(sum) / n > best) best = std::norm(sum) / n, best_hz = hz;
    }
  }
  constexpr double one_in_a_thousand = 6.9;
  const double sure = std::log(tried) + one_in_a_thousand;
  if (best > sure)
    return text_reading(id, "mains", fmt::format("twice in each period of {:.1f} Hz", best_hz / 2));
  // Of a steady rhythm a few may be others' between.
  return 0.7 * n > sure ? text_reading(id, "nothing") : untold;
}

}  // namespace

ImpulseMeter::ImpulseMeter(const VideoSetup& setup)
    : gain_(setup.gain()),
      frame_lines_(
          static_cast<std::uint64_t>(setup.lines_per_frame > 0 ? setup.lines_per_frame : setup.lines)),
      heights_(bins) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const double burst_end_us = s.burst_start_us.nominal + s.burst_length_us();
  windows_[0] = {from_edge_us, s.sync_width_us.nominal - from_edge_us, {}};
  windows_[1] = {burst_end_us + after_burst_us, s.active_start_us.nominal - from_edge_us, {}};
  for (const Window& w : windows_) line_us_ += w.to_us - w.from_us - level_us - half_rise_us;
  picture_line_.assign(static_cast<std::size_t>(s.lines_per_frame) + 1, false);
  for (int line = 1; line <= s.lines_per_frame; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    picture_line_[static_cast<std::size_t>(line)] =
        structure.picture_first_half && structure.picture_second_half;
  }
}

// The largest change within the rise of an impulse.
ImpulseMeter::Change ImpulseMeter::largest_in(const LineView& v, Window& w) {
  const auto from = static_cast<std::size_t>(std::ceil(v.position(w.from_us)));
  const auto to = static_cast<std::size_t>(v.position(w.to_us));
  const auto level_samples = static_cast<std::size_t>(std::ceil(level_us * v.samples_per_us()));
  const auto rise = std::max<std::size_t>(1, static_cast<std::size_t>(rise_us * v.samples_per_us()));
  const auto at = [&](std::size_t i) { return static_cast<double>(v.mv[i]); };
  double sum = 0, low = at(from), high = at(from);
  for (std::size_t i = from; i < from + level_samples; ++i) {
    sum += at(i);
    low = std::min(low, at(i));
    high = std::max(high, at(i));
  }
  Change c;
  for (std::size_t i = std::max(from + level_samples, from + rise); i < to; ++i) {
    const double change = std::abs(at(i) - at(i - rise));
    if (change <= c.mv) continue;
    c.mv = change;
    c.time_s = (static_cast<double>(v.first) + static_cast<double>(i)) / v.rate_hz;
  }
  // An impulse upsets the clamp as well, so that levels are compared as they came.
  const double level = sum / static_cast<double>(level_samples) + v.blanking_mv;
  if (w.levels.size() == lines_remembered) {
    const double expected = dsp::median(std::vector<double>(w.levels.begin(), w.levels.end()));
    c.begins = std::abs(level - expected) < c.mv / 2 && high - low < c.mv / 2;
    w.levels.pop_front();
  }
  w.levels.push_back(level);
  return c;
}

void ImpulseMeter::survey(double height_mv) {
  const auto bin = static_cast<std::size_t>(height_mv / gain_ / bin_mv);
  ++heights_[std::min(bin, heights_.size() - 1)];
  if (lines_ % settle_lines == 0) usual_mv_ = middle_mv();
}

double ImpulseMeter::middle_mv() const {
  std::uint64_t below = 0;
  for (std::size_t b = 0; b < heights_.size(); ++b) {
    below += heights_[b];
    if (2 * below >= lines_) return gain_ * bin_mv * (static_cast<double>(b) + 1);
  }
  return 0;
}

void ImpulseMeter::line(const LineView& v) {
  if (v.kind != LineKind::Picture || !v.sync_found || hits_.size() == most_hits) return;
  if (v.line > 0 && (static_cast<std::size_t>(v.line) >= picture_line_.size() ||
                     !picture_line_[static_cast<std::size_t>(v.line)])) {
    return;
  }
  if (!v.covers(windows_[0].from_us - 1, windows_[1].to_us + 1)) return;
  const Change tip = largest_in(v, windows_[0]);
  const Change porch = largest_in(v, windows_[1]);
  const Change& largest = tip.mv > porch.mv ? tip : porch;
  ++lines_;
  survey(largest.mv);
  if (lines_ >= settle_lines && largest.mv > std::max(least_of_nominal_mv * gain_, may_stand_out * usual_mv_))
    hits_.push_back({v.index, largest});
}

std::vector<ImpulseMeter::Hit> ImpulseMeter::impulses(double least_mv) const {
  std::vector<Hit> high;
  std::ranges::copy_if(hits_, std::back_inserter(high), [&](const Hit& h) { return h.change.mv > least_mv; });
  std::vector<Hit> out;
  for (std::size_t i = 0; i < high.size();) {
    std::size_t n = 1;
    while (i + n < high.size() && high[i + n].index <= high[i + n - 1].index + run_gap) ++n;
    for (std::size_t k = i; n < run_lines && k < i + n; ++k) {
      if (high[k].change.begins) out.push_back(high[k]);
    }
    i += n;
  }
  return out;
}

// Whether they stand on the same lines frame by frame.
bool ImpulseMeter::come_again(const std::vector<Hit>& hits) const {
  const std::uint64_t end = hits.back().index;
  std::size_t could = 0, did = 0;
  for (const Hit& h : hits) {
    if (h.index + frame_lines_ > end) continue;
    ++could;
    const auto next = std::ranges::lower_bound(hits, h.index + frame_lines_ - 1, {}, &Hit::index);
    did += next != hits.end() && next->index <= h.index + frame_lines_ + 1 ? 1 : 0;
  }
  // By chance the three lines are hit as often as any.
  const double by_chance = 3.0 * static_cast<double>(hits.size()) / static_cast<double>(lines_);
  return static_cast<double>(did) > std::max(again_share, 2 * by_chance) * static_cast<double>(could) &&
         did >= fewest_again;
}

void ImpulseMeter::finish(const VideoSetup& setup, Readings& out) {
  const char* id = "video.impulses";
  if (lines_ < fewest_lines || !(setup.line_period_samples > 0)) {
    out.push_back(unmeasurable(id, "too few lines of one level; take a longer capture"));
    return;
  }
  const double least = std::max(least_of_nominal_mv * gain_, stands_out * middle_mv());
  const std::vector<Hit> found = impulses(least);
  const auto n = static_cast<double>(found.size());
  const auto watched = static_cast<double>(lines_ - settle_lines);
  const double watched_s = watched * line_us_ * 1e-6;
  const std::string size =
      fmt::format("of {:.0f} mV and more, looked for on sync tips and back porches", least);
  if (found.empty()) {
    const Reading* noise = find_reading(out, "video.noise");
    if (noise != nullptr && noise->measured() && noise->number() > blanked_ratio * setup.noise_mv + 1) {
      out.push_back(unmeasurable(id,
                                 "the picture is noisier than sync and blanking, which were made anew after "
                                 "it: what lies on the picture does not show there"));
      return;
    }
    out.push_back(unmeasurable(id, "none " + size, none_seen / watched_s));
    return;
  }
  if (come_again(found)) {
    out.push_back(unmeasurable(id,
                               "what stands on sync and blanking comes again frame by frame: an echo of the "
                               "picture, no impulses"));
    return;
  }
  // What a rate is of which n were met, any rate being as likely before: Gamma's of n + 1, whose mean and
  // square of the standard deviation are that. Five of a short look can be no one a second.
  const double expected = n + 1;
  const double share = expected / watched;
  if (share > most_share) {
    out.push_back(
        unmeasurable(id, fmt::format("{:.0f} % of the lines are hit: this is no sparkle but noise or "
                                     "another signal",
                                     100 * share)));
    return;
  }
  // Lines hit more than once are hit once.
  const double rate = -std::log1p(-with_chance_runs(share)) / (line_us_ * 1e-6);
  const double u = rate * std::hypot(2 / std::sqrt(expected), window_u);
  std::vector<double> times_s;
  for (const Hit& h : found) times_s.push_back(h.change.time_s);
  out.push_back(number_reading(id, rate, u, fmt::format("{:.0f} seen, {}", n, size)));
  out.push_back(rhythm(times_s));
  out.push_back(number_reading("video.impulses.time", found.front().change.time_s, rise_us * 1e-6));
}

}  // namespace linebench::measure
