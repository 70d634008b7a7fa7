#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/phone_burst.hpp>
#include <linebench/measure/statistics.hpp>
#include <numbers>

#include "hum_frames.hpp"
#include "phone_burst_core.hpp"

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::size_t most_teeth = 10;
constexpr std::size_t window_step = 4;
constexpr double steady_coherence = 0.75;
constexpr double stands_out = 4.0;  // in power over half way to the neighbours
// Of the teeth, how many must agree; mains at 50 Hz can fake every third only.
constexpr double agreeing = 0.6;
constexpr std::size_t fewest_teeth = 5;

}  // namespace

PhoneBurstCore::PhoneBurstCore(const FrameGrid& grid) : grid_(grid) {
  for (std::size_t k = 1; k <= most_teeth; ++k) {
    const double hz = phone_frame_rate_hz * static_cast<double>(k);
    if (hz + 0.5 * phone_frame_rate_hz > grid.top_hz) break;
    Tooth t;
    t.bin = static_cast<std::size_t>(std::lround(hz / grid.bin_hz));
    t.below = static_cast<std::size_t>(std::lround((hz - 0.5 * phone_frame_rate_hz) / grid.bin_hz));
    t.above = static_cast<std::size_t>(std::lround((hz + 0.5 * phone_frame_rate_hz) / grid.bin_hz));
    t.gain = frame_response(hz / grid.bin_hz - static_cast<double>(t.bin));
    t.z.resize(window_frames);
    t.beside.resize(window_frames);
    teeth_.push_back(std::move(t));
  }
}

void PhoneBurstCore::frame(std::span<const std::complex<float>> bins) {
  const std::size_t at = frames_ % window_frames;
  for (std::size_t k = 0; k < teeth_.size(); ++k) {
    Tooth& t = teeth_[k];
    const double turns = std::fmod(
        phone_frame_rate_hz * static_cast<double>(k + 1) * grid_.hop_s * static_cast<double>(frames_), 1.0);
    t.z[at] = Complex(bins[t.bin]) * std::polar(1.0 / t.gain, -two_pi * turns);
    t.beside[at] = 0.5 * static_cast<double>(std::norm(bins[t.below]) + std::norm(bins[t.above]));
  }
  ++frames_;
  if (frames_ >= window_frames && frames_ % window_step == 0) judge();
}

void PhoneBurstCore::judge() {
  constexpr double n = window_frames;
  const std::size_t oldest = frames_ % window_frames;
  std::size_t good = 0;
  std::size_t off_thirds = 0;
  double power = 0.0;
  double limit = 0.0;
  double slope = 0.0;
  double slope_weight = 0.0;
  for (std::size_t k = 0; k < teeth_.size(); ++k) {
    const Tooth& t = teeth_[k];
    Complex sum = 0;
    Complex lagged = 0;
    double square = 0.0;
    double beside = 0.0;
    for (std::size_t m = 0; m < window_frames; ++m) {
      const Complex z = t.z[(oldest + m) % window_frames];
      sum += z;
      square += std::norm(z);
      beside += t.beside[m];
      if (m + 4 < window_frames) lagged += t.z[(oldest + m + 4) % window_frames] * std::conj(z);
    }
    power += 0.5 * std::norm(sum / n);
    limit += 0.5 * stands_out * beside / n;
    if (!(square > stands_out * beside) || std::norm(sum) < steady_coherence * n * square) continue;
    ++good;
    off_thirds += (k + 1) % 3 != 0 ? 1 : 0;
    const double order = static_cast<double>(k + 1);
    const double w = std::abs(lagged);
    slope += w * order * std::arg(lagged) / (two_pi * 4.0 * grid_.hop_s);
    slope_weight += w * order * order;
  }
  if (!std::isfinite(power) || !std::isfinite(limit)) return;
  windows_ += 1.0;
  beside_sum_ += limit;
  const auto needed =
      std::max(static_cast<double>(fewest_teeth), agreeing * static_cast<double>(teeth_.size()));
  if (static_cast<double>(good) < needed || off_thirds < 3 || slope_weight <= 0.0) return;
  if (hits_ <= 0.0) first_s_ = static_cast<double>(frames_ - window_frames) * grid_.hop_s;
  hits_ += 1.0;
  const double offset = slope / slope_weight;
  offset_sum_ += offset;
  offset_square_ += offset * offset;
  power_sum_ += power;
  power_square_ += power * power;
  power_cube_ += power * power * power;
}

