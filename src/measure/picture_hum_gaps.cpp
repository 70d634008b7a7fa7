#include "picture_hum_gaps.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

using cd = std::complex<double>;
constexpr double two_pi = 2 * std::numbers::pi;

double wrapped(double radians) { return std::remainder(radians, two_pi); }

struct FramePhase {
  double t = 0;        // of its first field
  double slot = 0;     // frames from the first, as the file has it
  double radians = 0;  // beyond what hum of the frequency taken would have
};

// Hum's amplitude in the fields of one frame, at a phase that turns with `hz`; what stands still taken out of
// both.
cd amplitude(const FieldProfile* from, const FieldProfile* to, const HumProblem& problem, double hz) {
  double rr = 0, ri = 0, ii = 0, cr = 0, ci = 0;
  for (const FieldProfile* f = from; f != to; ++f) {
    const auto q = static_cast<std::size_t>(f->parity);
    FieldShapes::Turning e = (*problem.shapes)[q].turning(hz);
    cd turn = std::polar(1.0, two_pi * std::fmod(hz * f->t, 1.0));
    if (problem.difference_s > 0)
      turn *= 1.0 - std::polar(1.0, -two_pi * std::fmod(hz * problem.difference_s, 1.0));
    std::array<double, hum_shapes> re{}, im{}, c = f->c;
    for (std::size_t k = 0; k < hum_shapes; ++k) {
      const cd v = turn * e[k];
      re[k] = v.real();
      im[k] = -v.imag();
    }
    const auto without = [](std::array<double, hum_shapes>& x, const std::array<double, hum_shapes>& d) {
      double a = 0;
      for (std::size_t k = 0; k < hum_shapes; ++k) a += x[k] * d[k];
      for (std::size_t k = 0; k < hum_shapes; ++k) x[k] -= a * d[k];
    };
    for (const auto& d : problem.standing[q])
      for (auto* x : {&re, &im, &c}) without(*x, d);
    for (std::size_t k = 0; k < hum_shapes; ++k) {
      rr += re[k] * re[k];
      ri += re[k] * im[k];
      ii += im[k] * im[k];
      cr += c[k] * re[k];
      ci += c[k] * im[k];
    }
  }
  const double d = rr * ii - ri * ri;
  if (!(d > 1e-9 * rr * ii)) return 0;
  return {(ii * cr - ri * ci) / d, (rr * ci - ri * cr) / d};
}

std::vector<FramePhase> phases(const std::vector<FieldProfile>& fields, const HumProblem& problem, double hz,
                               double frame_s) {
  std::vector<FramePhase> out;
  const double t0 = fields.front().t;
  const auto slot_of = [&](const FieldProfile& f) { return std::floor((f.t - t0) / frame_s + 0.25); };
  for (std::size_t i = 0; i < fields.size();) {
    std::size_t end = i;
    while (end < fields.size() && slot_of(fields[end]) == slot_of(fields[i])) ++end;
    const cd a = amplitude(fields.data() + i, fields.data() + end, problem, hz);
    if (a != 0.0) out.push_back({fields[i].t, slot_of(fields[i]), std::arg(a)});
    i = end;
  }
  return out;
}

// The middle of angles: that one which is nearest to all of them.
double middle(std::span<const double> radians) {
  double best = 0, least = 1e300;
  for (const double a : radians) {
    double sum = 0;
    for (const double b : radians) sum += std::abs(wrapped(b - a));
    if (sum < least) least = sum, best = a;
  }
  return best;
}

// By how much phase goes on from a frame to the next, where nothing is missing.
double usual_step(const std::vector<FramePhase>& p) {
  std::vector<double> steps;
  for (std::size_t i = 1; i < p.size(); ++i)
    if (p[i].slot - p[i - 1].slot == 1) steps.push_back(wrapped(p[i].radians - p[i - 1].radians));
  return middle(steps);
}

// A step of phase before a frame, by the middles of some frames on either side: one that is off says nothing.
struct Step {
  double radians = 0;
  double rest = 0;   // mean distance of those frames from their middles
  double sigma = 0;  // of the step, by them
};
Step step_at(const std::vector<double>& phase, std::size_t first, std::size_t at, std::size_t beside) {
  const std::span<const double> all(phase);
  const std::size_t n = std::min(at - first, beside), m = std::min(beside, all.size() - at);
  const auto before = all.subspan(at - n, n), after = all.subspan(at, m);
  const double a = middle(before), b = middle(after);
  Step s{wrapped(b - a), 0, 0};
  for (const double x : before) s.rest += std::abs(wrapped(x - a));
  for (const double x : after) s.rest += std::abs(wrapped(x - b));
  const auto sum = static_cast<double>(n + m);
  s.sigma = 1.2533 * s.rest / (sum - 2) * std::sqrt(sum / static_cast<double>(n * m));  // of a normal spread
  s.rest /= sum;
  return s;
}

}  // namespace

