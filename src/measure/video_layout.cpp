#include "video_layout.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double reach_us = 0.28;     // an edge is the change over twice this
constexpr double apart_us = 0.35;     // edges nearer than this are one
constexpr double clear_us = 0.42;     // from an edge to where it is over
constexpr double least_us = 1.0;      // width of a plateau, edge to edge
constexpr double least_edge = 0.028;  // of white: the smallest step of a pattern is 56 mV
constexpr double flat = 0.05;         // of white: tilt over a plateau

// The line through one low-pass filter, and what changes on it.
struct Smooth {
  double from_us;
  double step_us;
  std::vector<double> luma;
  std::array<std::vector<Complex>, 2> chroma;

  [[nodiscard]] std::size_t index(double us) const {
    return static_cast<std::size_t>(
        std::clamp((us - from_us) / step_us, 0.0, static_cast<double>(luma.size() - 1)));
  }
  [[nodiscard]] double time(std::size_t i) const { return from_us + step_us * static_cast<double>(i); }
  [[nodiscard]] double change(std::size_t i, std::size_t reach) const {
    const std::size_t a = i >= reach ? i - reach : 0;
    const std::size_t b = std::min(i + reach, luma.size() - 1);
    double sum = (luma[b] - luma[a]) * (luma[b] - luma[a]);
    double kinds = 0;
    double colour = 0;
    for (const auto& c : chroma) {
      if (c.empty()) continue;
      colour += std::norm(c[b] - c[a]);
      kinds += 1;
    }
    if (kinds > 0) sum += colour / kinds;
    return std::sqrt(sum);
  }
  [[nodiscard]] double mean(double from, double to) const {
    const std::size_t a = index(from);
    const std::size_t b = std::max(a, index(to));
    double sum = 0;
    for (std::size_t i = a; i <= b; ++i) sum += luma[i];
    return sum / static_cast<double>(b - a + 1);
  }
};

std::vector<double> find_edges(const Smooth& s, double from, double to, double least_mv) {
  const auto reach = std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(reach_us / s.step_us)));
  const std::size_t a = s.index(from);
  const std::size_t b = s.index(to);
  std::vector<double> e(b + 1, 0.0);
  for (std::size_t i = a; i <= b; ++i) e[i] = s.change(i, reach);
  const auto near = static_cast<std::size_t>(std::lround(apart_us / s.step_us));
  const auto far = static_cast<std::size_t>(std::lround(0.9 / s.step_us));
  std::vector<double> out;
  for (std::size_t i = a; i <= b; ++i) {
    if (e[i] < least_mv) continue;
    const std::size_t lo = i >= a + near ? i - near : a;
    const std::size_t hi = std::min(b, i + near);
    const auto first = e.begin() + static_cast<std::ptrdiff_t>(lo);
    if (std::max_element(first, e.begin() + static_cast<std::ptrdiff_t>(hi) + 1) - e.begin() !=
        static_cast<std::ptrdiff_t>(i))
      continue;
    // On a steady slope everything changes alike; an edge stands out on one side at least.
    const std::size_t before = i >= a + far ? i - far : a;
    const std::size_t after = std::min(b, i + far);
    const auto least = [&](std::size_t x, std::size_t y) {
      return *std::min_element(e.begin() + static_cast<std::ptrdiff_t>(x),
                               e.begin() + static_cast<std::ptrdiff_t>(y) + 1);
    };
    if (std::min(least(before, i), least(i, after)) > 0.6 * e[i]) continue;
    // Middle of what is above half the change.
    std::size_t l = i;
    std::size_t r = i;
    while (l > a && e[l - 1] > 0.5 * e[i]) --l;
    while (r < b && e[r + 1] > 0.5 * e[i]) ++r;
    const double middle = 0.5 * (s.time(l) + s.time(r));
    out.push_back(std::abs(middle - s.time(i)) < apart_us ? middle : s.time(i));
  }
  return out;
}

// Lines that stand still on both sides are cut; pulses and what they hide are left out.
struct Gap {
  double from;
  double to;
};

double roughness(const AveragedLine& line, const Smooth& s, double from, double to) {
  const std::size_t a = s.index(from);
  const std::size_t b = std::max(a, s.index(to));
  double sum = 0;
  for (std::size_t i = a; i <= b; ++i) sum += (line.luma[i] - s.luma[i]) * (line.luma[i] - s.luma[i]);
  return std::sqrt(sum / static_cast<double>(b - a + 1));
}

}  // namespace

