// Packets of a multiburst on an averaged line, by their crossings of the level they stand on.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/video.hpp>
#include <numbers>

#include "video_interpolate.hpp"
#include "video_layout.hpp"

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr int fine = 8;  // points looked at per sample
constexpr double least_hz = 0.25e6;
constexpr double alike = 0.25;        // half periods of one packet differ by less than this
constexpr double alike_whole = 0.09;  // and whole ones by this: they do not hang on the level crossed
constexpr std::size_t least_packets = 3;

struct Run {
  double first;  // us
  double last;
  std::size_t halves;
  [[nodiscard]] double hz() const { return 1e6 * static_cast<double>(halves) / 2 / (last - first); }
};

std::vector<double> crossings(const std::vector<float>& y, double from_us, double step_us, double level,
                              double hysteresis) {
  std::vector<double> out;
  int side = 0;
  double candidate = 0;
  for (std::size_t i = 1; i < y.size(); ++i) {
    const double a = static_cast<double>(y[i - 1]) - level;
    const double b = static_cast<double>(y[i]) - level;
    if ((a <= 0) != (b <= 0)) candidate = from_us + step_us * (static_cast<double>(i - 1) + a / (a - b));
    const int now = b > hysteresis ? 1 : b < -hysteresis ? -1 : 0;
    if (now != 0 && now != side) {
      if (side != 0) out.push_back(candidate);
      side = now;
    }
  }
  return out;
}

struct Fit {
  double amplitude;
  double power;    // that mean, slope and wave explain
  double quality;  // share of what is not mean and slope that the wave explains
};

Fit fit(const AveragedLine& line, double hz, double from, double to) {
  const auto a = static_cast<std::ptrdiff_t>(std::ceil((from - line.from_us) / line.step_us));
  const auto b = static_cast<std::ptrdiff_t>(std::floor((to - line.from_us) / line.step_us));
  if (a < 0 || b >= static_cast<std::ptrdiff_t>(line.luma.size()) || b - a < 6) return {std::nan(""), 0, 0};
  Eigen::Matrix4d n = Eigen::Matrix4d::Zero();
  Eigen::Vector4d r = Eigen::Vector4d::Zero();
  double power = 0;
  const double middle = 0.5 * static_cast<double>(a + b);
  for (std::ptrdiff_t i = a; i <= b; ++i) {
    const double u = static_cast<double>(i) - middle;
    const double p = 2 * pi * hz * 1e-6 * line.step_us * u;
    const Eigen::Vector4d row(1, u / middle, std::cos(p), std::sin(p));
    n += row * row.transpose();
    r += row * line.luma[static_cast<std::size_t>(i)];
    power += line.luma[static_cast<std::size_t>(i)] * line.luma[static_cast<std::size_t>(i)];
  }
  const Eigen::Vector4d x = n.ldlt().solve(r);
  const Eigen::Vector2d straight = n.topLeftCorner<2, 2>().ldlt().solve(r.head<2>());
  const double moving = power - straight.dot(r.head<2>());
  const double quality = moving > 0 ? 1 - (power - x.dot(r)) / moving : 0.0;
  return {std::hypot(x(2), x(3)), x.dot(r), quality};
}

// Frequency that explains most, near what the crossings say [IEEE 1057, four-parameter fit].
double refine(const AveragedLine& line, double hz, double from, double to) {
  const double span = 0.35e6 / (to - from);
  double lo = hz - span;
  double hi = hz + span;
  constexpr double golden = 0.6180339887498949;
  for (int k = 0; k < 40; ++k) {
    const double a = hi - golden * (hi - lo);
    const double b = lo + golden * (hi - lo);
    if (fit(line, a, from, to).power > fit(line, b, from, to).power) {
      hi = b;
    } else {
      lo = a;
    }
  }
  return 0.5 * (lo + hi);
}

