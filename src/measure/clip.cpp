// Clipped tops. A smooth crest is a parabola: what lies within a little of its top falls off from there by
// the square of the distance. A cut top is flat and then steep. So a run near the block's extreme is a cut
// one when the waveform, as far outside it as the run is long, has fallen by far more than the parabola
// allows for the flatness found. Soft saturation flattens tops too, but rounds them: its tops stay convex and
// run into their flanks by a shoulder, where a cut leaves a corner. A square wave steps from flat to flat.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <numbers>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.01;
constexpr std::size_t group = 16;  // samples passed over together
constexpr float quietest = 1e-3F;  // -60 dB: no tops are looked for under it
constexpr float near_top = 0.01F;  // of the top: what may belong to it
constexpr float sample_step = 1.0F / 32768.0F;
// A parabola sampled at the worst places falls 16 times its range over a run as far outside as the run is
// long (three samples), and 35 times the range of the run's middle half (long runs).
constexpr float short_run_ratio = 20.0F;
constexpr float long_run_ratio = 60.0F;
constexpr std::size_t long_run = 8;
constexpr float least_fall = 0.03F;  // of the top: less may be noise on a crest
constexpr std::size_t most_slots = 8;
constexpr double same_level = 0.012;
constexpr float shoulder_fall = 0.002F;  // of the top: where flank and flat are told apart
// A line through the flank at falls F and 2 F, carried on to the flat, meets a rounded top at 0.34 F
// (parabola) to 0.5 F (exponential approach), a cut one, even if cut by only 0.1 dB, at 0.1 F or less.
constexpr float most_shoulder = 0.2F;
constexpr float steep = 0.1F;  // of the level, in one sample
constexpr double steepest_coupling_hz = 30.0;

std::size_t peak_bin(double peak) {
  return static_cast<std::size_t>(std::clamp(10.0 * (20.0 * std::log10(peak) + 60.0), 0.0, 799.0));
}

// A run of samples near the block's top; `y` points at sign * sample.
struct Run {
  std::span<const float> x;
  float sign = 1;
  std::size_t start = 0, end = 0;  // [start, end)
  float level = 0;                 // of its middle
  float range = 0;                 // of its middle
  std::ptrdiff_t step = 1;         // samples that a step from flat to flat takes
  [[nodiscard]] float y(std::ptrdiff_t i) const { return sign * x[static_cast<std::size_t>(i)]; }
};

// Whether the run is a part of something longer that leans, and ends there with a step to another flat: a
// square.
// @param gentle how much a flat may lean in one sample
bool leans_into_step(const Run& r, std::ptrdiff_t outward, float gentle) {
  const auto size = static_cast<std::ptrdiff_t>(r.x.size());
  const auto last = static_cast<std::ptrdiff_t>(outward < 0 ? r.start : r.end - 1);
  const auto leans = [&](std::ptrdiff_t i) {
    const auto far = static_cast<float>(std::abs(i - last));
    return std::abs(r.y(i) - r.y(last)) < gentle * far + 2.0F * r.range;
  };
  std::ptrdiff_t i = last;
  while (i >= 1 && i + 1 < size && leans(i + outward)) i += outward;
  const std::ptrdiff_t beyond = i + r.step * outward;
  if (i < 2 || i + 2 >= size || beyond + outward < 0 || beyond + outward >= size) return true;
  return i != last && r.y(i) - r.y(beyond) > steep * r.level &&
         std::abs(r.y(beyond) - r.y(beyond + outward)) < near_top * r.level;
}

// Whether the flat ends in a corner on one side. Where the channel ends too soon to say, it is believed.
bool ends_in_corner(const Run& r, std::ptrdiff_t outward) {
  const auto size = static_cast<std::ptrdiff_t>(r.x.size());
  const float enough = std::max({shoulder_fall * r.level, 4.0F * r.range, 4.0F * sample_step});
  std::ptrdiff_t a = static_cast<std::ptrdiff_t>(r.start + r.end) / 2;
  while (a >= 0 && a < size && r.level - r.y(a) < enough) a += outward;
  // Steeper than the samples can follow: nothing is to be seen of a shoulder, only of the bulge.
  if (a >= 0 && a < size && r.level - r.y(a) > steep * r.level) return true;
  std::ptrdiff_t b = a + outward;
  while (b >= 0 && b < size && r.level - r.y(b) < 2.0F * enough) b += outward;
  if (b < 0 || b >= size) return true;
  const float at_a = r.level - r.y(a);
  const float slope = (r.y(a) - r.y(b)) / static_cast<float>(std::abs(b - a));
  if (!(slope > 0)) return false;
  const auto back = static_cast<std::ptrdiff_t>(std::ceil(at_a / slope));
  const std::ptrdiff_t at = a - back * outward;
  if (at < 0 || at >= size) return false;
  return r.level - r.y(at) < most_shoulder * at_a;
}