PhoneBurstResult PhoneBurstCore::finish() const {
  PhoneBurstResult r;
  r.seconds = frames_ > 0 ? static_cast<double>(frames_ + 3) * grid_.hop_s : 0.0;
  r.too_short = windows_ <= 0.0 || teeth_.size() < fewest_teeth;
  if (r.too_short) return r;
  r.least_power = std::max(beside_sum_ / windows_, 1e-16);
  r.found = hits_ > 0.0;
  if (!r.found) return r;
  const double mean = offset_sum_ / hits_;
  // Windows overlap by half: every second one is new. With few of them the spread is not known; then 0.05 Hz,
  // what one window resolves.
  const double fresh = std::max(1.0, 0.5 * hits_);
  const double spread = std::sqrt(std::max(0.0, offset_square_ / hits_ - mean * mean));
  r.rate_hz = phone_frame_rate_hz + mean;
  r.rate_u = std::max(spread, 0.05) / std::sqrt(fresh);
  // Weighted by itself, so that windows a burst fills in part count less.
  r.power = power_square_ / power_sum_;
  const double scatter = std::sqrt(std::max(0.0, power_cube_ / power_sum_ - r.power * r.power));
  r.power_u = std::max(scatter / std::sqrt(fresh), 0.06 * r.power);
  r.burst_seconds = (hits_ + 1.0) * static_cast<double>(window_step) * grid_.hop_s;
  r.first_s = first_s_;
  return r;
}

struct PhoneBurstAnalyser::Impl {
  explicit Impl(double rate_hz)
      : frames(rate_hz), core({frames.hop_s(), frames.bin_hz(), frames.bins(), frames.top_hz()}) {}
  LowBandFrames frames;
  PhoneBurstCore core;
};

PhoneBurstAnalyser::PhoneBurstAnalyser(double rate_hz) : impl_(std::make_unique<Impl>(rate_hz)) {}
PhoneBurstAnalyser::~PhoneBurstAnalyser() = default;
PhoneBurstAnalyser::PhoneBurstAnalyser(PhoneBurstAnalyser&&) noexcept = default;
PhoneBurstAnalyser& PhoneBurstAnalyser::operator=(PhoneBurstAnalyser&&) noexcept = default;

void PhoneBurstAnalyser::push(std::span<const float> channel_samples) {
  impl_->frames.push(channel_samples,
                     [this](std::span<const std::complex<float>> f) { impl_->core.frame(f); });
}

PhoneBurstResult PhoneBurstAnalyser::finish() { return impl_->core.finish(); }

Readings to_readings(const PhoneBurstResult& result, std::string_view suffix) {
  const std::string rate = fmt::format("audio.phone_burst.rate{}", suffix);
  const std::string level = fmt::format("audio.phone_burst.level{}", suffix);
  if (result.too_short) {
    const std::string reason =
        fmt::format("too short for mobile-phone bursts: {:.1f} s or more is needed", shortest_phone_burst_s);
    return {unmeasurable(rate, reason), unmeasurable(level, reason)};
  }
  if (!result.found) {
    const double limit = dbfs_from_power(result.least_power);
    const std::string reason = fmt::format("no bursts found: any there are below {:.1f} dBFS", limit);
    return {unmeasurable(rate, reason), unmeasurable(level, reason, limit)};
  }
  const std::string when =
      fmt::format("bursts for {:.1f} s in all, from {:.1f} s on", result.burst_seconds, result.first_s);
  return {number_reading(rate, result.rate_hz, 2.0 * result.rate_u, when),
          number_reading(level, dbfs_from_power(result.power), expanded_u_db(result.power, result.power_u))};
}

}  // namespace linebench::measure
