// Dropouts, by the largest sample of each half millisecond.
#include <algorithm>
#include <cmath>
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

void DropoutSearch::start(const EventView& v, std::size_t at, std::size_t size) {
  // The last sample that still stood out, at most two steps back.
  const float limit = vanished * before_;
  std::size_t i = at;
  while (i > 0 && at - i < 2 * size && std::abs(v.x[i - 1]) < limit) --i;
  start_s_ = v.time_s(i);
  low_ = 1;
  state_ = State::Low;
}

LINEBENCH_VECTORISED void DropoutSearch::search(const EventView& v, std::vector<Event>& done) {
  const auto size = std::max<std::size_t>(4, static_cast<std::size_t>(std::lround(step_s * v.rate_hz)));
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

    if (state_ == State::Steady) {
      // Only a step that is far under its forerunners is worth more than a comparison.
      if (seen_ >= history && top < 0.3F * peaks_[(seen_ + history - 2) % history] + quietest * vanished) {
        const float whole = recent_peak(0, history);
        if (whole > quietest && top < vanished * whole) {
          // Just before (3 ms, the very last step aside: it may hold the edge) as loud as 10 to 20 ms before.
          const float just = recent_peak(0, 6);
          const float early = recent_peak(20, 20);
          before_ = whole;
          if (just > steady * whole && early > steady * whole && lasted()) start(v, at, size);
        }
      }
    } else if (state_ == State::Low) {
      if (top < vanished * before_) {
        ++low_;
        if (static_cast<double>(low_) * step_s > longest_s) {
          state_ = State::Steady;
          seen_ = 0;
        }
      } else {
        std::size_t n = at;
        while (n < at + size && std::abs(v.x[n]) < vanished * before_) ++n;
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
        const auto middle = after_tops_.begin() + settle_steps / 2;
        std::nth_element(after_tops_.begin(), middle, after_tops_.end());
        const bool same = after_peak_ > steady * before_ && steady * *middle < before_;
        const bool sudden = after_first_ > steady * after_peak_;
        if (same && sudden && end_s_ - start_s_ >= shortest_s) done.push_back({start_s_, end_s_ - start_s_});
        state_ = State::Steady;
      }
    }
    if (state_ != State::Low) {
      peaks_[seen_ % history] = top;
      ++seen_;
      stretch_peak_ = std::max(stretch_peak_, top);
      if (seen_ % history == 0) {
        stretch_peaks_[stretch_count_++ % stretches] = stretch_peak_;
        stretch_peak_ = 0;
      }
    }
  }
}

}  // namespace linebench::measure
