// Dropouts, by the largest sample of each half millisecond. Two ways to know one: a steady signal that is
// gone and comes back as it was; or any sound that is gone faster than sounds end. A voice's resonances (60
// Hz wide and more) ring off at 2 to 8 dB a millisecond, a broken connection takes 30 dB in far less.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double step_s = 0.0005;
constexpr float vanished = 0.03F;  // -30 dB of the 20 ms before
constexpr float quietest = 1e-3F;  // -60 dB: under it nothing can be said to vanish
constexpr float steady = 0.6F;     // of the level 10 ms away, just before and just after
constexpr double shortest_s = 0.0018;
constexpr double longest_s = 2.0;
// A cut in the midst of sound:
constexpr float cut_vanished = 0.03F;       // -30 dB
constexpr std::size_t just_steps = 8;       // the 4 ms before it: 30 dB in those is no natural end
constexpr std::size_t sounding_steps = 32;  // of the 40 before it, louder than what is gone
constexpr std::size_t body_steps = 2;       // of the 6 before it, within 20 dB: a pulse has no body
constexpr float body = 0.1F;
constexpr std::size_t unbroken_steps = 5;  // the newest may hold the edge
// And a fade, however short, ends without an edge:
constexpr float edge_step = 0.2F;  // the last sample, of the largest in the 4 ms before
constexpr float edge_bend = 3.0F;  // second difference over any in the 4 ms before
// Prediction error over its rms: natural ends of speech stay under 6, nine cuts of ten exceed 25.
constexpr double edge_surprise = 9.0;
constexpr double prediction_s = 0.02;
constexpr std::size_t prediction_order = 32;
constexpr std::size_t edge_after = 10;
constexpr std::size_t edge_samples = 4;  // converters' filters spread it over so many
constexpr std::size_t frozen_steps = 6;  // of one and the same value: nothing that is connected gives that
// Between pulses (a dimmer's, twice a period of the mains) it is always quiet: a gap lasts longer than that.
constexpr float weak = 0.3F;              // of the largest of the 20 ms before
constexpr std::size_t over_habit = 3;     // times the longest stretch so weak in them
constexpr float back_again = 0.1F;        // of what was cut: a sound, not the noise that is left
constexpr std::ptrdiff_t back_steps = 5;  // of the 20 after it, so loud: a pulse is one, or lies across two

std::size_t step_size(double rate_hz) {
  return std::max<std::size_t>(4, static_cast<std::size_t>(std::lround(step_s * rate_hz)));
}

// Largest error of a linear prediction across `from`, over its rms in the 20 ms before (covariance method,
// least squares): a cut at a zero crossing leaves no step, but no voice or fade goes that way.
double surprise(std::span<const float> samples, std::size_t from, double rate_hz) {
  const auto count = static_cast<std::size_t>(prediction_s * rate_hz);
  if (from < count || from + edge_after > samples.size()) return 0;
  constexpr auto order = static_cast<Eigen::Index>(prediction_order);
  const auto rows = static_cast<Eigen::Index>(count - edge_samples) - order;
  if (rows < 4 * order) return 0;
  Eigen::VectorXd x(static_cast<Eigen::Index>(count + edge_after));
  for (Eigen::Index i = 0; i < x.size(); ++i) {
    x[i] = static_cast<double>(samples[from - count + static_cast<std::size_t>(i)]);
  }
  Eigen::MatrixXd past(x.size() - order, order);
  for (Eigen::Index k = 0; k < order; ++k) past.col(k) = x.segment(order - 1 - k, past.rows());
  const auto before = past.topRows(rows);
  // Each row of the products is the one above it shifted, but for what comes in and goes out at the ends.
  Eigen::MatrixXd normal(order, order);
  normal.col(0) = before.transpose() * before.col(0);
  normal.row(0) = normal.col(0).transpose();
  for (Eigen::Index i = 0; i + 1 < order; ++i) {
    for (Eigen::Index j = 0; j + 1 < order; ++j) {
      normal(i + 1, j + 1) = normal(i, j) + x[order - 2 - i] * x[order - 2 - j] -
                             x[rows + order - 2 - i] * x[rows + order - 2 - j];
    }
  }
  // A little white noise, so that what is exactly predictable stays well posed.
  normal.diagonal().array() += 1e-7 * normal.trace() / static_cast<double>(order) + 1e-20;
  const Eigen::VectorXd a = normal.ldlt().solve(before.transpose() * x.segment(order, rows));
  const Eigen::VectorXd error = x.tail(past.rows()) - past * a;
  const double usual = std::sqrt(error.head(rows).squaredNorm() / static_cast<double>(rows));
  return error.tail(past.rows() - rows).lpNorm<Eigen::Infinity>() / std::max(usual, 1e-12);
}

