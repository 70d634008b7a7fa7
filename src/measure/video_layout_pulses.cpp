// 2T and modulated pulses on an averaged line.
#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>

#include "video_layout.hpp"

namespace linebench::measure {
namespace {

struct Base {
  double mean;
  double spread;
};
Base base_of(const AveragedLine& line, double from, double to) {
  const auto a = static_cast<std::ptrdiff_t>(std::ceil((from - line.from_us) / line.step_us));
  const auto b = static_cast<std::ptrdiff_t>(std::floor((to - line.from_us) / line.step_us));
  if (a < 0 || b >= static_cast<std::ptrdiff_t>(line.luma.size()) || b < a) return {0, 1e9};
  double sum = 0;
  double sum2 = 0;
  for (std::ptrdiff_t i = a; i <= b; ++i) {
    sum += line.luma[static_cast<std::size_t>(i)];
    sum2 += line.luma[static_cast<std::size_t>(i)] * line.luma[static_cast<std::size_t>(i)];
  }
  const auto n = static_cast<double>(b - a + 1);
  return {sum / n, std::sqrt(std::max(0.0, sum2 / n - sum / n * (sum / n)))};
}

}  // namespace

std::vector<Pulse> find_pulses(const AveragedLine& line, const VideoSetup& setup, double noise_mv) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const double had = 2e-3 * s.t_ns;
  const double white = white_by_sync(setup);
  const Trace trace = line.trace();
  std::vector<Pulse> out;
  const auto first =
      static_cast<std::size_t>((s.active_start_us.nominal + 0.2 - line.from_us) / line.step_us);
  const auto last =
      std::min(line.luma.size() - 2,
               static_cast<std::size_t>((s.active_end_us() - 0.2 - line.from_us) / line.step_us));
  for (std::size_t i = first; i <= last; ++i) {
    const double y = line.luma[i];
    if (y < line.luma[i - 1] || y <= line.luma[i + 1]) continue;
    const double t = line.from_us + line.step_us * static_cast<double>(i);
    // What is beside it, from 3 to 5 half-amplitude durations away, is flat and of one level.
    const Base before = base_of(line, t - 5 * had, t - 2.6 * had);
    const Base after = base_of(line, t + 2.6 * had, t + 5 * had);
    const double base = 0.5 * (before.mean + after.mean);
    const double height = y - base;
    if (height < std::max(0.25 * white, 8 * noise_mv)) continue;
    const double still = std::hypot(0.12 * height, 1.5 * noise_mv);
    if (std::abs(before.mean - after.mean) > 0.2 * height || before.spread > still || after.spread > still)
      continue;
    const double left = trace.crossing(base + 0.5 * height, t, t - 2.5 * had);
    const double right = trace.crossing(base + 0.5 * height, t, t + 2.5 * had);
    const double width = right - left;
    if (!(width > 0.6 * had && width < 1.8 * had)) continue;
    const Pulse p{0.5 * (left + right), height, width};
    if (!out.empty() && p.centre_us - out.back().centre_us < 2 * had) {
      if (height > out.back().height_mv) out.back() = p;
    } else {
      out.push_back(p);
    }
  }
  return out;
}

std::vector<ModulatedPulse> find_modulated_pulses(const AveragedLine& line, const VideoSetup& setup,
                                                  double noise_mv) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const double nominal_had = 1e-3 * s.modulated_pulse_had_ns;
  const double white = white_by_sync(setup);
  const std::vector<double> luma = line.smooth_luma();
  const auto b0 = line.smooth_chroma(0);
  const auto b1 = line.smooth_chroma(1);
  const double lines = line.chroma_lines[0] + line.chroma_lines[1];
  if (!(lines > 0)) return {};
  std::vector<double> e(luma.size(), 0.0);
  for (std::size_t i = 0; i < e.size(); ++i) {
    if (!b0.empty()) e[i] += line.chroma_lines[0] * std::abs(b0[i]) / lines;
    if (!b1.empty()) e[i] += line.chroma_lines[1] * std::abs(b1[i]) / lines;
  }
  const auto index = [&](double us) {
    return static_cast<std::size_t>(
        std::clamp((us - line.from_us) / line.step_us, 0.0, static_cast<double>(e.size() - 1)));
  };
  const double least = std::max(0.12 * white, 5 * noise_mv);
  std::vector<ModulatedPulse> out;
  const std::size_t last = index(s.active_end_us() - 0.5);
  for (std::size_t i = index(s.active_start_us.nominal + 0.5); i < last; ++i) {
    if (e[i] < least || e[i] < e[i - 1] || e[i] <= e[i + 1]) continue;
    std::size_t l = i;
    std::size_t r = i;
    while (l > 0 && e[l] > 0.5 * e[i]) --l;
    while (r + 1 < e.size() && e[r] > 0.5 * e[i]) ++r;
    const double had = line.step_us * static_cast<double>(r - l - 1);
    if (had < 0.42 * nominal_had || had > 1.5 * nominal_had) continue;
    const double centre = line.from_us + line.step_us * 0.5 * static_cast<double>(l + r);
    // A sin^2 shape: cos^2(pi/8) = 0.85 at a quarter, nothing from one duration on.
    const double quarter = 0.5 * (e[index(centre - had / 4)] + e[index(centre + had / 4)]) / e[i];
    const double foot = std::max(e[index(centre - 1.25 * had)], e[index(centre + 1.25 * had)]) / e[i];
    if (quarter < 0.7 || quarter > 0.945 || foot > 0.2) continue;
    const double base = 0.5 * (luma[index(centre - 1.3 * had)] + luma[index(centre + 1.3 * had)]);
    const double height = luma[index(centre)] - base;
    const double half = 0.5 * (luma[index(centre - had / 2)] + luma[index(centre + had / 2)]) - base;
    if (height < 0.4 * e[i] || height > 2.5 * e[i] || half < 0.3 * height || half > 0.7 * height) continue;
    if (!out.empty() && centre - out.back().centre_us < had) {
      if (e[i] > out.back().chroma_mv) out.back() = {centre, had, height, e[i]};
      continue;
    }
    out.push_back({centre, had, height, e[i]});
  }
  return out;
}

}  // namespace linebench::measure