HumPhase follow_phase(const std::vector<FieldProfile>& fields, const HumProblem& problem, double hz,
                      double frame_s) {
  constexpr double least_rad = 0.01, most_noise_rad = 0.3;
  HumPhase out;
  if (fields.size() < 16 || !(hz > 0)) return out;
  std::vector<FramePhase> frames = phases(fields, problem, hz, frame_s);
  if (frames.size() < 8) return out;
  hz += usual_step(frames) / (two_pi * frame_s);
  frames = phases(fields, problem, hz, frame_s);
  if (frames.size() < 8) return out;
  const double usual = usual_step(frames);
  std::vector<double> phase, steps;
  for (const FramePhase& f : frames) phase.push_back(f.radians - usual * f.slot);
  for (std::size_t i = 1; i < phase.size(); ++i) steps.push_back(std::abs(wrapped(phase[i] - phase[i - 1])));
  const double noise = 1.4826 * dsp::median(steps) / std::numbers::sqrt2;
  if (noise > most_noise_rad) return out;
  constexpr double deviations = 10;  // few frames know their own scatter badly
  constexpr std::size_t least_beside = 3, most_beside = 6;
  std::size_t first = 0;  // frame after the last jump
  const auto jumps = [&](std::size_t at, std::size_t beside) {
    const Step s = step_at(phase, first, at, beside);
    const double sigma = std::max(s.sigma, noise * std::sqrt(2.0 / static_cast<double>(beside)));
    return std::abs(s.radians) > std::max(least_rad, deviations * sigma);
  };
  for (std::size_t at = least_beside; at + least_beside <= phase.size(); ++at) {
    if (at < first + least_beside) continue;
    const bool many = phase.size() >= 24;
    if (!jumps(at, most_beside) && !(many && jumps(at, least_beside))) continue;
    // The middle of some sees it coming.
    std::size_t there = at;
    for (std::size_t i = at; i < at + least_beside && i + least_beside <= phase.size(); ++i)
      if (step_at(phase, first, i, least_beside).rest < step_at(phase, first, there, least_beside).rest)
        there = i;
    const double step = step_at(phase, first, there, least_beside).radians;
    const double slots = frames[there].slot - frames[there - 1].slot;
    // A frame that stands twice may have taken the place of one that is missing, or not.
    int by = 0;
    double nearest = std::max(0.02, 4 * noise);
    for (const int m : {1, -1, 2, 3, 4, -2, -3}) {
      if (m < 0 && slots + m < 1) continue;
      const double off = std::abs(wrapped(step - two_pi * std::fmod(hz * m * frame_s, 1.0)));
      if (off < nearest - (by != 0 ? noise : 0)) nearest = off, by = m;
    }
    out.jumps.push_back({frames[there].t, by != 0 ? by * frame_s : step / (two_pi * hz), by});
    if (by == 0) ++out.unexplained;
    for (std::size_t i = there; i < phase.size(); ++i) phase[i] -= step;
    first = at = there;
  }
  // At either end too few for a jump; their phase alone shows that they do not belong.
  constexpr double least_off_rad = 0.05;
  const std::span<const double> all(phase);
  const double off = std::max(least_off_rad, deviations * noise);
  const double begin = middle(all.subspan(least_beside - 1, least_beside));
  const double end = middle(all.last(2 * least_beside - 1).first(least_beside));
  for (std::size_t i = 0; i + 1 < least_beside; ++i)
    if (std::abs(wrapped(phase[i] - begin)) > off) out.from = frames[i + 1].t;
  for (std::size_t i = phase.size() - 1; i + least_beside > phase.size(); --i)
    if (std::abs(wrapped(phase[i] - end)) > off) out.until = frames[i].t;
  return out;
}

double later_by(const std::vector<TimeJump>& jumps, double t) {
  double s = 0;
  for (const TimeJump& j : jumps) s += t >= j.t - 1e-9 ? j.seconds : 0;
  return s;
}

}  // namespace linebench::measure
