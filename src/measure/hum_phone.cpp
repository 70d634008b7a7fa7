#include "hum_phone.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::size_t frames_in_multiframe = 26;
constexpr std::size_t window_frames = 24;  // about a second: lines 8.33 Hz apart stand clear of each other
constexpr std::size_t shortest_window = 20;
constexpr int neighbours = 6;
// The idle frame's lines are taken for seen from this over what lies half way between them.
constexpr double stands_out = 1.5;
// A line no more than this over its neighbours is the phone's alone.
constexpr double own_ratio = 6.0;
constexpr std::size_t low_harmonics = 7;
// Beside a phone, mains shows by its first three harmonics: by at least this share of all.
constexpr std::size_t supporting = 3;
constexpr double least_support = 0.05;
constexpr double seen_evidence = 9.0;
// Lines fainter than this beside bursts without an idle frame may come of their irregularities.
constexpr double least_beside_unbroken = 3e-5;
// One frame in 26 left out puts 1/25 of the power between the frame rate's lines.
constexpr double least_idle_share = 0.01;
constexpr double line_width = 1.5;  // over the time there were bursts
// Pull of an unresolved line on a frequency: slope of a straight line through one turn of a sine.
constexpr double pull = 0.3;

struct LinePower {
  double always = 0;        // mean square over the stretch
  double while_bursts = 0;  // over the windows that hold bursts
};

// By short windows, so that it does not matter how the phases of one burst go with those of the next.
LinePower power_at(const HumChunk& chunk, double hz, std::span<const double> window,
                   std::span<const char> burst) {
  const FrameGrid& g = chunk.grid();
  const auto bin = static_cast<std::size_t>(std::lround(hz / g.bin_hz));
  const double gain = frame_response(hz / g.bin_hz - static_cast<double>(bin));
  const auto z = chunk.z(bin);
  double whole = 0.0;
  for (const double w : window) whole += w;
  const std::complex<double> turn = std::polar(1.0, -two_pi * std::fmod(hz * g.hop_s, 1.0));
  LinePower p;
  double windows = 0.0;
  double burst_frames = 0.0;
  for (std::size_t first = 0; first + window.size() <= z.size(); first += (window.size() + 1) / 2) {
    std::complex<double> sum = 0.0;
    std::complex<double> phase = 1.0;
    double bursts = 0.0;
    for (std::size_t i = 0; i < window.size(); ++i) {
      sum += window[i] * phase * std::complex<double>(z[first + i]);
      phase *= turn;
      bursts += burst[first + i] != 0 ? 1.0 : 0.0;
    }
    const double power = 0.5 * std::norm(sum / (whole * gain));
    p.always += power;
    windows += 1.0;
    p.while_bursts += bursts * power;
    burst_frames += bursts;
  }
  p.always /= std::max(windows, 1.0);
  p.while_bursts /= std::max(burst_frames, 1.0);
  return p;
}

}  // namespace

