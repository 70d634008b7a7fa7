#include "marked_silence.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/measure/statistics.hpp>
#include <numbers>
#include <utility>

namespace linebench::measure {
namespace {

// A burst is cut into this many hops; a window is two of them.
constexpr std::int64_t burst_hops = 16;
// Windows looked at before a burst. Noise that stands steady and that far above six windows comes about once
// in ten million (the windows' powers being exponentially distributed).
constexpr std::int64_t outside = 6;
// Rise and fall of a burst, and a start between two hops, are left out at its ends.
constexpr std::int64_t edge = 3;
constexpr double over_before = 6.0;  // in power
constexpr double steady = 2.5;       // largest over smallest power inside
// In power, within six windows after the end: a room rings on, so less is asked than before the burst.
constexpr double over_after = 4.0;
// Half a second of reverberation (common practice for a counter hall) is 30 dB down after the first.
constexpr double after_s = 0.25;
constexpr double before_s = 0.05;
// What must be there before a hop is judged: a burst from it, its pair, and what follows that.
constexpr std::int64_t ahead = 3 * burst_hops + 2 * outside;

}  // namespace

MarkedSilence::MarkedSilence(double rate_hz, int channels, double marker_hz, double marker_s, Sink sink)
    : rate_hz_(rate_hz),
      channels_(static_cast<std::size_t>(channels)),
      sink_(std::move(sink)),
      hop_(static_cast<std::size_t>(std::llround(rate_hz * marker_s / burst_hops))),
      opened_(channels_),
      markers_(channels_) {
  const double step = 2.0 * std::numbers::pi * marker_hz / rate_hz;
  for (std::size_t n = 0; n < hop_; ++n) {
    const double at = (static_cast<double>(n) + 0.5) / static_cast<double>(hop_);
    const double rise = std::pow(std::sin(0.5 * std::numbers::pi * at), 2);
    // A sine of peak 1 comes out as 1: the window's sum is one hop, and half of the sine turns the other way.
    const auto turned = std::polar(2.0 / static_cast<double>(hop_), -step * static_cast<double>(n));
    rising_.push_back(rise * turned);
    falling_.push_back((1.0 - rise) * turned);
  }
  turn_ = std::polar(1.0, -step * static_cast<double>(hop_));
}

void MarkedSilence::push(std::span<const float> interleaved) {
  const std::size_t whole = hop_ * channels_;
  while (!interleaved.empty()) {
    const auto part = interleaved.first(std::min(interleaved.size(), whole - filling_.size()));
    filling_.insert(filling_.end(), part.begin(), part.end());
    interleaved = interleaved.subspan(part.size());
    if (filling_.size() == whole) close_hop();
  }
}

// The marker's phase is counted from the start of each hop; one turn joins a window's halves.
void MarkedSilence::close_hop() {
  std::vector<double> closed(channels_);
  for (std::size_t c = 0; c < channels_; ++c) {
    std::complex<double> up{};
    std::complex<double> down{};
    for (std::size_t n = 0; n < hop_; ++n) {
      const double v = filling_[n * channels_ + c];
      up += v * rising_[n];
      down += v * falling_[n];
    }
    closed[c] = std::norm(opened_[c] + down * turn_);
    opened_[c] = up;
  }
  if (hops_ > 0) powers_.push_back(std::move(closed));
  held_.push_back(std::exchange(filling_, {}));
  ++hops_;
  while (judged_ + ahead < hops_) judge_hop(judged_++);
}

std::optional<double> MarkedSilence::power(std::int64_t window, std::size_t channel) const {
  const std::int64_t at = window - powers_from_;
  if (at < 0 || at >= static_cast<std::int64_t>(powers_.size())) return std::nullopt;
  return powers_[static_cast<std::size_t>(at)][channel];
}

bool MarkedSilence::stands_out(std::int64_t hop, std::size_t channel) const {
  double least = 0;
  double most = 0;
  for (std::int64_t w = hop + edge; w < hop + burst_hops - edge; ++w) {
    const auto p = power(w, channel);
    if (!p) return false;
    least = w == hop + edge ? *p : std::min(least, *p);
    most = std::max(most, *p);
  }
  if (!(least > 0) || most > steady * least) return false;
  double before = 0;
  int seen = 0;
  for (std::int64_t w = hop - 1 - outside; w < hop - 1; ++w) {
    if (const auto p = power(w, channel)) {
      before = std::max(before, *p);
      ++seen;
    }
  }
  std::optional<double> after;
  for (std::int64_t w = hop + burst_hops + 1; w <= hop + burst_hops + outside; ++w) {
    if (const auto p = power(w, channel)) after = std::min(after.value_or(*p), *p);
  }
  if (after && *after * over_after > least) return false;
  if (seen <
      outside) {  // the capture begins in the burst: what comes after it is all there is to compare with
    if (!after) return false;
    before = std::max(before, *after);
  }
  return least >= over_before * before;
}

bool MarkedSilence::burst_at(std::int64_t hop) const {
  for (std::size_t c = 0; c < channels_; ++c)
    if (stands_out(hop, c)) return true;
  return false;
}

// Whether a second burst follows; also when the capture ends before it could be seen.
bool MarkedSilence::pair_at(std::int64_t hop) const {
  const std::int64_t second = hop + 2 * burst_hops;
  if (second + burst_hops - edge > hops_) return from_.has_value();
  for (std::int64_t k = -1; k <= 2; ++k)  // a start between two hops shows at either
    if (burst_at(second + k)) return true;
  return false;
}

std::optional<MarkedSilence::Marker> MarkedSilence::marker(std::int64_t hop, std::size_t channel) const {
  if (!stands_out(hop, channel)) return std::nullopt;
  double sum = 0;
  double squares = 0;
  int n = 0;
  for (std::int64_t w = hop + edge; w < hop + burst_hops - edge; ++w, ++n) {
    const double p = *power(w, channel);
    sum += p;
    squares += p * p;
  }
  const double mean = sum / n;
  const double spread = std::sqrt(std::max(0.0, squares / n - mean * mean));
  // Overlapping windows: every second one tells something new. The floor is what a window holds of the
  // burst's rise when it begins between two hops.
  constexpr double floor_db = 0.013;
  const double u = expanded_u_db(mean, spread / std::sqrt(n / 2.0));
  return Marker{10.0 * std::log10(mean), std::hypot(u, floor_db)};
}

std::int64_t MarkedSilence::hops_in(double seconds) const {
  return static_cast<std::int64_t>(std::ceil(seconds * rate_hz_ / static_cast<double>(hop_)));
}

void MarkedSilence::judge_hop(std::int64_t hop) {
  if (hop >= skip_to_ && !to_ && burst_at(hop)) {
    const bool pair = pair_at(hop);
    if (!pair && !from_) begin_silence(hop);
    if (pair && from_) to_ = std::max(*from_, hop - 1 - hops_in(before_s));
    skip_to_ = hop + (pair ? 3 : 1) * burst_hops + 2;
  }
  // A burst that begins at the next hop must still find what is before it, and the guard not yet let through.
  const std::int64_t done = hop - outside - 2 - hops_in(before_s);
  let_through(to_.value_or(done));
  for (; held_from_ < done && !held_.empty(); ++held_from_) held_.pop_front();
  for (; powers_from_ < done && !powers_.empty(); ++powers_from_) powers_.pop_front();
}

void MarkedSilence::begin_silence(std::int64_t hop) {
  from_ = hop + burst_hops + 2 + hops_in(after_s);
  for (std::size_t c = 0; c < channels_; ++c) {
    for (std::int64_t k = 0; k <= 2; ++k) {  // the hop from which the burst lies whole inside reads highest
      const auto m = marker(hop + k, c);
      if (m && (!markers_[c] || m->level_dbfs > markers_[c]->level_dbfs)) markers_[c] = m;
    }
  }
}

void MarkedSilence::let_through(std::int64_t to_hop) {
  if (!from_) return;
  for (; held_from_ < to_hop && !held_.empty(); ++held_from_) {
    if (held_from_ >= *from_) sink_(held_.front());
    held_.pop_front();
  }
}

MarkedSilence::Result MarkedSilence::finish() {
  while (judged_ < hops_) judge_hop(judged_++);
  const std::int64_t end = to_.value_or(hops_);
  if (!from_ || end <= *from_) return {.markers = markers_};
  let_through(end);
  const double hop_s = static_cast<double>(hop_) / rate_hz_;
  return {.found = true,
          .ended = to_.has_value(),
          .from_s = static_cast<double>(*from_) * hop_s,
          .to_s = static_cast<double>(end) * hop_s,
          .markers = markers_};
}

}  // namespace linebench::measure