// Whether sound breaks off before x[from]: no voice and no fade does. `just`: largest of the 4 ms before.
bool has_edge(std::span<const float> x, std::size_t from, float just, double rate_hz) {
  if (from == 0) return false;
  if (std::abs(x[from - 1]) > edge_step * just) return true;
  const std::size_t reach = just_steps * step_size(rate_hz);
  if (from < reach + 2 || from + edge_samples >= x.size()) return false;
  const auto bend = [&](std::size_t i) { return std::abs(x[i - 1] - 2.0F * x[i] + x[i + 1]); };
  float before = 0.0F;
  float edge = 0.0F;
  for (std::size_t i = from - reach; i + edge_samples < from; ++i) before = std::max(before, bend(i));
  for (std::size_t i = from - edge_samples; i < from + edge_samples; ++i) edge = std::max(edge, bend(i));
  return edge > edge_bend * before || surprise(x, from, rate_hz) > edge_surprise;
}

// The same seen from the other end: whether sound sets in at x[from].
bool has_edge_after(std::span<const float> x, std::size_t from, double rate_hz) {
  const auto reach = static_cast<std::size_t>(prediction_s * rate_hz) + edge_after;
  const std::size_t low = from > edge_after ? from - edge_after : 0;
  const std::size_t high = std::min(x.size(), from + reach);
  std::vector<float> back(x.begin() + static_cast<std::ptrdiff_t>(low),
                          x.begin() + static_cast<std::ptrdiff_t>(high));
  std::reverse(back.begin(), back.end());
  const std::size_t at = high - from;
  float just = 0.0F;
  for (std::size_t i = from; i < std::min(high, from + just_steps * step_size(rate_hz)); ++i) {
    just = std::max(just, std::abs(x[i]));
  }
  return has_edge(back, at, just, rate_hz);
}

}  // namespace

// Steady for the last 0.14 s: what only pauses like speech does (a stop within a word) was not.
bool DropoutSearch::lasted() const {
  if (stretch_count_ < stretches) return false;
  // The newest stretch may hold the edge.
  const std::size_t newest = (stretch_count_ - 1) % stretches;
  float low = before_;
  float high = before_;
  for (std::size_t i = 0; i < stretches; ++i) {
    if (i == newest) continue;
    low = std::min(low, stretch_peaks_[i]);
    high = std::max(high, stretch_peaks_[i]);
  }
  return low > steady * high;
}

float DropoutSearch::recent_peak(std::size_t from_back, std::size_t count) const {
  float top = 0.0F;
  for (std::size_t i = from_back; i < from_back + count; ++i) {
    top = std::max(top, peaks_[(seen_ + history - 1 - i) % history]);
  }
  return top;
}

// The third largest: a pulse is one step long, or lies across two, and no sound that could break off.
float DropoutSearch::recent_body(std::size_t count) const {
  std::array<float, 3> largest{};
  for (std::size_t i = 0; i < count; ++i) {
    const float p = recent_peak(i, 1);
    if (p <= largest[2]) continue;
    largest[2] = p;
    std::ranges::sort(largest, std::greater{});
  }
  return largest[2];
}

// In the midst of sound, which did not come and go in these 20 ms, nor end before a last pulse.
bool DropoutSearch::in_sound(float just) const {
  std::size_t sounding = 0;
  std::size_t loud = 0;
  for (std::size_t i = 0; i < history; ++i) {
    const float p = peaks_[(seen_ + history - 1 - i) % history];
    const bool sounds = p > cut_vanished * just;
    if (!sounds && i >= 1 && i < unbroken_steps) return false;
    sounding += sounds ? 1 : 0;
    loud += i >= 1 && i < 7 && p > body * just ? 1 : 0;
  }
  return sounding >= sounding_steps && loud >= body_steps;
}

// The longest it was weak within the last 20 ms, as it always is between the pulses of a train.
std::size_t DropoutSearch::habit(float whole) const {
  std::size_t longest = 0;
  std::size_t now = 0;
  for (std::size_t i = 0; i < history; ++i) {
    now = peaks_[(seen_ + i) % history] < weak * whole ? now + 1 : 0;
    longest = std::max(longest, now);
  }
  return longest;
}

// The sample after the last that still stood out, at most two steps back.
std::size_t DropoutSearch::first_gone(const EventView& v, std::size_t at, std::size_t size) const {
  std::size_t i = at;
  while (i > 0 && at - i < 2 * size && std::abs(v.x[i - 1]) < limit_) --i;
  return i;
}

void DropoutSearch::start(const EventView& v, std::size_t from) {
  start_s_ = v.time_s(from);
  low_ = 1;
  frozen_ = 0;
  left_frozen_ = false;
  state_ = State::Low;
}

void DropoutSearch::set_in(double time_s) {
  silent_ = false;
  set_in_s_ = time_s;
  loudest_ = 0;
}

// A sound may end without an edge, and the first one has nothing before it.
void DropoutSearch::note_silence() {
  loudest_ = std::max(loudest_, stretch_peak_);
  if (!silent_ && stretch_peak_ < back_again * loudest_) {
    silent_ = true;
    set_in_limit_ = loudest_;
  }
  if (silent_) set_in_limit_ = std::min(set_in_limit_, stretch_peak_ / back_again);
}

