#include "hum_doubt.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <numbers>

#include "hum_chunk.hpp"

namespace linebench::measure {
namespace {

constexpr double least_beside =
    0.5;  // of the hum's power: with less there is nothing whose notes it could be
constexpr double moved_hz = 0.1;
constexpr double steady_ratio = 2.5;  // 4 dB, between the weakest and the strongest stretch
constexpr double steady_share = 0.8;  // of the capture

bool off_mains(const HumResult& hum) {
  const double off = std::min(std::abs(hum.frequency_hz - 50.0), std::abs(hum.frequency_hz - 60.0));
  return off > public_mains_hz + 2 * hum.frequency_u;
}

std::string doubt(const HumResult& hum, bool off) {
  if (off) return "public mains, 50 or 60 Hz, is never so far off";
  if (hum.highest_hz - hum.lowest_hz > moved_hz + 4 * hum.frequency_u)
    return fmt::format("it moved between {:.2f} and {:.2f} Hz", hum.lowest_hz, hum.highest_hz);
  if (hum.weakest_power > 0 && hum.strongest_power > steady_ratio * hum.weakest_power)
    return fmt::format("its level moved between {:.1f} and {:.1f} dBFS", dbfs_from_power(hum.weakest_power),
                       dbfs_from_power(hum.strongest_power));
  if (hum.present_s < steady_share * hum.seconds)
    return fmt::format("it is there for {:.0f} % of the time only", 100 * hum.present_s / hum.seconds);
  return {};
}

}  // namespace

void doubt_notes(HumResult& hum, const LevelResult& level, bool programme, bool mains_known) {
  if (!hum.found || !programme) return;
  const bool off = !mains_known && off_mains(hum);
  if (!off && level.mean_square - hum.power < least_beside * hum.power) return;
  const std::string why = doubt(hum, off);
  if (why.empty()) return;
  hum.doubt = fmt::format(
      "a comb of {:.2f} Hz is there, {:.1f} dBFS, that may be notes of the programme: {}; record the path "
      "idle, or the feed with nothing playing",
      hum.frequency_hz, dbfs_from_power(hum.power), why);
  hum.least_power = std::max(hum.least_power, hum.power + 2 * hum.power_u + hum.unseen_power);
  hum.found = false;
}

void doubt_under_stipa(HumResult& hum) {
  constexpr double lowest_hz = 125 / std::numbers::sqrt2;  // of the lowest octave
  const bool below = std::ranges::any_of(hum.harmonics, [&](const HumHarmonic& h) {
    return static_cast<double>(h.number) * hum.frequency_hz < lowest_hz;
  });
  if (!hum.found || below) return;
  hum.doubt = fmt::format(
      "a comb of {:.2f} Hz is there, {:.1f} dBFS, that may be the test signal's own noise; record the path "
      "idle",
      hum.frequency_hz, dbfs_from_power(hum.power));
  hum.least_power = std::max(hum.least_power, hum.power + 2 * hum.power_u + hum.unseen_power);
  hum.found = false;
}

}  // namespace linebench::measure
