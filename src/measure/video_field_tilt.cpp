#include "video_field_tilt.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>

#include "video_replicates.hpp"

namespace linebench::measure {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

constexpr double from_us = 31;  // the middle of the active line
constexpr double to_us = 41;
constexpr double left_out_us = 250;  // at each end of the bright part [J.61, from memory]
constexpr int least_lines = 50;
constexpr double most_slant = 0.04;  // of white
constexpr int smooth_lines = 4;      // on either side

}  // namespace

FieldTiltMeter::FieldTiltMeter(const VideoSetup& setup) : lines_(setup.lines) {
  for (auto& s : sums_) s.assign(static_cast<std::size_t>(lines_) + 1, {});
}

void FieldTiltMeter::line(const LineView& v) {
  // The clamp's level at the middle of a line lies between this back porch and the next.
  if (pending_line_ > 0 && v.index == pending_index_ + 1) {
    const double share =
        0.5 * (from_us + to_us) / (1e6 / standards::standard_of(lines_).line_rate_hz.value());
    Sum& s = sums_[pending_group_][static_cast<std::size_t>(pending_line_)];
    s.count += 1;
    s.clamped += pending_mv_;
    s.slant += pending_slant_;
    s.raw += pending_mv_ + pending_blanking_ + share * (v.blanking_mv - pending_blanking_);
  }
  pending_line_ = 0;
  if (v.kind != LineKind::Picture || !v.sync_found || v.line < 1 || v.line > lines_ ||
      !v.covers(from_us, to_us))
    return;
  pending_line_ = v.line;
  pending_index_ = v.index;
  pending_group_ = static_cast<std::size_t>(v.frame % groups);
  const double middle = 0.5 * (from_us + to_us);
  const double first = v.level(from_us, middle);
  const double second = v.level(middle, to_us);
  pending_mv_ = 0.5 * (first + second);
  pending_slant_ = second - first;
  pending_blanking_ = v.blanking_mv;
}

// In either field the longest stretch of bright lines of one level, with dark lines in the same field.
std::vector<FieldTiltMeter::Run> FieldTiltMeter::bright_runs(double white_mv) const {
  std::vector<double> level(static_cast<std::size_t>(lines_) + 1, nan);
  for (int n = 1; n <= lines_; ++n) {
    const standards::LineStructure s =
        standards::line_structure_in_frame(standards::standard_of(lines_), 0, n);
    if (!s.picture_first_half || !s.picture_second_half) continue;
    double count = 0;
    double sum = 0;
    double slant = 0;
    for (const auto& g : sums_) {
      count += g[static_cast<std::size_t>(n)].count;
      sum += g[static_cast<std::size_t>(n)].clamped;
      slant += g[static_cast<std::size_t>(n)].slant;
    }
    // Lines that are not level in themselves, ramps and staircases, are no part of a square wave.
    if (count > 0 && std::abs(slant) < most_slant * white_mv * count)
      level[static_cast<std::size_t>(n)] = sum / count;
  }
  std::vector<Run> out;
  const int half = (lines_ + 1) / 2;
  for (const auto& [a, b] : {std::pair{1, half}, std::pair{half + 1, lines_}}) {
    std::vector<double> dark;
    Run best;
    int begin = 0;
    const auto at = [&](int n) { return level[static_cast<std::size_t>(n)]; };
    for (int n = a; n <= b + 1; ++n) {
      const bool bright = n <= b && at(n) > 0.4 * white_mv;
      if (n <= b && at(n) < 0.25 * white_mv) dark.push_back(at(n));
      if (bright && begin > 0 && std::abs(at(n) - at(n - 1)) < 0.08 * white_mv) continue;
      if (begin > 0 && n - begin > best.last - best.first + 1) best = {begin, n - 1, 0, 0};
      begin = bright ? n : 0;
    }
    if (best.first == 0 || best.last - best.first < least_lines || dark.size() < 20) continue;
    const int middle = (best.first + best.last) / 2;
    for (int n = middle - 5; n <= middle + 5; ++n) best.top_mv += at(n) / 11;
    for (const double d : dark) best.black_mv += d / static_cast<double>(dark.size());
    out.push_back(best);
  }
  return out;
}

std::vector<FieldTiltMeter::Run> FieldTiltMeter::runs_of(const VideoSetup& setup) const {
  if (!setup.numbered) return {};
  return bright_runs(standards::standard_of(lines_).white_mv.nominal * setup.gain());
}

bool FieldTiltMeter::wave_seen(const VideoSetup& setup) const { return !runs_of(setup).empty(); }

void FieldTiltMeter::finish(const VideoSetup& setup, Readings& out) {
  constexpr const char* id = "video.field_tilt";
  const std::vector<Run> runs = runs_of(setup);
  if (runs.empty()) {
    out.push_back(unmeasurable(
        id, setup.numbered ? "no field-rate square wave or window in the picture; send one of them"
                           : "no vertical sync was found; send a field square wave or a window with it"));
    return;
  }
  const int margin =
      static_cast<int>(std::ceil(left_out_us * 1e-6 * standards::standard_of(lines_).line_rate_hz.value()));
  int length = 1 << 20;
  for (const Run& r : runs) length = std::min(length, r.last - r.first + 1 - 2 * margin);
  // Both fields together, frames in groups; leaving out one group at a time.
  const auto profile = [&](std::size_t without) {
    std::vector<double> y(static_cast<std::size_t>(length), 0.0);
    for (const Run& r : runs) {
      double start = 0;
      for (int i = 0; i < length; ++i) {
        double count = 0;
        double sum = 0;
        for (std::size_t g = 0; g < groups; ++g) {
          if (g == without) continue;
          count += sums_[g][static_cast<std::size_t>(r.first + margin + i)].count;
          sum += sums_[g][static_cast<std::size_t>(r.first + margin + i)].raw;
        }
        const double level = count > 0 ? sum / count : nan;
        if (i == 0) start = level;
        y[static_cast<std::size_t>(i)] +=
            100 * (level - start) / (r.top_mv - r.black_mv) / static_cast<double>(runs.size());
      }
    }
    // Straight lines through a few neighbours; at the ends their values there.
    std::vector<double> smooth;
    constexpr int width = 2 * smooth_lines + 1;
    for (int i = 0; i + width <= length; ++i) {
      const auto [mean, slope] = straight(y, static_cast<std::size_t>(i), width);
      if (i == 0) smooth.push_back(mean - smooth_lines * slope);
      smooth.push_back(mean);
      if (i + width == length) smooth.push_back(mean + smooth_lines * slope);
    }
    return smooth;
  };
  Values v;
  v.all = profile(groups);
  for (std::size_t g = 0; g < groups; ++g) {
    if (sums_[g][static_cast<std::size_t>(runs.front().first + margin)].count > 0)
      v.parts.push_back(profile(g));
  }
  const auto e = v.parts.size() >= 3 ? figure(v, range_of) : std::nullopt;
  if (!e) {
    out.push_back(
        unmeasurable(id, "too few frames to tell the tilt from noise; take a capture of 200 ms or more"));
    return;
  }
  out.push_back(
      number_reading(id, std::max(0.0, e->value), together(e->u, 0.03),
                     fmt::format("on {} lines of the field; hum that stands still in the picture counts",
                                 runs.front().last - runs.front().first + 1)));
}

}  // namespace linebench::measure
