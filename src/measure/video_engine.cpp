#include "video_engine.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace linebench::measure {
namespace {

constexpr std::size_t chunk = 1U << 16;
constexpr double margin_us = 5.0;       // of a view on either side of its line
constexpr int lines_until_search = 64;  // without sync, before looking for it elsewhere
constexpr double search_ms = 8.0;

}  // namespace

void SampleBuffer::survey(std::span<const float> fresh) {
  // Lanes, so that the compiler can keep them in one register.
  constexpr std::size_t lanes = 8;
  float lo[lanes];
  float hi[lanes];
  std::fill(lo, lo + lanes, fresh[0]);
  std::fill(hi, hi + lanes, fresh[0]);
  std::size_t i = 0;
  for (; i + lanes <= fresh.size(); i += lanes) {
    for (std::size_t k = 0; k < lanes; ++k) {
      lo[k] = fresh[i + k] < lo[k] ? fresh[i + k] : lo[k];
      hi[k] = fresh[i + k] > hi[k] ? fresh[i + k] : hi[k];
    }
  }
  float low = *std::min_element(lo, lo + lanes);
  float high = *std::max_element(hi, hi + lanes);
  for (; i < fresh.size(); ++i) {
    low = std::min(low, fresh[i]);
    high = std::max(high, fresh[i]);
  }
  // How many stand at the extremes: counted over where an extreme was reached, which noise makes seldom.
  const auto count = [&](float end) {
    return static_cast<std::uint64_t>(std::count(fresh.begin(), fresh.end(), end));
  };
  if (!any_ || low < lowest_) at_lowest_ = 0;
  if (!any_ || high > highest_) at_highest_ = 0;
  lowest_ = any_ ? std::min(lowest_, low) : low;
  highest_ = any_ ? std::max(highest_, high) : high;
  if (low == lowest_) at_lowest_ += count(low);
  if (high == highest_) at_highest_ += count(high);
  any_ = true;
  if (rails_ && (low <= rails_->low || high >= rails_->high)) {
    for (const float v : fresh) clipped_ += v <= rails_->low || v >= rails_->high ? 1 : 0;
  }
}

void SampleBuffer::grow(std::size_t samples) {
  if (samples > samples_.size()) samples_.resize(std::max(samples, 3 * samples_.size() / 2));
}

bool SampleBuffer::reach(std::int64_t to) {
  while (end() < to && !ended_) {
    grow(filled_ + chunk);
    const std::span<float> fresh = std::span(samples_).subspan(filled_, chunk);
    const std::size_t n = source_.read(fresh);
    filled_ += n;
    if (n == 0) {
      ended_ = true;
    } else {
      survey(fresh.first(n));
    }
  }
  return end() >= to;
}

void SampleBuffer::forget(std::int64_t to) {
  if (to <= base_) return;
  const auto n = std::min(static_cast<std::size_t>(to - base_), filled_ - head_);
  head_ += n;
  base_ += static_cast<std::int64_t>(n);
  if (head_ > 4 * chunk) {  // move what is left to the front, seldom enough not to count
    filled_ -= head_;
    std::memmove(samples_.data(), samples_.data() + head_, filled_ * sizeof(float));
    head_ = 0;
  }
}

void SampleBuffer::count_into(VideoReceiver::Counts& c) const {
  c.samples = static_cast<std::uint64_t>(end());
  c.clipped = clipped_;
  c.highest_v = static_cast<double>(highest_);
  c.lowest_v = static_cast<double>(lowest_);
  c.at_highest = at_highest_;
  c.at_lowest = at_lowest_;
}

LineEngine::LineEngine(SampleBuffer& buffer, const VideoSetup& setup, const FoundSync& sync,
                       const FieldStructure& fields, const FoundSubcarrier& colour, double back_porch_end_us)
    : buffer_(buffer), setup_(setup), tracker_(setup.rate_hz, sync, back_porch_end_us), counter_(fields) {
  if (colour.found) {
    tracker_.set_probe(0, colour.nominal_hz);
    subcarrier_ = SubcarrierLock(colour, colour.nominal_hz, setup.rate_hz);
  }
}

bool LineEngine::step(std::span<LineMeter* const> meters) {
  const double need = tracker_.next() + tracker_.reach() + 2;
  if (!buffer_.reach(static_cast<std::int64_t>(std::ceil(need)))) return false;
  std::rotate(marks_.begin(), marks_.begin() + 1, marks_.end());
  marks_[2] = tracker_.measure(buffer_.window(setup_.inverted));
  have_ = std::min(have_ + 1, 3);
  ++lines_;
  missing_ += marks_[2].found ? 0 : 1;
  if (have_ >= 2) hand_out(meters);
  if (!keep_all_) {
    const double keep = std::min(marks_[1].t0, tracker_.next() - tracker_.period()) - 12e-6 * setup_.rate_hz;
    buffer_.forget(static_cast<std::int64_t>(keep));
  }
  if (tracker_.lost() >= lines_until_search && tracker_.lost() % lines_until_search == 0 && !keep_all_)
    look_again();
  return true;
}

