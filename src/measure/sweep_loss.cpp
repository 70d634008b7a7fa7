#include "sweep_loss.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.005;
constexpr std::size_t frame_blocks = 8;
// Under it lie hum and rumble.
constexpr double highpass_hz = 300;
// A signal this far under itself is gone, not quieter (common practice: 20 dB is inaudible beside it).
constexpr double gone_db = 20;
// The level of a sine in a block moves by so much where few of its periods fill one.
constexpr double still_db = 3;
// From whole to gone, with a block that was cut in two between them.
constexpr std::size_t fall_blocks = 2;
// The edge of a filter without any slope, in Fresnel's measure v = t sqrt(2 k) of a sweep that climbs by k
// hertz a second: no stretch of it two wide falls by as much as what counts here as gone (the amplitude is
// 1/2 at the edge, 1/(pi sqrt(2) v) well behind it).
constexpr double widest_fall_v = 2;
// Two ways of one length but for an echo's delay cancel for a moment.
constexpr std::size_t least_gone_blocks = 12;
constexpr std::size_t back_blocks = 4;
// What the fade at its end and delays of a path come to.
constexpr double least_missing_s = 0.12;
// So far back the sweep must have been where it was due; a tone beside it was not.
constexpr std::size_t glide_frames = 5;
constexpr double glide_share = 0.4;
constexpr std::size_t most_blocks = 24000;

double growth_of(const signals::Recipe& sent) {
  return sent.number("seconds") / std::log(sent.number("to_hz") / sent.number("from_hz"));
}

double peak_hz(std::span<const std::complex<double>> spectrum, double bin_hz) {
  std::size_t best = 1;
  for (std::size_t k = 1; k + 1 < spectrum.size(); ++k) {
    if (std::norm(spectrum[k]) > std::norm(spectrum[best])) best = k;
  }
  const auto level = [&](std::size_t k) { return std::log(std::norm(spectrum[k]) + 1e-30); };
  const double l = level(best - 1), m = level(best), h = level(best + 1);
  const double bend = l - 2 * m + h;
  const double off = bend < 0 ? std::clamp(0.5 * (l - h) / bend, -0.5, 0.5) : 0.0;
  return (static_cast<double>(best) + off) * bin_hz;
}

}  // namespace

bool SweepLoss::tells(const signals::Recipe& sent) {
  return sent.kind->name == "sweep" && sent.has("seconds");
}

SweepLoss::SweepLoss(double rate_hz, const signals::Recipe& sent)
    : to_hz_(sent.number("to_hz")),
      growth_s_(growth_of(sent)),
      rate_hz_(rate_hz),
      block_samples_(static_cast<std::size_t>(std::lround(block_s * rate_hz))),
      block_s_(static_cast<double>(block_samples_) / rate_hz),
      filter_(dsp::butterworth_highpass(2, highpass_hz, rate_hz)),
      frame_(frame_blocks * block_samples_) {}

void SweepLoss::push(std::span<const float> samples) {
  for (const float x : samples) {
    if (blocks_.size() == most_blocks) return;
    const double y = filter_.step(x);
    sum_ += y * y;
    frame_.input()[blocks_.size() % frame_blocks * block_samples_ + filled_] = y;
    if (++filled_ == block_samples_) close_block();
  }
}

void SweepLoss::close_block() {
  blocks_.push_back(static_cast<float>(sum_ / static_cast<double>(block_samples_)));
  filled_ = 0;
  sum_ = 0;
  if (blocks_.size() % frame_blocks != 0) return;
  const auto n = static_cast<double>(frame_.size());
  for (std::size_t i = 0; i < frame_.size(); ++i)
    frame_.input()[i] *= 0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) / n);
  frame_.forward();
  hz_.push_back(peak_hz(frame_.output(), rate_hz_ / n));
}

// At level up to block i, and gone from the next but one on.
bool SweepLoss::falls_at(const std::vector<double>& db, std::size_t i) const {
  const auto at = [&](std::size_t k) { return db.begin() + static_cast<std::ptrdiff_t>(k); };
  const double level = dsp::median(std::vector<double>(at(i + 1 - frame_blocks), at(i + 1)));
  return db[i] > level - still_db && std::all_of(at(i + fall_blocks), at(i + fall_blocks + least_gone_blocks),
                                                 [&](double v) { return v < level - gone_db; });
}

bool SweepLoss::glides_to(std::size_t frame) const {
  if (frame < glide_frames) return false;
  const double due =
      static_cast<double>(glide_frames * frame_blocks) * block_s_ / growth_s_;  // in nepers of frequency
  return std::abs(std::log(hz_[frame] / hz_[frame - glide_frames]) - due) < glide_share * due;
}

SteadyLossResult SweepLoss::finish() const {
  SteadyLossResult out;
  std::vector<double> db;
  for (const float p : blocks_) db.push_back(dbfs_from_power(std::max<double>(p, 1e-16)));
  for (std::size_t i = frame_blocks; i + fall_blocks + least_gone_blocks <= db.size(); ++i) {
    if (!falls_at(db, i)) continue;
    // The last frame that holds nothing of the fall.
    const std::size_t frame = (i + 1) / frame_blocks - 1;
    if (!glides_to(frame)) continue;
    const double middle = (static_cast<double>(frame) + 0.5) * static_cast<double>(frame_blocks);
    const double hz = hz_[frame] * std::exp((static_cast<double>(i + 1) - middle) * block_s_ / growth_s_);
    const double climb = hz / growth_s_;
    if (static_cast<double>(fall_blocks) * block_s_ * std::sqrt(2 * climb) > widest_fall_v) continue;

    const std::size_t from = i + 1;
    const double gone = db[i] - gone_db;
    std::size_t to = from + 1;
    std::size_t above = 0;
    for (; to < db.size() && above < back_blocks; ++to) above = db[to] > gone ? above + 1 : 0;
    const bool last = above < back_blocks;
    if (!last) to -= back_blocks;
    const double due_s = static_cast<double>(from) * block_s_ + growth_s_ * std::log(to_hz_ / hz);
    const double from_s = static_cast<double>(from) * block_s_;
    const double length_s = std::min(static_cast<double>(to) * block_s_, due_s) - from_s;
    if (last && length_s < least_missing_s) break;
    keep_event(out.losses, {from_s, length_s});
    out.to_the_end = last;
    i = to;
  }
  return out;
}

}  // namespace linebench::measure
