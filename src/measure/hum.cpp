#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/hum.hpp>
#include <linebench/measure/statistics.hpp>

#include "hum_core.hpp"
#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

constexpr double field_rate_525_hz = 60.0 * 1000.0 / 1001.0;

std::string left_out_remark(const HumResult& r) {
  if (r.left_out.empty()) return {};
  std::string list;
  for (std::size_t i = 0; i < std::min<std::size_t>(r.left_out.size(), 6); ++i) {
    list += fmt::format("{}{}", i > 0 ? ", " : "", r.left_out[i]);
  }
  if (r.left_out.size() > 6) list += " and more";
  std::string on;
  if (r.left_out_for_phone) on = "lines of mobile-phone bursts";
  if (r.left_out_for_hz) {
    on += fmt::format("{}the {:.6g} Hz tone or its multiples", on.empty() ? "" : " or ", *r.left_out_for_hz);
  }
  return fmt::format("harmonics left out: {} (on {})", list, on.empty() ? "a steady tone" : on);
}

void add(std::string& remarks, const std::string& remark) {
  if (remark.empty()) return;
  remarks += (remarks.empty() ? "" : "; ") + remark;
}

std::string frequency_remark(const HumResult& r) {
  std::string remarks;
  const double u = 2.0 * r.frequency_u;
  if (r.highest_hz - r.lowest_hz > std::max(0.04, 4.0 * u)) {
    add(remarks, fmt::format("the mean; it moved between {:.2f} and {:.2f} Hz", r.lowest_hz, r.highest_hz));
  }
  const bool at_field_rate = std::abs(r.frequency_hz - field_rate_525_hz) < u + 0.005;
  const bool cannot_tell = r.seconds < 17.0 && std::abs(r.frequency_hz - 60.0) < 0.1 && u > 0.02;
  if (cannot_tell) {
    add(remarks, "could also be 59.94 Hz field-rate buzz from video; 17 s or more would tell");
  } else if (at_field_rate) {
    add(remarks, "could also be 59.94 Hz field-rate buzz from video; stop the video source to tell");
  }
  return remarks;
}

// When it was there, where that is not all the time.
std::string time_remark(const HumResult& r) {
  const double whole = std::max(r.seconds, r.present_s);
  std::string remarks;
  if (r.present_s < whole - std::max(0.15, 0.01 * whole)) {
    std::string times;
    for (std::size_t i = 0; i < std::min<std::size_t>(r.present.size(), 4); ++i) {
      times +=
          fmt::format("{}from {:.1f} to {:.1f} s", i > 0 ? ", " : "", r.present[i].from_s, r.present[i].to_s);
    }
    if (r.present.size() > 4) times += " and later";
    add(remarks, fmt::format("there {}, then at {:.1f} dBFS; the level is the mean over the whole capture",
                             times, dbfs_from_power(r.power * whole / r.present_s)));
  }
  if (r.weakest_power > 0.0 && r.strongest_power > 1.6 * r.weakest_power && r.power > 10.0 * r.power_u) {
    add(remarks, fmt::format("not steady: {:.1f} to {:.1f} dBFS", dbfs_from_power(r.weakest_power),
                             dbfs_from_power(r.strongest_power)));
  }
  return remarks;
}

std::string others_remark(const HumResult& r) {
  std::string remarks;
  if (r.second) {
    add(remarks,
        fmt::format("a second mains comb is there at {:.2f} Hz, {:.1f} dBFS, not counted in this one",
                    r.second->hz, dbfs_from_power(r.second->power)));
  }
  if (r.supply) {
    add(remarks,
        fmt::format("a steady comb of {:.1f} Hz is there at {:.1f} dBFS (an aircraft or ship supply, or "
                    "a tone), not counted as mains hum",
                    r.supply->hz, dbfs_from_power(r.supply->power)));
  }
  return remarks;
}

std::string pattern_remark(const HumResult& r) {
  bool triplen = true;
  for (const HumHarmonic& h : r.harmonics) triplen = triplen && h.number % 3 == 0;
  if (triplen) {
    return fmt::format(
        "multiples of {:.6g} Hz only: current of rectifier loads in a neutral conductor, or a "
        "steady tone at that frequency",
        3.0 * r.frequency_hz);
  }
  bool even = true;
  for (const HumHarmonic& h : r.harmonics) even = even && h.number % 2 == 0;
  const bool public_mains = std::abs(r.frequency_hz - 50.0) < 1.0 || std::abs(r.frequency_hz - 60.0) < 1.2;
  if (even && !public_mains) {
    return fmt::format("rectifier ripple of a supply at {:.6g} Hz, or a steady note at {:.6g} Hz",
                       r.frequency_hz, 2.0 * r.frequency_hz);
  }
  return {};
}