// Sync has been away for a while: look for it in the next milliseconds, wherever it is now.
void LineEngine::look_again() {
  const auto from = static_cast<std::int64_t>(std::ceil(tracker_.next()));
  (void)buffer_.reach(from + static_cast<std::int64_t>(search_ms * 1e-3 * setup_.rate_hz));
  if (buffer_.end() <= from) return;
  const auto skip = static_cast<std::size_t>(from - buffer_.begin());
  std::vector<float> upright(buffer_.data() + skip,
                             buffer_.data() + static_cast<std::size_t>(buffer_.end() - buffer_.begin()));
  if (setup_.inverted) {
    for (float& v : upright) v = -v;
  }
  const FoundSync again = find_sync(upright, setup_.rate_hz, false);
  if (!again.found || std::abs(again.period_samples / tracker_.period() - 1) > 0.01) return;
  tracker_.relock(again.edge + static_cast<double>(from), again.sync_v);
  ++relocks_;
}

void LineEngine::hand_out(std::span<LineMeter* const> meters) {
  const LineMark& now = marks_[1];
  const LineMark& after = marks_[2];
  const LineMark& before = have_ == 3 ? marks_[0] : marks_[1];
  LineView v;
  v.setup = &setup_;
  v.index = now.index;
  const LineCounter::Number number = counter_.step(now, after);
  const SubcarrierLock::State colour = subcarrier_.step(now, now.t0);
  if (meters.empty()) return;
  v.line = number.line;
  v.field = number.field;
  v.frame = number.frame;
  v.kind = now.pulses ? LineKind::Pulses : LineKind::Picture;
  v.broad_first = now.broad_first;
  v.broad_second = now.broad_second;
  v.sync_found = now.found;
  v.t0 = now.t0;
  v.edge = now.edge;
  v.edge_noise = now.edge_noise;
  v.rate_hz = setup_.rate_hz;
  v.line_period_samples = after.index == now.index + 1 ? after.t0 - now.t0 : tracker_.period();
  v.blanking_mv = 1e3 * now.clamp_v;
  v.tip_mv = 1e3 * (now.tip_v - now.clamp_v);
  v.colour_burst = colour.burst_found;
  v.burst = 1e3 * colour.burst;
  v.subcarrier_hz = colour.hz;
  v.subcarrier_phase = colour.phase;
  v.v_switch = colour.v_switch;
  fill_line(before, now, after, v);
  for (LineMeter* m : meters) m->line(v);
}

// Millivolts less blanking, which runs straight from one line's clamp to the next: hum and field tilt go with
// it.
void LineEngine::fill_line(const LineMark& before, const LineMark& now, const LineMark& after, LineView& v) {
  const double us = setup_.rate_hz * 1e-6;
  const auto from = std::max(buffer_.begin(), static_cast<std::int64_t>(std::floor(now.t0 - margin_us * us)));
  const auto to =
      std::min(buffer_.end(),
               static_cast<std::int64_t>(std::ceil(now.t0 + v.line_period_samples + margin_us * us)) + 1);
  mv_.resize(static_cast<std::size_t>(std::max<std::int64_t>(0, to - from)));
  const float* x = buffer_.data() + (from - buffer_.begin());
  const float scale = setup_.inverted ? -1e3F : 1e3F;
  const auto turn = std::clamp(static_cast<std::int64_t>(std::ceil(now.clamp_at)), from, to);
  const auto ramp = [&](std::int64_t a, std::int64_t b, double slope) {
    const auto n = static_cast<std::size_t>(b - a);
    const float* in = x + (a - from);
    float* out = mv_.data() + (a - from);
    const auto start =
        static_cast<float>(1e3 * (now.clamp_v + slope * (static_cast<double>(a) - now.clamp_at)));
    const auto rise = static_cast<float>(1e3 * slope);
    std::size_t i = 0;
    constexpr std::size_t block = 16;
    for (; i + block <= n; i += block) {
      const float level = start + rise * static_cast<float>(i);
      for (std::size_t k = 0; k < block; ++k)
        out[i + k] = scale * in[i + k] - (level + rise * static_cast<float>(k));
    }
    for (; i < n; ++i) out[i] = scale * in[i] - (start + rise * static_cast<float>(i));
  };
  const auto slope_between = [](const LineMark& a, const LineMark& b) {
    return b.clamp_at > a.clamp_at && b.index == a.index + 1
               ? (b.clamp_v - a.clamp_v) / (b.clamp_at - a.clamp_at)
               : 0.0;
  };
  const double slope_after = slope_between(now, after);
  ramp(from, turn, have_ == 3 ? slope_between(before, now) : slope_after);
  ramp(turn, to, slope_after);
  v.first = from;
  v.mv = mv_;
}

}  // namespace linebench::measure
