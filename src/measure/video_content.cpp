#include "video_content.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t most_picture = 16;
constexpr std::size_t most_interval = 40;  // every line of both field intervals

}  // namespace

ContentMeter::ContentMeter(const VideoSetup& setup) : setup_(setup), taker_(setup) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  picture_line_.assign(static_cast<std::size_t>(s.lines_per_frame) + 1, true);
  if (!setup.numbered) return;
  for (int line = 1; line <= s.lines_per_frame; ++line)
    picture_line_[static_cast<std::size_t>(line)] =
        standards::line_structure_in_frame(s, 0, line).has_picture();
}

LineContent& ContentMeter::find(Pool& pool, std::size_t most, const LineSignature& s, std::uint64_t index) {
  // Latest first: lines of a picture follow their like.
  for (std::size_t i = 0; i < pool.size(); ++i) {
    if (!taker_.same(s, pool[i]->mean, pool[i]->lines)) continue;
    std::rotate(pool.begin(), pool.begin() + static_cast<std::ptrdiff_t>(i),
                pool.begin() + static_cast<std::ptrdiff_t>(i) + 1);
    return *pool.front();
  }
  if (pool.size() >= most) {
    // Of those that have been seen least, the one seen longest ago: content with a long past comes back.
    const auto worth = [&](const std::unique_ptr<LineContent>& c) {
      const double age = static_cast<double>(index - c->last_index) / setup_.lines;
      return c->lines / (1 + age * age);
    };
    const auto least = std::min_element(pool.begin(), pool.end(),
                                        [&](const auto& a, const auto& b) { return worth(a) < worth(b); });
    pool.erase(least);
  }
  pool.insert(pool.begin(), std::make_unique<LineContent>(setup_));
  LineContent& fresh = *pool.front();
  fresh.mean = s;
  return fresh;
}

// 0H is the place expected plus a share of the edge's distance from it: what is left of that distance tells
// the share.
void ContentMeter::follow(const LineView& v) {
  if (v.sync_found && v.index == followed_ + 1 && followed_ > 0) {
    const double missed = v.edge - v.t0;
    moved_ += (v.t0 - last_t0_ - setup_.line_period_samples) * missed;
    missed2_ += missed * missed;
    edge_noise2_ += v.edge_noise * v.edge_noise;
    edges_ += 1;
  }
  followed_ = v.index;
  last_t0_ = v.t0;
}

// Noise of such a recursive mean of edges.
double ContentMeter::smear_us() const {
  if (edges_ < 16) return 0;
  const double ratio = missed2_ > 0 ? std::max(0.0, moved_ / missed2_) : 1e9;
  const double share = ratio / (1 + ratio);
  return std::sqrt(share / (2 - share) * edge_noise2_ / edges_) * 1e6 / setup_.rate_hz;
}

void ContentMeter::line(const LineView& v) {
  last_ = nullptr;
  follow(v);
  if (v.kind != LineKind::Picture || !v.sync_found) return;
  if (setup_.colour && v.setup->v_alternates && v.v_switch == 0) return;
  const LineSignature& s = taker_.take(v);
  if (s.empty() || !v.covers(LineSums::from_us - 0.5, LineSums::from_us + 1)) return;
  const bool picture = v.line <= 0 || static_cast<std::size_t>(v.line) >= picture_line_.size() ||
                       picture_line_[static_cast<std::size_t>(v.line)];
  LineContent& c = find(picture ? picture_ : interval_, picture ? most_picture : most_interval, s, v.index);
  samples_.resize(c.sums.points());
  v.resample(LineSums::from_us, c.sums.step_us(), samples_);
  c.sums.add(samples_, v);
  c.lines += 1;
  lines_ += 1;
  picture_lines_ += picture ? 1 : 0;
  c.last_index = v.index;
  c.field_interval = !picture;
  ++c.numbers[v.line];
  // The mean stands still once it is known far better than a line.
  if (c.lines > 1 && c.lines <= 64) {
    const auto part = static_cast<float>(1 / c.lines);
    for (std::size_t k = 0; k < s.level.size(); ++k) {
      c.mean.level[k] += part * (s.level[k] - c.mean.level[k]);
      c.mean.activity[k] += part * (s.activity[k] - c.mean.activity[k]);
    }
  }
  last_ = &c;
}

void ContentMeter::finish(const VideoSetup&, Readings&) {
  for (Pool* pool : {&picture_, &interval_}) {
    for (auto& c : *pool) c->sums.flush(smear_us());
  }
}

std::vector<const LineContent*> ContentMeter::contents() const {
  std::vector<const LineContent*> out;
  for (const Pool* pool : {&picture_, &interval_}) {
    for (const auto& c : *pool) {
      if (c->lines >= 2) out.push_back(c.get());
    }
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const LineContent* a, const LineContent* b) { return a->lines > b->lines; });
  return out;
}

}  // namespace linebench::measure