Readings not_found(const HumResult& r, const std::string& suffix) {
  const auto id = [&](std::string_view name) { return fmt::format("audio.hum.{}{}", name, suffix); };
  if (!r.doubt.empty()) {
    return {unmeasurable(id("frequency"), r.doubt),
            unmeasurable(id("level"), r.doubt, dbfs_from_power(r.least_power)),
            unmeasurable(id("kind"), r.doubt)};
  }
  std::optional<double> limit = dbfs_from_power(r.least_power);
  std::string reason;
  if (r.covered_hz) {
    reason = fmt::format(
        "no mains hum found; at {:.6g} Hz, where a tone was sent, it could not be told from the tone "
        "(elsewhere "
        "anything there is below {:.1f} dBFS): send another signal, or none",
        *r.covered_hz, *limit);
    limit.reset();
  } else {
    reason = fmt::format("no mains hum found: anything there is below {:.1f} dBFS", *limit);
  }
  if (r.denied) {
    add(reason, fmt::format("steady lines from {:.6g} Hz up, {:.1f} dBFS, make no pattern of mains",
                            r.denied->hz, dbfs_from_power(r.denied->power)));
  }
  if (r.phone) add(reason, "lines of mobile-phone bursts are not counted");
  add(reason, others_remark(r));
  return {unmeasurable(id("frequency"), reason), unmeasurable(id("level"), reason, limit),
          text_reading(id("kind"), std::string(to_string(HumKind::None)))};
}

}  // namespace

std::string_view to_string(HumKind kind) {
  switch (kind) {
    case HumKind::None:
      return "none";
    case HumKind::Fundamental:
      return "fundamental";
    case HumKind::Ripple:
      return "ripple";
    case HumKind::Buzz:
      return "buzz";
    case HumKind::Mixed:
      return "mixed";
  }
  return "none";
}

struct HumAnalyser::Impl {
  Impl(double rate_hz, const HumOptions& options)
      : frames(rate_hz),
        core({frames.hop_s(), frames.bin_hz(), frames.bins(), frames.top_hz(), frames.first_centre_s()},
             options) {}
  LowBandFrames frames;
  HumCore core;
};

HumAnalyser::HumAnalyser(double rate_hz, const HumOptions& options)
    : impl_(std::make_unique<Impl>(rate_hz, options)) {}
HumAnalyser::~HumAnalyser() = default;
HumAnalyser::HumAnalyser(HumAnalyser&&) noexcept = default;
HumAnalyser& HumAnalyser::operator=(HumAnalyser&&) noexcept = default;

void HumAnalyser::push(std::span<const float> channel_samples) {
  impl_->frames.push(channel_samples,
                     [this](std::span<const std::complex<float>> f) { impl_->core.frame(f); });
}

HumResult HumAnalyser::finish() { return impl_->core.finish(); }

Readings to_readings(const HumResult& result, std::string_view suffix) {
  const auto id = [&](std::string_view name) { return fmt::format("audio.hum.{}{}", name, suffix); };
  Readings out;
  if (result.too_short) {
    const std::string reason = fmt::format("too short for hum: {:.1f} s or more is needed", shortest_hum_s);
    for (const auto* name : {"frequency", "level", "kind"}) out.push_back(unmeasurable(id(name), reason));
    return out;
  }
  if (!result.found) return not_found(result, std::string(suffix));
  std::string remark = time_remark(result);
  add(remark, left_out_remark(result));
  add(remark, others_remark(result));
  out.push_back(number_reading(id("frequency"), result.frequency_hz, 2.0 * result.frequency_u,
                               frequency_remark(result)));
  double power = result.power;
  double power_u = std::hypot(result.power_u, 0.5 * result.unseen_power);
  if (result.beyond) {
    power += result.beyond->power;
    power_u = std::hypot(power_u, result.beyond->standard_u);
    add(remark, fmt::format("harmonics {} to {} are taken from the averaged spectrum, {:.1f} dBFS",
                            result.fitted + 1, result.beyond->last, dbfs_from_power(result.beyond->power)));
  } else if (result.unseen_power > 0.0) {
    add(remark,
        fmt::format("the sum ends at harmonic {}; what may be above is in the uncertainty", result.fitted));
  }
  out.push_back(number_reading(id("level"), dbfs_from_power(power), expanded_u_db(power, power_u), remark));
  for (const HumHarmonic& h : result.harmonics) {
    out.push_back(number_reading(fmt::format("audio.hum.harmonic.{}{}", h.number, suffix),
                                 dbfs_from_power(h.power), expanded_u_db(h.power, h.standard_u)));
  }
  out.push_back(text_reading(id("kind"), std::string(to_string(result.kind)), pattern_remark(result)));
  return out;
}

}  // namespace linebench::measure