// Whether the sample beyond the run is already one of another flat.
bool steps_to_flat(const Run& r, std::ptrdiff_t outward) {
  const std::ptrdiff_t first =
      (outward < 0 ? static_cast<std::ptrdiff_t>(r.start) - 1 : static_cast<std::ptrdiff_t>(r.end)) +
      (r.step - 1) * outward;
  const std::ptrdiff_t second = first + outward;
  if (first < 0 || second < 0 || second >= static_cast<std::ptrdiff_t>(r.x.size())) return true;
  return r.level - r.y(first) > steep * r.level && std::abs(r.y(first) - r.y(second)) < near_top * r.level;
}

// +1 where the middle third of [from, to) lies above the outer ones, -1 below, 0 level.
int bulge(const Run& r, std::size_t from, std::size_t to) {
  const std::size_t third = (to - from) / 3;
  double outer = 0, inner = 0;
  for (std::size_t k = 0; k < third; ++k) {
    outer += static_cast<double>(r.sign * (r.x[from + k] + r.x[to - 1 - k]));
  }
  for (std::size_t k = from + third; k < to - third; ++k) inner += static_cast<double>(r.sign * r.x[k]);
  const double over =
      inner / static_cast<double>(to - from - 2 * third) - outer / static_cast<double>(2 * third);
  constexpr double level = 0.5 * static_cast<double>(sample_step);
  return over > level ? 1 : over < -level ? -1 : 0;
}

}  // namespace

void ClipSearch::search(const EventView& v) {
  const auto block = std::max<std::size_t>(16, static_cast<std::size_t>(block_s * v.rate_hz));
  for (std::size_t at = v.from; at < v.to; at += block) {
    const std::size_t end = std::min(at + block, v.to);
    search_block(v, at, end, 1.0F, sides_[0]);
    search_block(v, at, end, -1.0F, sides_[1]);
  }
}

// The highest of each group of samples into tops_. Returns the highest of all, or 0.
LINEBENCH_VECTORISED float ClipSearch::find_tops(std::span<const float> x, float sign) {
  tops_.clear();
  float top = 0.0F;
  std::size_t i = 0;
  for (; i + group <= x.size(); i += group) {
    std::array<float, group> y;
    for (std::size_t l = 0; l < group; ++l) y[l] = sign * x[i + l];
    for (std::size_t half = group / 2; half > 0; half /= 2) {
      for (std::size_t l = 0; l < half; ++l) y[l] = y[l + half] > y[l] ? y[l + half] : y[l];
    }
    tops_.push_back(y[0]);
    top = std::max(top, y[0]);
  }
  float rest = 0.0F;
  for (; i < x.size(); ++i) rest = std::max(rest, sign * x[i]);
  tops_.push_back(rest);
  return std::max(top, rest);
}