PhoneLines::PhoneLines(const HumChunk& chunk, double frame_rate_hz, std::span<const char> burst)
    : rate_hz_(frame_rate_hz) {
  const double top = chunk.grid().top_hz;
  const double spacing = rate_hz_ / static_cast<double>(frames_in_multiframe);
  const auto count = static_cast<std::size_t>(top / spacing - 1.0);
  std::vector<double> window(std::min(window_frames, chunk.frames()));
  for (std::size_t i = 0; i < window.size(); ++i) {
    window[i] =
        0.5 - 0.5 * std::cos(two_pi * (static_cast<double>(i) + 0.5) / static_cast<double>(window.size()));
  }
  std::vector<LinePower> on(count + 1);
  std::vector<LinePower> between(count + 1);
  for (std::size_t n = 2; n <= count; ++n) {
    on[n] = power_at(chunk, spacing * static_cast<double>(n), window, burst);
    between[n] = power_at(chunk, spacing * (static_cast<double>(n) + 0.5), window, burst);
  }
  multiframe_.assign(count + 1, 0.0);
  const auto burst_frames = static_cast<double>(std::count(burst.begin(), burst.end(), 1));
  near_hz_ = std::max(near_hz_, line_width / (burst_frames * chunk.grid().hop_s));
  double idle_power = 0.0;
  for (std::size_t n = 2; n <= count; ++n) {
    const double hz = spacing * static_cast<double>(n);
    if (n % frames_in_multiframe == 0) {
      hz_.push_back(hz);
      power_ += on[n].always;
      continue;
    }
    std::vector<double> beside;
    std::vector<double> seen;
    std::vector<double> not_phone;
    for (int d = -neighbours; d <= neighbours; ++d) {
      const int m = static_cast<int>(n) + d;
      if (d == 0 || m < 2 || m > static_cast<int>(count)) continue;
      not_phone.push_back(between[static_cast<std::size_t>(m)].while_bursts);
      if (m % static_cast<int>(frames_in_multiframe) == 0) continue;
      beside.push_back(on[static_cast<std::size_t>(m)].always);
      seen.push_back(on[static_cast<std::size_t>(m)].while_bursts);
    }
    // Too short a stretch cannot tell the lines from what lies between them.
    const bool there =
        window.size() < shortest_window || dsp::median(seen) > stands_out * dsp::median(not_phone);
    if (!there) continue;
    multiframe_[n] = dsp::median(beside);
    idle_power += multiframe_[n];
    if (on[n].always < own_ratio * multiframe_[n]) hz_.push_back(hz);
  }
  idle_seen_ = idle_power > least_idle_share * power_;
}

bool PhoneLines::is_line(double hz, double within_hz) const {
  return std::any_of(hz_.begin(), hz_.end(), [&](double x) { return std::abs(x - hz) < within_hz; });
}

double PhoneLines::hidden_power() const {
  constexpr std::size_t lines_per_harmonic = 6;  // 50 Hz over 8.33 Hz
  double sum = 0.0;
  for (std::size_t k = 1; k <= low_harmonics; ++k) {
    const std::size_t n = lines_per_harmonic * k;
    if (n < multiframe_.size()) sum += own_ratio * multiframe_[n];
  }
  return sum;
}

// Mean square of the multiframe's line that a frequency cannot be told from.
double PhoneLines::line_near(double hz) const {
  const double spacing = rate_hz_ / static_cast<double>(frames_in_multiframe);
  const auto n = static_cast<std::size_t>(std::lround(hz / spacing));
  const bool near = n < multiframe_.size() && std::abs(hz - spacing * static_cast<double>(n)) < near_hz_;
  return near ? multiframe_[n] : 0.0;
}

// Whether low harmonics that are not the phone's speak for mains.
bool PhoneLines::supported(const CombFit& fit) const {
  double low = 0.0;
  double all = 0.0;
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const CombHarmonic& h = fit.harmonics[i];
    if (!h.used || h.evidence < seen_evidence || h.power <= 0.0) continue;
    all += h.power;
    const double line = line_near(fit.f0_hz * static_cast<double>(i + 1));
    if (i < supporting && h.power > own_ratio * line) low += h.power;
  }
  return low > least_support * all && (idle_seen_ || low > least_beside_unbroken * power_);
}

void PhoneLines::allow_for(CombFit& fit, double stretch_s) const {
  if (!any()) return;
  double weight = 0.0;
  double pulled = 0.0;
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    CombHarmonic& h = fit.harmonics[i];
    if (!h.used || h.power <= 0.0) continue;
    const auto k = static_cast<double>(i + 1);
    const double line = line_near(fit.f0_hz * k);
    weight += k * k * h.power;
    pulled += k * k * h.power * line;
    h.power_variance += 2.0 * h.power * line + line * line;
    h.power -= line;
  }
  if (weight > 0.0) fit.f0_variance += pull * pull / (stretch_s * stretch_s) * pulled / (weight * weight);
  if (!fit.found || supported(fit)) return;
  fit.found = false;
  for (const CombHarmonic& h : fit.harmonics) {
    if (h.used && h.evidence > seen_evidence) fit.hidden_power += std::max(h.power, 0.0);
  }
}

}  // namespace linebench::measure
