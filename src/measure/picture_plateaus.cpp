#include "picture_plateaus.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace linebench::measure {
namespace {

constexpr int least_plateau = 12;
constexpr double level_slope = 0.7;  // codes a sample: below it the line is level

double most_common(std::span<const double> line, int from, int to) {
  std::array<int, 68> count{};
  for (int x = from; x < to; ++x)
    ++count[static_cast<std::size_t>(std::clamp(line[static_cast<std::size_t>(x)] / 4, 0.0, 67.0))];
  const auto top = std::max_element(count.begin(), count.end()) - count.begin();
  double sum = 0;
  int n = 0;
  for (int x = from; x < to; ++x) {
    const double v = line[static_cast<std::size_t>(x)];
    if (std::abs(v - 4 * (static_cast<double>(top) + 0.5)) > 4) continue;
    sum += v;
    ++n;
  }
  return n > 0 ? sum / n : 4.0 * static_cast<double>(top);
}

// The lowest level that stands far: the trough that an echo turned over leaves beside a bar is only as wide
// as the echo is late.
double ground_level(const std::vector<FramePlateau>& plateaus, double base) {
  constexpr int least_px = 16;
  constexpr double alike = 3, far = 0.35;
  if (plateaus.empty()) return base;
  const auto [low, high] = std::ranges::minmax(plateaus, {}, &FramePlateau::mean);
  const double middle = (low.mean + high.mean) / 2;
  const auto width_at = [&](double level) {
    int px = 0;
    for (const FramePlateau& p : plateaus) px += std::abs(p.mean - level) <= alike ? p.width() : 0;
    return px;
  };
  int widest = 0;
  for (const FramePlateau& p : plateaus)
    if (p.mean <= middle) widest = std::max(widest, width_at(p.mean));
  double ground = base;
  for (const FramePlateau& p : plateaus)
    if (p.width() >= least_px && p.mean < ground && width_at(p.mean) >= far * widest) ground = p.mean;
  return ground;
}

}  // namespace

double middle_level(std::span<const double> line, const FramePlateau& p) {
  const double quarter = p.width() / 4.0;
  return stretch(line, p.from + quarter, p.to - quarter).mean;
}

LineStretch stretch(std::span<const double> line, double from, double to) {
  const int a = std::max(0, static_cast<int>(std::ceil(from)));
  const int b = std::min(static_cast<int>(line.size()), static_cast<int>(std::floor(to)));
  LineStretch s;
  if (b <= a) return s;
  s.lowest = s.highest = line[static_cast<std::size_t>(a)];
  double sum = 0;
  double squares = 0;
  for (int x = a; x < b; ++x) {
    const double v = line[static_cast<std::size_t>(x)];
    sum += v;
    squares += v * v;
    s.lowest = std::min(s.lowest, v);
    s.highest = std::max(s.highest, v);
  }
  s.mean = sum / (b - a);
  s.rms = std::sqrt(std::max(0.0, squares / (b - a) - s.mean * s.mean));
  return s;
}

LineShape line_shape(std::span<const double> line, int from, int to) {
  LineShape shape;
  shape.base = most_common(line, from, to);
  const auto slope = [&](int x) {
    return std::abs(line[static_cast<std::size_t>(x + 1)] - line[static_cast<std::size_t>(x - 1)]) / 2;
  };
  int start = -1;
  for (int x = from; x <= to; ++x) {
    const bool level = x > from && x < to - 1 && slope(x) < level_slope;
    if (level && start < 0) start = x;
    if (!level && start >= 0) {
      if (x - start >= least_plateau) {
        const FramePlateau p{start, x, stretch(line, start, x).mean};
        FramePlateau* last = shape.plateaus.empty() ? nullptr : &shape.plateaus.back();
        if (last != nullptr && std::abs(last->mean - p.mean) < 2.5 && p.from - last->to < 8) {
          last->mean = (last->mean * last->width() + p.mean * p.width()) / (last->width() + p.width());
          last->to = p.to;
        } else {
          shape.plateaus.push_back(p);
        }
      }
      start = -1;
    }
  }
  shape.base = ground_level(shape.plateaus, shape.base);
  // Peaks that stand out of the base and are narrow.
  double tallest = 0;
  for (int x = from; x < to; ++x) tallest = std::max(tallest, line[static_cast<std::size_t>(x)] - shape.base);
  if (tallest < 20) return shape;
  const double half = shape.base + 0.25 * tallest;
  for (int x = from; x < to;) {
    if (line[static_cast<std::size_t>(x)] < half) {
      ++x;
      continue;
    }
    int end = x;
    double peak = 0, sum = 0, moment = 0;
    while (end < to && line[static_cast<std::size_t>(end)] >= half) {
      const double v = line[static_cast<std::size_t>(end)] - shape.base;
      peak = std::max(peak, v);
      sum += v;
      moment += v * end;
      ++end;
    }
    if (end - x <= 12 && x > from && end < to) shape.spikes.push_back({moment / sum, peak});
    x = end;
  }
  return shape;
}

bool is_ramp(std::span<const double> line, int from, int to) {
  int longest = 0;
  for (const int sign : {1, -1}) {
    int run = 0;
    for (int x = from; x + 16 < to; ++x) {
      const double rise = sign * (line[static_cast<std::size_t>(x + 16)] - line[static_cast<std::size_t>(x)]);
      run = rise > 2 && rise < 14 ? run + 1 : 0;
      longest = std::max(longest, run);
    }
  }
  return longest > 0.6 * (to - from);
}

}  // namespace linebench::measure