double white_by_sync(const VideoSetup& setup) {
  return standards::standard_of(setup.lines).white_mv.nominal * setup.gain();
}

LineLayout lay_out(const AveragedLine& line, const VideoSetup& setup, double noise_mv) {
  LineLayout out;
  if (line.luma.empty()) return out;
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const double white = white_by_sync(setup);
  out.pulses = find_pulses(line, setup, noise_mv);
  if (setup.colour) out.modulated = find_modulated_pulses(line, setup, noise_mv);
  out.packets = find_packets(line, setup, noise_mv);

  Smooth smooth{
      line.from_us, line.step_us, line.smooth_luma(), {line.smooth_chroma(0), line.smooth_chroma(1)}};
  const double begin = s.active_start_us.nominal - 0.7;
  const double end = std::min(s.active_end_us() + 0.5, line.end_us() - 1);
  const double kernel = (line.subcarrier_us > 0 ? 2 * line.subcarrier_us : 0.5) / line.step_us;
  const double smooth_noise = noise_mv / std::sqrt(std::max(1.0, kernel));
  std::vector<double> edges = find_edges(smooth, begin, end, std::max(least_edge * white, 7 * smooth_noise));
  std::vector<Gap> gaps;
  for (const Pulse& p : out.pulses) gaps.push_back({p.centre_us - 2 * p.had_us, p.centre_us + 2 * p.had_us});
  for (const ModulatedPulse& p : out.modulated)
    gaps.push_back({p.centre_us - 1.2 * p.had_us, p.centre_us + 1.2 * p.had_us});
  std::erase_if(edges, [&](double e) {
    return std::any_of(gaps.begin(), gaps.end(), [&](const Gap& g) { return e > g.from && e < g.to; });
  });
  for (const Gap& g : gaps) {
    edges.push_back(g.from);
    edges.push_back(g.to);
  }
  edges.push_back(begin + 0.4);
  edges.push_back(end);
  std::sort(edges.begin(), edges.end());
  for (std::size_t i = 0; i + 1 < edges.size(); ++i) {
    Plateau p;
    p.edge_from_us = edges[i];
    p.edge_to_us = edges[i + 1];
    if (p.width_us() < least_us) continue;
    const double middle = 0.5 * (p.edge_from_us + p.edge_to_us);
    if (std::any_of(gaps.begin(), gaps.end(), [&](const Gap& g) { return middle > g.from && middle < g.to; }))
      continue;
    const double margin = std::min(clear_us + 0.04 * p.width_us(), 0.8);
    p.from_us = p.edge_from_us + margin;
    p.to_us = p.edge_to_us - margin;
    if (p.to_us - p.from_us < 0.15) continue;
    const double rough = roughness(line, smooth, p.from_us, p.to_us);
    const double allowed = std::hypot(1.3 * noise_mv, 0.03 * white);
    const double third = (p.to_us - p.from_us) / 3;
    const double first = smooth.mean(p.from_us, p.from_us + third);
    const double last = smooth.mean(p.to_us - third, p.to_us);
    p.luma_mv = line.level(p.from_us, p.to_us);
    if (setup.colour) {
      for (int v = 0; v < 2; ++v) p.chroma[static_cast<std::size_t>(v)] = line.chroma(v, p.from_us, p.to_us);
      p.chroma_mv = line.chroma_mv(p.from_us, p.to_us);
      p.chroma_undone = line.chroma_undone(p.from_us, p.to_us);
    }
    // Where chrominance could not be taken out by phase it is in the luminance still.
    const double left = line.separated ? 0.05 * p.chroma_mv : 1.1 * p.chroma_mv;
    if (!std::isfinite(p.luma_mv) || rough > std::hypot(allowed, left)) continue;
    if (std::abs(last - first) < flat * white + 3 * smooth_noise) {
      out.plateaus.push_back(p);
    } else if (p.width_us() > 10) {
      const double whole = 1.5 * (last - first);  // from the middles of the outer thirds to the ends
      const double centre = smooth.mean(p.from_us + third, p.to_us - third);
      if (std::abs(0.5 * (first + last) - centre) < 0.06 * std::abs(whole))
        out.slopes.push_back({p.from_us, p.to_us, centre - whole / 2, centre + whole / 2, p.chroma_mv});
    }
  }
  return out;
}

}  // namespace linebench::measure
