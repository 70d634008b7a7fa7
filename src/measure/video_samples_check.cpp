#include "video_samples_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string_view>

namespace linebench::measure {
namespace {

constexpr double most_gain = 6;  // sync of 1.8 V: no fault of a level does that
constexpr double least_gain = 0.08;
constexpr double least_rate_for_noise_hz = 9e6;  // twice the higher subcarrier
constexpr double porch_from_us = 8.3;            // behind the burst, before the picture
constexpr double porch_to_us = 9.0;

constexpr double sync_mv = 300;       // near enough, of either standard
constexpr double least_step_mv = 70;  // of a ten-riser staircase
constexpr double pi = std::numbers::pi;

enum class End { Sync, White };

bool starts_with_any(std::string_view id, std::initializer_list<std::string_view> stems) {
  return std::any_of(stems.begin(), stems.end(), [&](std::string_view s) { return id.starts_with(s); });
}

// Readings that stand on the level of that end of the signal.
bool stands_on(End end, std::string_view id) {
  if (end == End::Sync)
    return starts_with_any(id, {"video.sync.amplitude", "video.gain", "video.termination", "video.snr.",
                                "video.sync.width", "video.sync.rise"});
  return starts_with_any(
      id, {"video.white", "video.clipped", "video.apl", "video.bars.", "video.k2t", "video.pulse_bar",
           "video.nonlinearity", "video.differential_", "video.line_tilt", "video.field_tilt",
           "video.multiburst", "video.chroma_", "video.noise", "video.snr."});
}

// Readings that guess at a cause by the shape or level of sync: what they say of one that was clipped is not
// so, even where they give no number.
bool guesses_by_sync(std::string_view id) {
  return starts_with_any(id, {"video.termination", "video.cable.", "video.echo."});
}

template <class Spoiled>
void spoil(Readings& readings, const std::string& reason, const Spoiled& spoiled) {
  for (Reading& r : readings) {
    if (r.measured() && spoiled(r)) r = unmeasurable(r.id, reason);
  }
}

template <class Chosen>
void replace(Readings& readings, const std::string& reason, const Chosen& chosen) {
  for (Reading& r : readings) {
    if (chosen(r.id)) r = unmeasurable(r.id, reason);
  }
}

// Many samples at the very same extreme, in a signal whose noise would spread them.
bool stuck(std::uint64_t at_end, const VideoReceiver::Counts& c, double noise_mv, double quantum_mv,
           double share) {
  return noise_mv > 1.5 * quantum_mv && noise_mv > 0.2 &&
         static_cast<double>(at_end) > share * static_cast<double>(c.samples);
}

// Noise of half a step or more spreads a level over several steps, and its mean is right; with less the mean
// of a quantised level is off by q/pi sin(2 pi x/q) e^(-2 pi^2 sigma^2/q^2) at most, the first term of its
// Fourier series [Widrow 1956]; two levels make a reading.
void count_steps(double noise_mv, double quantum_mv, Readings& readings) {
  if (!(quantum_mv > 0)) return;
  const double sigma2 = std::max(0.0, noise_mv * noise_mv - quantum_mv * quantum_mv / 12);
  const double ratio = 2 * pi * pi * sigma2 / (quantum_mv * quantum_mv);
  const double off_mv = 0.8 * quantum_mv * std::exp(-ratio);
  for (Reading& r : readings) {
    if (!r.measured() || !r.uncertainty) continue;
    const bool level = starts_with_any(r.id, {"video.sync.amplitude", "video.white", "video.setup",
                                              "video.blanking.level"}) ||
                       (r.id.starts_with("video.bars.") && r.id.ends_with(".luma"));
    if (level) r.uncertainty = std::hypot(*r.uncertainty, off_mv);
    if (r.id == "video.gain") r.uncertainty = std::hypot(*r.uncertainty, 100 * off_mv / sync_mv);
    if (r.id == "video.nonlinearity")
      r.uncertainty = std::hypot(*r.uncertainty, 100 * off_mv / least_step_mv);
  }
}

// Where the subcarrier lies close below half the rate, the recorder's filter cuts its upper sideband off:
// burst and bars ring over their whole length, and the ringing of colour lies among the noise. Of a steep
// filter, by trial: 4.2 % of the burst 0.52 MHz below, 3.4 % 0.57 MHz, 0.4 % 0.92 MHz.
void near_the_limit(const VideoSetup& setup, Readings& readings) {
  if (!(setup.subcarrier_hz > 0)) return;
  const double margin_mhz = (setup.rate_hz / 2 - setup.subcarrier_hz) * 1e-6;
  const double part = std::exp(-(std::max(margin_mhz, 0.5) - 0.5) / 0.3);
  // The sidebands of a burst's own edges of 0.3 us reach out to 2 MHz: cut on one side, they move its level.
  const double sidebands = std::clamp((2.0 - margin_mhz) / 0.4, 0.0, 1.0);
  // Below 0.65 MHz a bar rings over most of its length: 3.6 % and 0.8 deg were seen.
  const double bars_ring = std::clamp((0.68 - margin_mhz) / 0.05, 0.0, 1.0);
  constexpr double least_margin_mhz = 0.8;
  for (Reading& r : readings) {
    if (!r.measured() || !r.uncertainty) continue;
    const auto widen = [&](double by) { r.uncertainty = std::hypot(*r.uncertainty, by * part); };
    if (r.id == "video.burst.amplitude") {
      widen(0.06 * r.number());
      r.uncertainty = std::hypot(*r.uncertainty, 0.004 * r.number() * sidebands);
    }
    if (r.id == "video.burst.start" || r.id == "video.breezeway") widen(0.032);
    if (r.id == "video.burst.cycles") widen(0.2);
    if (r.id.starts_with("video.bars.") && r.id.ends_with(".chroma")) {
      widen(0.009 * r.number());
      r.uncertainty = std::hypot(*r.uncertainty, 0.045 * r.number() * bars_ring);
    }
    if (r.id.starts_with("video.bars.") && r.id.ends_with(".phase")) {
      widen(0.5);
      r.uncertainty = std::hypot(*r.uncertainty, 1.0 * bars_ring);
    }
    if (margin_mhz < least_margin_mhz && starts_with_any(r.id, {"video.noise", "video.snr."})) {
      r = unmeasurable(
          r.id,
          fmt::format("{:.3g} MS/s: colour lies at the recorder's limit, and what its filter makes of it "
                      "looks like noise; take the capture at 13.5 MS/s or more",
                      setup.rate_hz * 1e-6));
    }
  }
}

// All that rises above one level stands at the very same value.
void replace_by_cut(const VideoSetup& setup, std::uint64_t at_end, const VideoReceiver::Counts& c,
                    Readings& readings) {
  const double share = 100.0 * static_cast<double>(at_end) / static_cast<double>(c.samples);
  const double end_mv = 1e3 * (setup.inverted ? -c.lowest_v : c.highest_v);
  const Reading* blanking = find_reading(readings, "video.blanking.level");
  for (Reading& r : readings) {
    if (r.id == "video.clipped")
      r = number_reading(
          r.id, share, 0.5 * share,
          "of the samples stand at the very highest value: the recorder's range ends there, or it came in "
          "cut off; take it once more with a larger range");
    if (r.id == "video.clipped.level" && blanking != nullptr && blanking->measured())
      r = number_reading(r.id, end_mv - blanking->number(), blanking->uncertainty, "re blanking");
  }
}

bool clipped_at_rails(const VideoReceiver::Counts& c) { return c.clipped > c.samples / 20000 + 8; }

}  // namespace

void SampleCheck::line(const LineView& v) {
  if (v.index % 4 != 0 || !v.sync_found || !v.covers(porch_from_us, porch_to_us)) return;
  const auto from = static_cast<std::size_t>(std::ceil(v.position(porch_from_us)));
  const auto to = static_cast<std::size_t>(v.position(porch_to_us));
  for (std::size_t i = from; i < to; ++i) {
    const double d = static_cast<double>(v.mv[i + 1] - v.mv[i]);
    difference2_ += d * d;
    pairs_ += 1;
  }
}

void SampleCheck::finish(const VideoSetup& /*setup*/, Readings& /*out*/) {}

void SampleCheck::check_nothing(const VideoReceiver::Counts& c, Readings& readings) {
  if (!clipped_at_rails(c)) return;
  for (Reading& r : readings) {
    if (r.id != "video.signal") continue;
    r.reason = fmt::format(
        "the recorder clipped: {:.2f} % of the samples stand at its end, they lie between {:.3g} and {:.3g} "
        "V; "
        "use a larger range; {}",
        100.0 * static_cast<double>(c.clipped) / static_cast<double>(c.samples), c.lowest_v, c.highest_v,
        r.reason);
  }
}

void SampleCheck::check(const VideoSetup& setup, const VideoReceiver::Counts& c, Readings& readings) const {
  if (setup.gain() > most_gain || setup.gain() < least_gain) {
    const std::string reason = fmt::format(
        "sync of {:.3g} mV cannot be a video level: check the volts per count or the probe's factor",
        setup.sync_mv);
    spoil(readings, reason,
          [](const Reading& r) { return r.unit == "mV" || r.id == "video.gain" || r.id == "video.apl"; });
    // Nor is a bound in millivolts any.
    for (Reading& r : readings) {
      if (r.id == "video.termination" || (r.unit == "mV" && r.at_most)) r = unmeasurable(r.id, reason);
    }
    return;
  }
  if (setup.rate_hz < least_rate_for_noise_hz) {
    const std::string reason = fmt::format(
        "{:.3g} MS/s is too slow: colour folds down among the noise; take the capture at 10 MS/s or more",
        setup.rate_hz * 1e-6);
    spoil(readings, reason, [](const Reading& r) {
      return starts_with_any(r.id, {"video.noise", "video.snr."});
    });
  }
  near_the_limit(setup, readings);
  const double noise_mv = pairs_ > 0 ? std::sqrt(0.5 * difference2_ / pairs_) : setup.noise_mv;
  count_steps(noise_mv, setup.quantum_mv, readings);
  for (const End end : {End::Sync, End::White}) {
    const bool low = (end == End::Sync) != setup.inverted;
    const std::uint64_t at_end = low ? c.at_lowest : c.at_highest;
    const bool hard = clipped_at_rails(c) && at_end > c.samples / 40000 + 4;
    if (!hard && !stuck(at_end, c, noise_mv, setup.quantum_mv, end == End::Sync ? 0.01 : 0.002)) continue;
    const std::string reason = fmt::format(
        "the recorder clipped {}: {:.2f} % of the samples stand at {:.3g} V; use a larger range or less gain "
        "before it",
        end == End::Sync ? "sync" : "the picture",
        100.0 * static_cast<double>(at_end) / static_cast<double>(c.samples), low ? c.lowest_v : c.highest_v);
    spoil(readings, reason, [end](const Reading& r) { return stands_on(end, r.id); });
    if (end == End::Sync) replace(readings, reason, guesses_by_sync);
    // No end of the converter's that is known: it may as well have come in like that.
    if (end == End::White && !hard) replace_by_cut(setup, at_end, c, readings);
  }
}

}  // namespace linebench::measure
