#include "video_find.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <vector>

namespace linebench::measure {
namespace {

constexpr double shortest_line_us = 62.6;  // 525 lines: 63.556 less 1.5 %
constexpr double longest_line_us = 65.0;   // 625 lines: 64 plus 1.5 %
constexpr double smoothing_us = 0.5;       // takes out noise and subcarrier, leaves a 2.3 us pulse whole

// Samples averaged over half a microsecond, a quarter apart.
struct Smooth {
  std::vector<float> y;
  double step = 1;    // samples from one to the next
  double offset = 0;  // sample position of y[0]
  double step_us = 0;
};

Smooth smooth(std::span<const float> x, double rate_hz) {
  Smooth s;
  const auto d = static_cast<std::size_t>(std::max(1.0, std::round(0.5 * smoothing_us * 1e-6 * rate_hz)));
  std::vector<float> mean(x.size() / d);
  for (std::size_t i = 0; i < mean.size(); ++i) {
    float sum = 0;
    for (std::size_t k = 0; k < d; ++k) sum += x[i * d + k];
    mean[i] = sum / static_cast<float>(d);
  }
  const bool pairs = 2.0 * static_cast<double>(d) / rate_hz < 1.2 * smoothing_us * 1e-6;
  s.step = static_cast<double>(d);
  s.step_us = s.step / rate_hz * 1e6;
  s.offset = (s.step - 1) / 2 + (pairs ? s.step / 2 : 0);
  if (pairs && mean.size() > 1) {
    for (std::size_t i = 0; i + 1 < mean.size(); ++i) mean[i] = 0.5F * (mean[i] + mean[i + 1]);
    mean.pop_back();
  }
  s.y = std::move(mean);
  return s;
}

// The lowest level of each line-long stretch, a median over five of them so that a missing sync or a spike
// does not count; interpolated, so that hum is followed.
struct Floor {
  std::vector<float> level;
  std::size_t block = 1;
  float range = 0;  // typical lowest to highest of a stretch
  [[nodiscard]] float at(std::size_t i) const {
    const double p = (static_cast<double>(i) + 0.5) / static_cast<double>(block) - 0.5;
    const double c = std::clamp(p, 0.0, static_cast<double>(level.size() - 1));
    const auto k = std::min(static_cast<std::size_t>(c), level.size() - 1);
    const std::size_t next = std::min(k + 1, level.size() - 1);
    return level[k] + static_cast<float>(c - static_cast<double>(k)) * (level[next] - level[k]);
  }
};

Floor find_floor(const Smooth& s, float sign) {
  Floor f;
  f.block = static_cast<std::size_t>(std::ceil((longest_line_us + 4.0) / s.step_us));
  const std::size_t blocks = s.y.size() / f.block;
  std::vector<float> low(blocks);
  std::vector<float> range(blocks);
  for (std::size_t b = 0; b < blocks; ++b) {
    float lo = sign * s.y[b * f.block];
    float hi = lo;
    for (std::size_t i = b * f.block; i < (b + 1) * f.block; ++i) {
      lo = std::min(lo, sign * s.y[i]);
      hi = std::max(hi, sign * s.y[i]);
    }
    low[b] = lo;
    range[b] = hi - lo;
  }
  f.level.resize(blocks);
  for (std::size_t b = 0; b < blocks; ++b) {
    const std::size_t from = b >= 2 ? b - 2 : 0;
    const std::size_t to = std::min(blocks, b + 3);
    f.level[b] = dsp::median(std::vector<float>{low.begin() + static_cast<std::ptrdiff_t>(from),
                                                low.begin() + static_cast<std::ptrdiff_t>(to)});
  }
  f.range = blocks > 0 ? dsp::median(range) : 0.0F;
  return f;
}

struct Pulse {
  double start;  // in steps
  double end;
};

std::vector<float> over_floor(const Smooth& s, const Floor& f, float sign) {
  std::vector<float> out(s.y.size());
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = sign * s.y[i] - f.at(i);
  return out;
}

std::vector<Pulse> pulses_below(std::span<const float> over, float height) {
  std::vector<Pulse> out;
  double start = -1;
  bool below = over[0] - height < 0;
  for (std::size_t i = 1; i < over.size(); ++i) {
    if ((over[i] - height < 0) == below) continue;
    below = !below;
    const float before = over[i - 1] - height;
    const float now = over[i] - height;
    const double at = static_cast<double>(i) - static_cast<double>(now / (now - before));
    if (before >= 0 && now < 0) start = at;
    if (before < 0 && now >= 0 && start >= 0) out.push_back({start, at});
  }
  return out;
}

struct Trial {
  double share = 0;
  double score = 0;   // share, and more where there is a vertical sync
  double period = 0;  // steps
  double edge = 0;    // steps
  double depth = 0;   // volts
};

// Mean of s.y over from..to (steps).
double mean_of(const Smooth& s, double from, double to) {
  const auto a = static_cast<std::size_t>(std::max(0.0, std::ceil(from)));
  const auto b = std::min(s.y.size(), static_cast<std::size_t>(std::max(0.0, std::floor(to) + 1)));
  if (a >= b) return std::nan("");
  double sum = 0;
  for (std::size_t i = a; i < b; ++i) sum += static_cast<double>(s.y[i]);
  return sum / static_cast<double>(b - a);
}

Trial try_height(const Smooth& s, std::span<const float> over, float sign, float height) {
  Trial t;
  std::vector<Pulse> line;
  std::size_t broad = 0;
  for (const Pulse& p : pulses_below(over, height)) {
    const double width_us = (p.end - p.start) * s.step_us;
    if (width_us > 3.0 && width_us < 6.5) line.push_back(p);
    // Gaps between equalising pulses, which the other polarity sees as pulses, are 29.5 us wide.
    if (width_us > 23.0 && width_us < 28.6) ++broad;
  }
  // Pairs one line apart, others in between (picture dips) skipped.
  std::vector<double> spacing;
  std::vector<double> edges;
  std::vector<double> widths;
  const double shortest = shortest_line_us / s.step_us;
  const double longest = longest_line_us / s.step_us;
  for (std::size_t i = 0; i < line.size(); ++i) {
    for (std::size_t k = i + 1; k < line.size() && line[k].start - line[i].start <= longest; ++k) {
      const double d = line[k].start - line[i].start;
      if (d < shortest) continue;
      spacing.push_back(d);
      edges.push_back(line[i].start);
      widths.push_back((line[i].end - line[i].start) * s.step_us);
      break;
    }
  }
  if (spacing.size() < 8) return t;
  t.period = dsp::median(spacing);
  std::size_t regular = 0;
  std::vector<double> depth;
  std::vector<double> width;
  std::vector<double> porches;  // front less back
  for (std::size_t i = 0; i < spacing.size(); ++i) {
    if (std::abs(spacing[i] - t.period) * s.step_us > 0.6) continue;
    ++regular;
    const double tip = mean_of(s, edges[i] + 0.9 / s.step_us, edges[i] + 3.7 / s.step_us);
    const double porch = mean_of(s, edges[i] + 5.3 / s.step_us, edges[i] + 9.0 / s.step_us);
    const double front = mean_of(s, edges[i] - 1.1 / s.step_us, edges[i] - 0.6 / s.step_us);
    if (!std::isfinite(tip) || !std::isfinite(porch)) continue;
    depth.push_back(static_cast<double>(sign) * (porch - tip));
    width.push_back(widths[i]);
    if (std::isfinite(front)) porches.push_back(static_cast<double>(sign) * (front - porch));
  }
  if (regular < 8 || depth.empty()) return t;
  const double lines = static_cast<double>(s.y.size()) / t.period;
  t.share = static_cast<double>(regular) / lines;
  t.depth = dsp::median(depth);
  t.edge = edges[0];
  // Each line has one sync: what comes more often is the picture's.
  if (t.share > 1) t.share = std::max(0.0, 2 - t.share);
  // A picture of the other polarity can hold a bright bar as wide as sync on every line, but broad pulses
  // only on every line or on none.
  t.score = t.share + (broad >= 3 && static_cast<double>(broad) < 0.1 * lines ? 0.3 : 0.0);
  // A few lines show no vertical sync: then the pulse that is as wide as sync and stands between two
  // stretches of one level, as sync does between its porches, is sync before one that is not.
  constexpr double nominal_width_us = 4.7;
  constexpr double width_alike_us = 0.9;
  constexpr double porches_alike = 0.25;  // of the pulse's depth
  if (std::abs(dsp::median(width) - nominal_width_us) < width_alike_us) t.score += 0.15;
  if (!porches.empty() && std::abs(dsp::median(porches)) < porches_alike * t.depth) t.score += 0.15;
  // Spacing by steps of a quarter microsecond is coarse: fit a grid through all edges, walking from one to
  // the next.
  double n = 0;
  double sum_k = 0;
  double sum_t = 0;
  double sum_kk = 0;
  double sum_kt = 0;
  double k = 0;
  double last = edges[0];
  for (const double e : edges) {
    const double on = std::round((e - last) / t.period);
    if (e != edges[0] && (on < 1 || std::abs(e - last - on * t.period) * s.step_us > 0.6)) continue;
    k += on;
    last = e;
    n += 1;
    sum_k += k;
    sum_t += e - edges[0];
    sum_kk += k * k;
    sum_kt += k * (e - edges[0]);
  }
  const double det = n * sum_kk - sum_k * sum_k;
  if (n >= 8 && det > 0) {
    t.period = (n * sum_kt - sum_k * sum_t) / det;
    t.edge = edges[0] + (sum_t - t.period * sum_k) / n;
  }
  return t;
}

}  // namespace

FoundSync find_sync(std::span<const float> volts, double rate_hz, bool allow_inverted) {
  FoundSync out;
  const Smooth s = smooth(volts, rate_hz);
  if (static_cast<double>(s.y.size()) * s.step_us < 1e6 * least_to_find_s - 2) {
    out.reason = "the capture is too short to find line sync in; take at least 50 ms";
    return out;
  }
  Trial best;
  double best_score = 0;
  float range = 0;
  for (const float sign : {1.0F, -1.0F}) {
    if (sign < 0 && !allow_inverted) break;
    const Floor f = find_floor(s, sign);
    range = std::max(range, f.range);
    if (!(f.range > 0)) continue;
    const std::vector<float> over = over_floor(s, f, sign);
    Trial chosen;
    double highest = 0;
    for (const float part : {0.10F, 0.16F, 0.24F, 0.35F, 0.5F}) {
      const Trial t = try_height(s, over, sign, part * f.range);
      if (!(t.depth > 0)) continue;
      highest = std::max(highest, t.score);
      // A low cut meets sync alone; a higher one, that may meet the picture, must be better by more than
      // chance.
      constexpr double better = 0.05;
      if (t.score > chosen.score + better) chosen = t;
    }
    if (highest <= best_score) continue;
    best_score = highest;
    best = chosen;
    out.inverted = sign < 0;
  }
  out.share = best.share;
  out.like = best.score - best.share;
  constexpr double least_share = 0.35;
  if (best.share < least_share) {
    out.reason = range < 1e-3F ? fmt::format("the samples hardly move ({:.2f} mV within a line)",
                                             static_cast<double>(range) * 1e3)
                               : std::string("no pulses that repeat at a television line rate were found");
    return out;
  }
  out.found = true;
  out.period_samples = best.period * s.step;
  out.sync_v = best.depth;
  // The smoothed crossing is below the 50 % point by an unknown part of the edge; the tracker finds the rest.
  out.edge = best.edge * s.step + s.offset;
  return out;
}

}  // namespace linebench::measure
