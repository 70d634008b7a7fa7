// Which of the lines that stand out make a pattern that mains makes.
#include <algorithm>
#include <cmath>
#include <numeric>

#include "hum_chunk.hpp"

namespace linebench::measure {
namespace {

// -ln of the chance beyond which a harmonic is seen; alone it needs more.
constexpr double seen = 9.0;
constexpr double alone_beyond_trials = 13.0;
constexpr double most_per_harmonic = 60.0;

bool within(double hz, double mains_hz, double by_hz) { return std::abs(hz - mains_hz) < by_hz; }

// Rectifier ripple falls from each of its harmonics to the next: the sawtooth on a reservoir capacitor by 6,
// then 3.5 dB (1/n), a full-wave rectified sine by more (1/(4 n^2 - 1)). A margin for what the path does.
bool falls_like_ripple(const CombFit& fit) {
  if (fit.harmonics.size() < 6) return false;
  const double p2 = fit.harmonics[1].power;
  const double p4 = fit.harmonics[3].power;
  const double p6 = fit.harmonics[5].power;
  return fit.harmonics[1].evidence > seen && fit.harmonics[3].evidence > seen && p4 < 0.36 * p2 &&
         p6 < 0.16 * p2;
}

void deny(CombFit& fit, double enough) {
  fit.denied_power = fit.denied_hz = 0.0;
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const CombHarmonic& h = fit.harmonics[i];
    if (!h.used || h.evidence < enough || h.power <= 0.0) continue;
    // Higher up, a line by itself is somebody's tone rather than mains.
    if (fit.denied_power <= 0.0 && i > 2) return;
    if (fit.denied_power <= 0.0) fit.denied_hz = fit.f0_hz * static_cast<double>(i + 1);
    fit.denied_power += h.power;
  }
}

}  // namespace

void judge(CombFit& fit, double stretch_s, double extra_trials) {
  // Chances grow with the number of separate frequencies tried.
  const double trials = std::log(20.0 * stretch_s + 1.0) + extra_trials;
  int strong = 0;
  int fair = 0;
  int even = 0;
  std::size_t common = 0;  // greatest common divisor of the harmonics seen
  bool alone = false;
  fit.score = 0.0;
  const bool public_mains = within(fit.f0_hz, 50.0, 1.0) || within(fit.f0_hz, 60.0, 1.2);
  for (std::size_t i = 0; i < fit.harmonics.size(); ++i) {
    const CombHarmonic& h = fit.harmonics[i];
    if (!h.used) continue;
    fit.score += std::clamp(h.evidence - seen - extra_trials, 0.0, most_per_harmonic);
    if (h.evidence > seen) {
      common = std::gcd(common, i + 1);
      even += (i + 1) % 2 == 0 ? 1 : 0;
    }
    strong += h.evidence > seen + trials ? 1 : 0;
    fair += h.evidence > 6.0 + trials ? 1 : 0;
    // A single line is mains at the fundamental; at twice it (rectifier ripple) only where public mains
    // runs.
    if ((i == 0 || (i == 1 && public_mains)) && h.evidence > alone_beyond_trials + trials) alone = true;
  }
  // Only even multiples: ripple, if mains may run there or they fall as ripple does. Only odd multiples of
  // three: what the neutral conductor of three phases carries (triplen harmonics of rectifier loads), if
  // public mains runs there exactly. Only other multiples of three or more: somebody's tone.
  const bool near_mains = within(fit.f0_hz, 50.0, 2.5) || within(fit.f0_hz, 60.0, 3.0);
  const bool grid = within(fit.f0_hz, 50.0, 0.5) || within(fit.f0_hz, 60.0, 0.5);
  bool pattern = common == 1 || (common == 2 && (near_mains || falls_like_ripple(fit)));
  if (common == 3 && even == 0 && grid && fit.harmonics.size() >= 3 &&
      fit.harmonics[2].evidence > alone_beyond_trials + trials) {
    pattern = alone = true;
  }
  fit.found = pattern && (alone || strong >= 2 || fair >= 3);
  fit.denied_power = fit.denied_hz = 0.0;
  if (!fit.found) deny(fit, alone_beyond_trials + trials);
}

}  // namespace linebench::measure
