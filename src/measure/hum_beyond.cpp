#include "hum_beyond.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/weighting.hpp>
#include <vector>

namespace linebench::measure {
namespace {

constexpr int lobe = 8;          // half width of a line, bins
constexpr int noise_reach = 14;  // bins between the lobe and this hold noise
constexpr double stands_out = 4.0;
// The comb goes on when so many of the next harmonics stand out; every second one does with ripple.
constexpr std::size_t next_ones = 10;
constexpr std::size_t fewest_next = 3;
// A line this far above the others is a tone.
constexpr double lone_ratio = 20.0;
// How well segments add up to the mean square of a line: steady, and one that comes and goes.
constexpr double steady_u = 0.005;
constexpr double unsteady_u = 0.1;

struct Line {
  std::size_t k = 0;
  double power = 0;
  double noise = 0;  // per bin
  bool out = false;
};

Line line_at(std::size_t k, double bins, std::span<const double> power) {
  const auto centre = std::lround(bins);
  double sum = 0.0;
  std::vector<double> beside;
  for (int d = -noise_reach; d <= noise_reach; ++d) {
    const double p = power[static_cast<std::size_t>(centre + d)];
    if (std::abs(d) <= lobe) {
      sum += p;
    } else {
      beside.push_back(p);
    }
  }
  constexpr double width = 2.0 * lobe + 1.0;
  const double noise = dsp::median(std::move(beside));
  return {k, sum - width * noise, noise, sum > (1.0 + stands_out) * width * noise};
}

}  // namespace

void look_beyond(HumResult& hum, std::span<const double> power, const SpectrumShape& shape) {
  if (!hum.found || hum.unseen_power <= 0.0) return;
  const double spacing = hum.frequency_hz / shape.bin_hz;
  if (spacing < 2.0 * noise_reach) return;
  const double top = standards::audio_band_top_hz(shape.rate_hz) / shape.bin_hz;
  const double moved = 0.5 * (hum.highest_hz - hum.lowest_hz) / shape.bin_hz;
  std::vector<Line> lines;
  for (std::size_t k = hum.fitted + 1;; ++k) {
    const double at = spacing * static_cast<double>(k);
    if (at > top || at + noise_reach + 1.0 > static_cast<double>(power.size())) break;
    if (moved * static_cast<double>(k) > 1.0) return;  // spread over more bins than a line is
    const double tone = hum.left_out_for_hz.value_or(0.0) / shape.bin_hz;
    if (tone > 0.0 && std::abs(at - std::round(at / tone) * tone) < lobe) continue;
    lines.push_back(line_at(k, at, power));
  }
  const auto next = lines.begin() + static_cast<std::ptrdiff_t>(std::min(lines.size(), next_ones));
  const auto out = [](const Line& l) { return l.out; };
  const bool goes_on = static_cast<std::size_t>(std::count_if(lines.begin(), next, out)) >= fewest_next;
  hum.unseen_power = 0.0;
  if (!goes_on) return;
  std::vector<double> heights;
  for (const Line& l : lines) {
    if (l.out) heights.push_back(l.power);
  }
  const double usual = dsp::median(std::move(heights));
  HumBeyond beyond;
  double noise = 0.0;
  for (const Line& l : lines) {
    if (!l.out || l.power > lone_ratio * usual) continue;
    beyond.power += l.power;
    beyond.last = l.k;
    noise += l.noise;
  }
  const bool steady = hum.strongest_power < 1.2 * hum.weakest_power && hum.present_s > 0.98 * hum.seconds;
  beyond.standard_u = std::hypot((steady ? steady_u : unsteady_u) * beyond.power, noise);
  hum.beyond = beyond;
}

}  // namespace linebench::measure
