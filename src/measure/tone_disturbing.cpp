#include "tone_disturbing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace linebench::measure {
namespace {

// Phone and recorder together keep time to this.
constexpr double clock_share = 3e-4;
// The bursts' strongest line holds less than the others together; a tone of four times that is somebody's.
constexpr double most_over_others = 4.0;
// A comb: of the eight lines nearest, two or more no lower than 13 dB under this one.
constexpr double comb_share = 0.05;
constexpr int comb_reach = 4;
constexpr int comb_fewest = 2;

bool is_phone(const ToneResult& tone, const PhoneBurstResult& phone) {
  if (!phone.found) return false;
  const double order = std::round(tone.frequency_hz / phone_frame_rate_hz);
  const double off = std::abs(tone.frequency_hz - order * phone_frame_rate_hz);
  if (order < 1.0 || off > clock_share * tone.frequency_hz + tone.frequency_u_hz) return false;
  const double others = std::max(0.0, phone.power - tone.mean_square);
  return tone.mean_square < most_over_others * others;
}

// 0, or which harmonic.
int mains_harmonic(const ToneResult& tone, const ToneRun& run, const SpectrumShape& shape,
                   const HumResult& hum) {
  if (!hum.found || hum.frequency_hz <= 0.0) return 0;
  const int k = static_cast<int>(std::lround(tone.frequency_hz / hum.frequency_hz));
  const double moved = 0.5 * (hum.highest_hz - hum.lowest_hz);
  const double allowed = k * (3.0 * hum.frequency_u + moved) + 2.0 * tone.frequency_u_hz + 1e-3;
  if (k < 1 || std::abs(tone.frequency_hz - k * hum.frequency_hz) > allowed) return 0;
  int company = 0;
  for (int m = std::max(1, k - comb_reach); m <= k + comb_reach; ++m) {
    const auto bin = static_cast<std::size_t>(std::lround(m * hum.frequency_hz / shape.bin_hz));
    if (m == k || bin < 1 || bin + 1 >= run.power.size()) continue;
    const double there = std::max({run.power[bin - 1], run.power[bin], run.power[bin + 1]}) *
                         shape.line_bins / static_cast<double>(run.segments);
    company += there > comb_share * tone.mean_square ? 1 : 0;
  }
  return company >= comb_fewest ? k : 0;
}

}  // namespace

std::string disturbing_line(const ToneResult& tone, const ToneRun& run, const SpectrumShape& shape,
                            const InterferenceResult& disturbed) {
  if (is_phone(tone, disturbed.phone_burst)) return "one of mobile-phone bursts";
  if (const int k = mains_harmonic(tone, run, shape, disturbed.hum); k > 0) {
    return fmt::format("harmonic {} of the mains hum", k);
  }
  return {};
}

}  // namespace linebench::measure