// Two or three half periods may be a packet of a low frequency whose first or last crossing hides in the
// level it stands on: then the wave goes on for half a period more.
bool complete(const AveragedLine& line, Run& r) {
  const double half = (r.last - r.first) / static_cast<double>(r.halves);
  if (r.halves > 3) return true;
  for (const bool end : {false, true}) {
    Run longer = r;
    (end ? longer.last += half : longer.first -= half);
    ++longer.halves;
    if (fit(line, r.hz(), longer.first, longer.last).quality > 0.97) r = longer;
  }
  return r.halves >= 3 && fit(line, r.hz(), r.first, r.last).quality > 0.97;
}

std::vector<Run> runs(const AveragedLine& line, const std::vector<double>& at) {
  std::vector<Run> out;
  std::size_t i = 0;
  while (i + 1 < at.size()) {
    std::size_t k = i + 1;
    while (k + 1 < at.size()) {
      const double mean = (at[k] - at[i]) / static_cast<double>(k - i);
      if (std::abs((at[k + 1] - at[k]) / mean - 1) > alike) break;
      if (k > i + 1 && std::abs((at[k + 1] - at[k - 1]) / (2 * mean) - 1) > alike_whole) break;
      ++k;
    }
    Run run{at[i], at[k], k - i};
    if (k - i >= 2 && complete(line, run)) {
      out.push_back(run);
      i = k;
    } else {
      ++i;
    }
  }
  return out;
}

}  // namespace

double packet_amplitude(const AveragedLine& line, const Packet& p) {
  return p.by_subcarrier ? line.chroma_mv(p.from_us, p.to_us)
                         : fit(line, p.hz, p.from_us, p.to_us).amplitude / line.response(p.hz);
}

std::vector<Packet> find_packets(const AveragedLine& line, const VideoSetup& setup, double noise_mv) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const double white = white_by_sync(setup);
  const double from = s.active_start_us.nominal + 0.5;
  const double to = s.active_end_us() - 0.3;
  const double step = line.step_us / fine;
  std::vector<float> y(static_cast<std::size_t>((to - from) / step));
  interpolate(line.trace().y, (from - line.from_us) / line.step_us, 1.0 / fine, y);
  // Packets take up most of the line, so its median is the level that they stand on.
  const auto level = static_cast<double>(
      dsp::median(std::vector<float>(y.begin() + static_cast<std::ptrdiff_t>(y.size() / 6), y.end())));
  const auto at = crossings(y, from, step, level, std::max(0.03 * white, 5 * noise_mv));
  const std::vector<Run> found = runs(line, at);
  std::vector<Packet> out;
  for (const Run& r : found) {
    const double hz = r.hz();
    if (hz < least_hz || hz > 0.49 * setup.rate_hz || r.last - r.first < 0.8) continue;
    Packet p;
    // Half a cycle at either end is left to the edges where there are cycles to spare.
    const double end = r.halves >= 8 ? std::max(0.5e6 / hz, std::min(0.35, 0.15 * (r.last - r.first))) : 0.0;
    p.from_us = r.first + end;
    p.to_us = r.last - end;
    p.hz = refine(line, hz, p.from_us, p.to_us);
    p.amplitude_mv = packet_amplitude(line, p);
    if (!(p.amplitude_mv > 0.02 * white) || p.amplitude_mv > 1.2 * white) continue;
    // Two runs of one frequency, one after the other, are one packet that a glitch cut.
    if (!out.empty() && std::abs(out.back().hz / p.hz - 1) < 0.04 && p.from_us - out.back().to_us < 1.0) {
      if (p.to_us - p.from_us > out.back().to_us - out.back().from_us) out.back() = p;
      continue;
    }
    out.push_back(p);
  }
  if (out.size() < least_packets) return {};
  for (std::size_t i = 0; i + 1 < out.size(); ++i) {
    if (std::abs(std::log(out[i + 1].hz / out[i].hz)) < 0.05) return {};
  }
  return out;
}

}  // namespace linebench::measure
