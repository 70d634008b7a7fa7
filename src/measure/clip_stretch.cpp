// Tops cut for a while only, as by a stage that is driven hard now and then, or in one of several programmes.
// Over the whole channel such a level is nothing special. While it is cut, nothing goes beyond, and the flat
// tops stand at one level within noise, whatever their length: crests that are flat by chance do not.
#include "clip_stretch.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>

namespace linebench::measure {
namespace {

constexpr double sample_step = 1.0 / 32768.0;
constexpr std::size_t most_open = 4;
constexpr double longest_rest_s = 1.0;  // without a flat top
constexpr std::uint64_t fewest_runs = 6;
constexpr std::uint64_t fewest_blocks = 3;

// How far tops cut at one level may lie apart.
double tolerance(double level) { return 0.003 * level + 4.0 * sample_step; }
double most_spread(double level) { return 0.001 * level + sample_step; }

}  // namespace

void CutLevel::add(const CutLevel& more) {
  const double d = more.level - level;
  const auto a = static_cast<double>(runs);
  const auto b = static_cast<double>(more.runs);
  level += d * b / (a + b);
  square += more.square + d * d * a * b / (a + b);
  runs += more.runs;
  samples += more.samples;
}

void StretchClipSearch::block(double top, double time_s) {
  for (Ceiling& c : open_) {
    const double off = top - c.cut.level;
    c.this_block = false;
    if (off > tolerance(c.cut.level) || time_s - c.last_s > longest_rest_s) {
      close(c);
      c.cut.runs = 0;
    } else if (off > -tolerance(c.cut.level)) {
      ++c.blocks;
    }
  }
  std::erase_if(open_, [](const Ceiling& c) { return c.cut.runs == 0; });
}

void StretchClipSearch::add(const FlatTop& t) {
  if (t.coarse) return;
  auto it = std::find_if(open_.begin(), open_.end(), [&](const Ceiling& c) {
    return std::abs(c.cut.level - t.level) < tolerance(c.cut.level);
  });
  if (it == open_.end()) {
    if (open_.size() == most_open) {
      open_.erase(std::min_element(open_.begin(), open_.end(), [](const Ceiling& a, const Ceiling& b) {
        return a.cut.runs < b.cut.runs;
      }));
    }
    it = open_.insert(open_.end(), Ceiling{});
    it->blocks = 1;
  }
  Ceiling& c = *it;
  c.flat_blocks += c.this_block ? 0 : 1;
  c.this_block = true;
  c.cut.add({t.level, 0.0, 1, t.samples});
  c.bulges += t.bulges;
  c.switched += t.switched ? 1 : 0;
  c.last_s = t.time_s;
  if (c.times.size() < most_events_kept) c.times.push_back({t.time_s, static_cast<double>(t.samples)});
}

void StretchClipSearch::close(Ceiling& c) {
  if (c.cut.runs < fewest_runs || c.flat_blocks < fewest_blocks || 3 * c.flat_blocks < c.blocks) return;
  // As for the whole channel: saturated tops bulge, switched ones have no flank.
  if (2 * c.bulges > static_cast<std::int64_t>(c.cut.runs) || 4 * c.switched > c.cut.runs) return;
  if (std::sqrt(c.cut.square / static_cast<double>(c.cut.runs)) > most_spread(c.cut.level)) return;
  found_[static_cast<int>(std::floor(10.0 * db_from_amplitude(c.cut.level)))].add(c.cut);
  for (const Event& e : c.times) {
    if (times_.size() < most_events_kept) times_.push_back({e, c.cut.level});
  }
}

void StretchClipSearch::finish() {
  for (Ceiling& c : open_) close(c);
  open_.clear();
}

}  // namespace linebench::measure
