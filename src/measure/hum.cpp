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
  if (!r.left_out_for_hz) return fmt::format("harmonics left out: {} (on a steady tone)", list);
  return fmt::format("harmonics left out: {} (on the {:.6g} Hz tone or its multiples)", list,
                     *r.left_out_for_hz);
}

std::string frequency_remark(const HumResult& r) {
  const double u = 2.0 * r.frequency_u;
  const bool at_field_rate = std::abs(r.frequency_hz - field_rate_525_hz) < u + 0.005;
  const bool cannot_tell = r.seconds < 17.0 && std::abs(r.frequency_hz - 60.0) < 0.1 && u > 0.02;
  if (cannot_tell) return "could also be 59.94 Hz field-rate buzz from video; 17 s or more would tell";
  if (at_field_rate)
    return "could also be 59.94 Hz field-rate buzz from video; stop the video source to tell";
  return {};
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
      : frames(rate_hz), core({frames.hop_s(), frames.bin_hz(), frames.bins(), frames.top_hz()}, options) {}
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
  if (!result.found) {
    const double limit = dbfs_from_power(result.least_power);
    const std::string reason = fmt::format("no mains hum found: anything there is below {:.1f} dBFS", limit);
    out.push_back(unmeasurable(id("frequency"), reason));
    out.push_back(unmeasurable(id("level"), reason, limit));
    out.push_back(text_reading(id("kind"), std::string(to_string(HumKind::None))));
    return out;
  }
  const std::string remark = left_out_remark(result);
  out.push_back(number_reading(id("frequency"), result.frequency_hz, 2.0 * result.frequency_u,
                               frequency_remark(result)));
  out.push_back(number_reading(id("level"), dbfs_from_power(result.power),
                               expanded_u_db(result.power, result.power_u), remark));
  for (const HumHarmonic& h : result.harmonics) {
    out.push_back(number_reading(fmt::format("audio.hum.harmonic.{}{}", h.number, suffix),
                                 dbfs_from_power(h.power), expanded_u_db(h.power, h.standard_u)));
  }
  out.push_back(text_reading(id("kind"), std::string(to_string(result.kind))));
  return out;
}

}  // namespace linebench::measure