void ClipSearch::search_block(const EventView& v, std::size_t from, std::size_t to, float sign, Side& side) {
  const float top = find_tops(v.x.subspan(from, to - from), sign);
  if (!(top > quietest) || !std::isfinite(top)) return;
  ++side.block_peaks[peak_bin(static_cast<double>(top))];

  // The flats of a square lean behind a coupling capacitor, or where one was undone that was not there.
  float most = top;
  for (std::size_t i = from; i < to; ++i) most = std::max(most, std::abs(v.x[i]));
  const auto gentle =
      most * static_cast<float>(2.0 * 2.0 * std::numbers::pi * steepest_coupling_hz / v.rate_hz);
  const float edge = top * (1.0F - near_top);
  bool new_block = true;
  for (std::size_t i = from; i < to; ++i) {
    // Most samples are nowhere near the top: pass over them by the group.
    while (i < to && tops_[(i - from) / group] < edge) i = from + ((i - from) / group + 1) * group;
    if (i >= to) break;
    if (sign * v.x[i] < edge) continue;
    const std::size_t start = i;
    float highest = 0.0F;
    for (; i < v.x.size() && sign * v.x[i] >= edge; ++i) highest = std::max(highest, sign * v.x[i]);
    if (highest > top * (1.0F + near_top)) continue;  // still rising at the block's end: the next one's crest
    const std::size_t n = i - start;
    if (n < 3 || (start == from && from > 0 && sign * v.x[from - 1] >= edge)) continue;
    // Where the channel begins or ends less than a run's length away, a shorter look must do.
    const std::size_t before = std::min(n, start);
    const std::size_t after = std::min(n, v.x.size() - i);
    if (before < 2 || after < 2) continue;
    const std::size_t trim = n >= long_run ? n / 4 : 0;
    float low = top * 2.0F;
    float high = 0.0F;
    for (std::size_t k = start + trim; k < i - trim; ++k) {
      low = std::min(low, sign * v.x[k]);
      high = std::max(high, sign * v.x[k]);
    }
    const float flat = std::max(high - low, sample_step);
    const float fall = low - std::max(sign * v.x[start - before], sign * v.x[i - 1 + after]);
    if (fall < std::max(flat * (n >= long_run ? long_run_ratio : short_run_ratio), least_fall * top))
      continue;
    const Run run{v.x, sign, start, i, 0.5F * (low + high), high - low, step_samples_};
    if (!ends_in_corner(run, -1) || !ends_in_corner(run, 1)) continue;
    if (leans_into_step(run, -1, gentle) || leans_into_step(run, 1, gentle)) continue;
    if (steps_to_flat(run, -1) && steps_to_flat(run, 1)) continue;
    // Of the run, what is as flat as its middle.
    const float cut = low - std::max(0.5F * sample_step, 0.5F * (high - low));
    std::uint64_t samples = 0;
    double level = 0.0;
    for (std::size_t k = start; k < i; ++k) {
      if (sign * v.x[k] < cut) continue;
      ++samples;
      level += static_cast<double>(sign * v.x[k]);
    }
    if (samples < 3) continue;
    note(side, level / static_cast<double>(samples), samples, bulge(run, start + trim, i - trim),
         v.time_s(start), new_block);
    new_block = false;
  }
}

void ClipSearch::note(Side& side, double level, std::uint64_t samples, int bulges, double time_s,
                      bool new_block) {
  auto it = std::find_if(side.slots.begin(), side.slots.end(),
                         [&](const Slot& s) { return std::abs(s.level - level) < same_level * s.level; });
  if (it == side.slots.end()) {
    if (side.slots.size() == most_slots) {
      side.slots.erase(std::min_element(side.slots.begin(), side.slots.end(),
                                        [](const Slot& a, const Slot& b) { return a.runs < b.runs; }));
    }
    it = side.slots.insert(side.slots.end(), Slot{});
  }
  ++it->runs;
  it->blocks += new_block ? 1 : 0;
  it->samples += samples;
  it->bulges += bulges;
  const double d = level - it->level;
  it->level += d / static_cast<double>(it->runs);
  it->square += d * (level - it->level);
  keep_event(it->times, {time_s, static_cast<double>(samples)});
}

void ClipSearch::finish(EventsResult& r) const {
  double weight = 0.0;
  double square = 0.0;
  for (const Side& side : sides_) {
    for (const Slot& s : side.slots) {
      std::uint64_t above = 0;
      std::uint64_t at_level = 0;
      const std::size_t ceiling = peak_bin(s.level * (1.0 + same_level)) + 1;
      for (std::size_t b = peak_bin(s.level * (1.0 - same_level)); b < side.block_peaks.size(); ++b) {
        (b < ceiling ? at_level : above) += side.block_peaks[b];
      }
      // One flat top may be chance; at full scale it is not.
      const bool at_full_scale = s.level > 0.999;
      // Where tops are cut, most that reach the level are flat and few go beyond.
      if (s.runs < (at_full_scale ? 1U : 4U) || 5 * above > s.blocks || 4 * s.blocks < at_level) continue;
      // Tops cut flat bulge as often inward as outward, by noise; saturated ones always outward.
      if (2 * s.bulges > static_cast<std::int64_t>(s.runs) + 4) continue;
      const auto w = static_cast<double>(s.runs);
      r.clipped_samples += s.samples;
      r.clip_level += w * s.level;
      square += s.square;
      weight += w;
      r.clips.insert(r.clips.end(), s.times.begin(), s.times.end());
    }
  }
  if (weight <= 0.0) return;
  r.clip_level /= weight;
  const double step = static_cast<double>(sample_step);
  r.clip_level_u = std::sqrt(square / weight + step * step / 12.0);
  std::sort(r.clips.begin(), r.clips.end(),
            [](const Event& a, const Event& b) { return a.time_s < b.time_s; });
  if (r.clips.size() > most_events_kept) r.clips.resize(most_events_kept);
}

}  // namespace linebench::measure
