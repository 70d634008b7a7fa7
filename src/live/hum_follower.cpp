#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <linebench/dsp/decimator.hpp>
#include <linebench/live/hum_follower.hpp>
#include <optional>

#include "recent.hpp"

namespace linebench::live {
namespace {

using measure::HumResult;

constexpr double lowest_rate_hz = 8000;  // the analyser's least
constexpr double tick_s = 0.2;
constexpr double short_s = 0.45;
constexpr double settled_s = 0.65;  // from here on the window itself is fitted
constexpr double longest_s = 10;
constexpr double growth = 1.2;  // a longer window is fitted when it is worth it
constexpr double slide_s = 1;
constexpr double sigmas = 3;
constexpr double least_change = 0.1;  // of the power: 0.4 dB
constexpr int in_a_row = 2;

// Whether two fits cannot be of the same hum.
bool contradicts(const HumResult& now, const HumResult& before) {
  if (now.found != before.found) {
    const HumResult& with = now.found ? now : before;
    const HumResult& without = now.found ? before : now;
    return with.power - sigmas * with.power_u > without.least_power;
  }
  if (!now.found) return false;
  const double difference = std::abs(now.power - before.power);
  return difference > sigmas * std::hypot(now.power_u, before.power_u) &&
         difference > least_change * std::max(now.power, before.power);
}

}  // namespace

struct HumFollower::Impl {
  Impl(double rate_hz, measure::HumOptions o)
      : options(std::move(o)),
        decimator(rate_hz, lowest_rate_hz),
        rate(decimator.rate_hz()),
        recent(samples(longest_s)) {
    nothing_yet();
  }

  [[nodiscard]] std::size_t samples(double seconds) const {
    return static_cast<std::size_t>(std::llround(seconds * rate));
  }
  [[nodiscard]] double seconds(std::uint64_t n) const { return static_cast<double>(n) / rate; }

  void nothing_yet() {
    const std::string why =
        fmt::format("hum needs {} s of signal, {:.1f} s are there", short_s, seconds(taken));
    readings = {unmeasurable("audio.hum.level", why), unmeasurable("audio.hum.frequency", why),
                unmeasurable("audio.hum.kind", why)};
  }

  [[nodiscard]] HumResult fit(double length_s) const {
    measure::HumAnalyser analyser(rate, options);
    analyser.push(recent.last(samples(length_s)));
    return analyser.finish();
  }

  void take(HumResult r, double length_s) {
    window = length_s;
    readings = measure::to_readings(r, "");
    for (Reading& one : readings) {
      if (one.id != "audio.hum.level") continue;
      const std::string over = fmt::format("over {:.1f} s{}", window, window < longest_s ? ", growing" : "");
      one.reason = one.reason.empty() ? over : one.reason + "; " + over;
    }
    shown = std::move(r);
  }

  void start_again(std::uint64_t from) {
    start = from;
    fitted = {};
    fitted_s = 0;
    contradictions = 0;
  }

  // @return a newer fit was taken.
  bool tick() {
    if (recent.size() < samples(short_s)) {
      nothing_yet();
      return false;
    }
    const HumResult now = fit(short_s);
    const HumResult* against = fitted ? &*fitted : nullptr;
    if (against != nullptr && contradicts(now, *against)) {
      if (++contradictions == 1) first_contradiction = taken;
      if (contradictions >= in_a_row) {
        start_again(first_contradiction);
        ++changes;
      }
    } else {
      contradictions = 0;
    }
    const double since = std::min(seconds(taken - start), longest_s);
    if (since < settled_s) {
      take(now, short_s);
      return true;
    }
    const bool full = since >= longest_s;
    const bool due = !fitted || (full ? seconds(taken - fitted_at) >= slide_s : since >= growth * fitted_s);
    if (!due) return false;
    fitted = fit(since);
    fitted_s = since;
    fitted_at = taken;
    take(*fitted, since);
    return true;
  }

  bool push(std::span<const float> x) {
    bool newer = false;
    std::span<const float> low = decimator.push(x);
    const std::size_t step = samples(tick_s);
    while (!low.empty()) {
      const std::size_t n = std::min(low.size(), step - since_tick);
      recent.push(low.first(n));
      low = low.subspan(n);
      taken += n;
      since_tick += n;
      if (since_tick < step) continue;
      since_tick = 0;
      newer = tick() || newer;
    }
    return newer;
  }

  measure::HumOptions options;
  dsp::Decimator decimator;
  double rate;
  Recent recent;
  std::uint64_t taken = 0;
  std::size_t since_tick = 0;
  std::uint64_t start = 0;  // sample at which the window begins
  std::optional<HumResult> fitted;
  double fitted_s = 0;
  std::uint64_t fitted_at = 0;
  HumResult shown;
  double window = 0;
  int contradictions = 0;
  std::uint64_t first_contradiction = 0;
  std::uint64_t changes = 0;
  Readings readings;
};

HumFollower::HumFollower(double rate_hz, const measure::HumOptions& options)
    : impl_(std::make_unique<Impl>(rate_hz, options)) {}
HumFollower::~HumFollower() = default;
HumFollower::HumFollower(HumFollower&&) noexcept = default;
HumFollower& HumFollower::operator=(HumFollower&&) noexcept = default;

bool HumFollower::push(std::span<const float> channel_samples) { return impl_->push(channel_samples); }
const Readings& HumFollower::readings() const { return impl_->readings; }
double HumFollower::window_s() const { return impl_->window; }
std::uint64_t HumFollower::changes() const { return impl_->changes; }

}  // namespace linebench::live