LINEBENCH_VECTORISED void DropoutSearch::search(const EventView& v, std::vector<Pause>& done) {
  const std::size_t size = step_size(v.rate_hz);
  // Steps run on through the channel whatever the stretches' lengths.
  const std::size_t lead = (size - (v.first + v.from) % size) % size;
  for (std::size_t at = v.from + lead; at < v.to && at + size <= v.x.size(); at += size) {
    std::array<float, 4> tops{};
    std::size_t i = at;
    for (; i + 4 <= at + size; i += 4) {
      for (std::size_t l = 0; l < 4; ++l) {
        const float y = std::abs(v.x[i + l]);
        tops[l] = y > tops[l] ? y : tops[l];
      }
    }
    float top = std::max(std::max(tops[0], tops[1]), std::max(tops[2], tops[3]));
    for (; i < at + size; ++i) top = std::max(top, std::abs(v.x[i]));

    if (silent_ && top > set_in_limit_) set_in(v.time_s(at));
    if (state_ == State::Steady) {
      // Only a step that is far under its forerunners is worth more than a comparison.
      if (seen_ >= history && top < 0.3F * peaks_[(seen_ + history - 2) % history] + quietest * vanished) {
        const float whole = recent_peak(0, history);
        if (whole > quietest && top < cut_vanished * whole) {
          // Just before as loud as 10 to 20 ms before.
          const float just = recent_body(just_steps);
          const float early = recent_peak(20, 20);
          before_ = whole;
          was_steady_ = top < vanished * whole && just > steady * whole && early > steady * whole && lasted();
          limit_ = was_steady_ ? vanished * whole : cut_vanished * just;
          habit_ = habit(whole);
          const std::size_t from = first_gone(v, at, size);
          broke_off_ = just > quietest && top < cut_vanished * just && in_sound(just) &&
                       has_edge(v.x, from, recent_peak(0, just_steps), v.rate_hz);
          if (was_steady_ || broke_off_) start(v, from);
        }
      }
    } else if (state_ == State::Low) {
      bool frozen = true;
      for (std::size_t n = at + 1; n < at + size && frozen; ++n) frozen = v.x[n] == v.x[at];
      if (!frozen && frozen_ >= frozen_steps) left_frozen_ = true;
      frozen_ = frozen ? frozen_ + 1 : 0;
      if (top < limit_ && !left_frozen_) {
        ++low_;
        if (static_cast<double>(low_) * step_s > longest_s) {
          done.push_back({start_s_, longest_s, start_s_ - set_in_s_, was_steady_, false});
          state_ = State::Steady;
          silent_ = true;
          set_in_limit_ = limit_;
          seen_ = 0;
        }
      } else {
        std::size_t n = at;
        const float value = v.x[at];
        while (n < at + size && (left_frozen_ ? v.x[n] == value : std::abs(v.x[n]) < limit_)) ++n;
        end_s_ = v.time_s(n);
        state_ = State::Returned;
        after_ = 0;
        after_peak_ = after_first_ = 0.0F;
      }
    }
    if (state_ == State::Returned) {
      after_peak_ = std::max(after_peak_, top);
      if (after_ < 6) after_first_ = std::max(after_first_, top);
      after_tops_[after_] = top;
      if (++after_ >= settle_steps) {
        // A contact ticks as it closes, so the middle of the steps, not their largest, says that it is not
        // louder.
        const auto middle = dsp::quantile(after_tops_, 0.5);
        const bool same = after_peak_ > steady * before_ && steady * middle < before_;
        const bool sounds = std::ranges::count_if(
                                after_tops_, [&](float t) { return t > back_again * before_; }) >= back_steps;
        const bool sudden = after_first_ > steady * after_peak_;
        const double length_s = end_s_ - start_s_;
        const bool unusual = was_steady_ && length_s > static_cast<double>(over_habit * habit_) * step_s;
        const bool gap = unusual && same && sudden && length_s >= shortest_s;
        const auto end = static_cast<std::ptrdiff_t>(std::lround(end_s_ * v.rate_hz)) -
                         static_cast<std::ptrdiff_t>(v.first);
        const auto back = [&] {
          return left_frozen_ || (end >= 0 && has_edge_after(v.x, static_cast<std::size_t>(end), v.rate_hz));
        };
        const bool cut = (broke_off_ || unusual) && length_s >= shortest_s && sounds && back();
        if (gap || cut) done.push_back({start_s_, length_s, start_s_ - set_in_s_, was_steady_, true});
        set_in(end_s_);
        state_ = State::Steady;
      }
    }
    if (state_ != State::Low) {
      peaks_[seen_ % history] = top;
      ++seen_;
      stretch_peak_ = std::max(stretch_peak_, top);
      if (seen_ % history == 0) {
        stretch_peaks_[stretch_count_++ % stretches] = stretch_peak_;
        note_silence();
        stretch_peak_ = 0;
      }
    }
  }
}

}  // namespace linebench::measure
