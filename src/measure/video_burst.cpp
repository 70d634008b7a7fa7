#include "video_burst.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>
#include <utility>

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double pi = std::numbers::pi;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double from_us = 4.2;  // the burst's surroundings: after sync, before picture
constexpr double to_us = 9.8;
constexpr std::uint64_t run_lines = 64;
constexpr double least_agreement = 0.3;  // of phases in a run: noise alone makes an eighth
constexpr double after_sync_us = 0.22;   // where the trailing edge of sync is over
// Where the picture's own chrominance may begin: 9.2 us by older practice in 525 lines, less half the edge.
constexpr double picture_from_525_us = 9.05;

}  // namespace

BurstMeter::BurstMeter(const VideoSetup& setup, const SyncMeter& sync, double clock_error_ppm)
    : sync_(sync),
      rate_hz_(setup.rate_hz),
      clock_(1 / (1 + clock_error_ppm * 1e-6)),
      step_us_(1e6 / setup.rate_hz),
      search_to_us_(setup.lines == 625 ? to_us : picture_from_525_us),
      points_(static_cast<std::size_t>(std::ceil((to_us - from_us) / step_us_))),
      groups_(line_groups),
      hz_(setup.subcarrier_true_hz),
      sc_h_(line_groups) {
  for (Sums& s : groups_) {
    for (int k = 0; k < 2; ++k) {
      s.x[k].assign(points_, Complex{});
      s.twice[k].assign(points_, Complex{});
    }
  }
}

void BurstMeter::line(const LineView& v) {
  if (!v.colour_burst || !v.sync_found || !v.covers(from_us - 0.5, to_us + 1.0)) return;
  add_shape(v);
  add_frequency(v);
  add_phase(v);
  bursts_ += 1;
}

// Samples go into the sums where they stand, with the subcarrier's phase at that very instant: nothing is
// interpolated, so that a subcarrier near half the sample rate is not touched. What their grid is late by is
// kept beside them.
void BurstMeter::add_shape(const LineView& v) {
  const std::size_t which = v.v_switch < 0 ? 1 : 0;
  Sums& s = groups_[group_of(v.index)];
  const double begin = v.position(from_us);
  const double first = std::ceil(begin);
  const double t_us = from_us + (first - begin) * step_us_;
  Complex turn = std::polar(1.0, -(2 * pi * v.subcarrier_hz * t_us * 1e-6 + v.subcarrier_phase));
  const Complex step = std::polar(1.0, -2 * pi * v.subcarrier_hz / rate_hz_);
  const float* x = v.mv.data() + static_cast<std::size_t>(first);
  for (std::size_t i = 0; i < points_; ++i) {
    s.x[which][i] += static_cast<double>(x[i]) * turn;
    s.twice[which][i] += turn * turn;
    turn *= step;
  }
  s.lines[which] += 1;
  s.late += first - begin;
}

void BurstMeter::add_frequency(const LineView& v) {
  // Departure of this burst from the axis it should lie on, added to the loop's own phase.
  const double axis = v.setup->v_alternates ? 0.75 * pi : pi;
  const double off = std::remainder(std::arg(v.burst) - axis, 2 * pi) * (v.v_switch < 0 ? -1 : 1);
  const Complex folded = v.burst * std::polar(1.0, -axis);
  folded_ += folded;
  folded2_ += folded * folded;
  const double turns = hz_ / rate_hz_ * v.t0;
  double phase = (v.subcarrier_phase + off) / (2 * pi) - std::remainder(turns, 1.0);
  if (n_ == 0) first_at_ = v.t0;
  phase = n_ == 0 ? phase : last_phase_ + std::remainder(phase - last_phase_, 1.0);
  last_phase_ = phase;
  const double t = v.t0 - first_at_;
  n_ += 1;
  st_ += t;
  sp_ += phase;
  stt_ += t * t;
  stp_ += t * phase;
  spp_ += phase * phase;
}

void BurstMeter::add_phase(const LineView& v) {
  if (v.setup->lines_per_frame != v.setup->lines || v.line == 0) return;
  const standards::VideoStandard& s = standards::standard_of(v.setup->lines);
  // Which frame of the colour sequence this is shows in the V switch, but for 180 deg: angles are doubled.
  for (int frame = 0; frame < 2; ++frame) {
    if (v.setup->v_alternates && standards::line_structure_in_frame(s, frame, v.line).v_sign != v.v_switch)
      continue;
    const double expected = 2 * pi *
                            standards::subcarrier_turns_at_line(
                                s, static_cast<std::int64_t>(frame) * v.setup->lines + v.line - 1);
    const Complex z = std::polar(1.0, 2 * (v.subcarrier_phase - expected));
    sc_h_[group_of(v.index)] += z;
    sc_h_lines_ += 1;
    run_ += z;
    if (static_cast<std::uint64_t>(sc_h_lines_) % run_lines == 0) runs_ += std::abs(std::exchange(run_, {}));
    return;
  }
}

// Burst vector along the time grid. In a stretch of about two cycles x = Im(B e^(j psi)), so that
// sum x e^(-j psi) = (B n - conj(B) sum e^(-2 j psi)) / 2j, solved for B: exact at any ratio of rates.
std::vector<Complex> BurstMeter::envelope(const Sums& s, double cycle_us, double search_from_us) const {
  const auto half = static_cast<std::ptrdiff_t>(std::max(2.0, std::round(0.75 * cycle_us / step_us_)));
  std::vector<Complex> out(points_);
  for (std::ptrdiff_t i = half; i + half < static_cast<std::ptrdiff_t>(points_); ++i) {
    Complex sum{};
    double lines = 0;
    for (int k = 0; k < 2; ++k) {
      if (s.lines[k] == 0) continue;
      Complex x{};
      Complex twice{};
      double n = 0;
      for (std::ptrdiff_t j = i - half; j <= i + half; ++j) {
        const double weight = 1 + std::cos(pi * static_cast<double>(j - i) / static_cast<double>(half + 1));
        x += weight * s.x[k][static_cast<std::size_t>(j)];
        twice += weight * s.twice[k][static_cast<std::size_t>(j)];
        n += weight;
      }
      const double total = n * s.lines[k];
      const Complex c = Complex(0, 2) * x / total;
      const Complex m = twice / total;
      const Complex b = (c + m * std::conj(c)) / (1 - std::norm(m));
      sum += s.lines[k] * (k == 0 ? b : std::conj(b));
      lines += s.lines[k];
    }
    // Sync itself would ring into the burst when interpolated.
    const bool past_sync = from_us + static_cast<double>(i) * step_us_ > search_from_us;
    if (lines > 0 && past_sync) out[static_cast<std::size_t>(i)] = sum / lines;
  }
  return out;
}

// By phases p that scatter by s the mean falls to A e^(-s^2/2), the root of the mean square to A e^(-s^2);
// noise, which is round, adds to neither.
double BurstMeter::phase_loss() const {
  if (!(bursts_ > 0) || !(std::abs(folded2_) > 0)) return 0;
  return std::max(0.0, std::abs(folded_) / std::sqrt(std::abs(folded2_) * bursts_) - 1);
}

BurstMeter::Shape BurstMeter::shape(const Sums& s, double cycle_us, double search_from_us) const {
  std::vector<Complex> b = envelope(s, cycle_us, search_from_us);
  // The window that finds the envelope reaches three quarters of a cycle to either side.
  const double search_to_us = search_to_us_ - 0.75 * cycle_us;
  b.resize(std::min(b.size(), static_cast<std::size_t>(std::max(8.0, (search_to_us - from_us) / step_us_))));
  const auto index_of = [&](double us) {
    return static_cast<std::size_t>(
        std::clamp((us - from_us) / step_us_, 0.0, static_cast<double>(b.size() - 1)));
  };
  const double begin_us = from_us + s.late / (s.lines[0] + s.lines[1]) * step_us_;
  // Middle of the burst: centre of what stands above half the highest.
  double top = 0;
  for (std::size_t i = index_of(search_from_us); i < b.size(); ++i) top = std::max(top, std::abs(b[i]));
  double weight = 0;
  double moment = 0;
  for (std::size_t i = index_of(search_from_us); i < b.size(); ++i) {
    if (std::abs(b[i]) < 0.5 * top) continue;
    weight += 1;
    moment += static_cast<double>(i);
  }
  if (weight < 3) return {nan, nan, nan};
  const double middle = moment / weight;
  Complex mean{};
  double n = 0;
  for (auto i = static_cast<std::size_t>(std::ceil(middle - 0.22 * weight));
       static_cast<double>(i) <= middle + 0.22 * weight; ++i) {
    mean += b[i];
    n += 1;
  }
  if (n < 1) return {nan, nan, nan};
  Shape out;
  out.amplitude_mv = std::abs(mean / n);
  // Envelope along the mean's own direction, so that noise outside the burst does not add up.
  const Complex along = std::conj(mean) / std::abs(mean);
  Trace t{begin_us, step_us_, std::vector<float>(b.size())};
  for (std::size_t i = 0; i < b.size(); ++i) t.y[i] = static_cast<float>((b[i] * along).real());
  const double centre = begin_us + middle * step_us_;
  out.start_us = t.crossing(0.5 * out.amplitude_mv, centre, search_from_us);
  out.end_us = t.crossing(0.5 * out.amplitude_mv, centre, search_to_us - 0.2);
  return out;
}

void BurstMeter::finish(const VideoSetup& setup, Readings& out) {
  constexpr const char* ids[] = {"video.burst.amplitude", "video.burst.start",     "video.burst.cycles",
                                 "video.breezeway",       "video.burst.frequency", "video.sc_h"};
  if (!setup.colour || bursts_ < 16) {
    const double least =
        std::min(standards::video_525.subcarrier_hz.value(), standards::video_625.subcarrier_hz.value());
    const std::string reason =
        setup.rate_hz * 0.45 < least
            ? fmt::format("{:.4g} MS/s is too slow for the subcarrier; take the capture at 10 MS/s or more",
                          setup.rate_hz * 1e-6)
            : std::string("no colour burst was found; check that the source sends colour");
    for (const char* id : ids) out.push_back(unmeasurable(id, reason));
    return;
  }
  const double cycle_us = setup.subcarrier_us();
  Sums all;
  for (int k = 0; k < 2; ++k) {
    all.x[k].assign(points_, Complex{});
    all.twice[k].assign(points_, Complex{});
    for (const Sums& g : groups_) {
      all.lines[k] += g.lines[k];
      all.late += k == 0 ? g.late : 0.0;
      for (std::size_t i = 0; i < points_; ++i) {
        all.x[k][i] += g.x[k][i];
        all.twice[k][i] += g.twice[k][i];
      }
    }
  }
  const double lead = sync_.leading_us();
  const auto trail = sync_.trailing_us();
  const double search_from_us = (trail ? trail->value : 4.7) + after_sync_us;
  const Shape total = shape(all, cycle_us, search_from_us);
  std::vector<Shape> by_group;
  for (const Sums& g : groups_) {
    by_group.push_back(g.lines[0] + g.lines[1] > 0 ? shape(g, cycle_us, search_from_us)
                                                   : Shape{nan, nan, nan});
  }
  const auto push = [&](const char* id, double value, const std::function<double(const Shape&)>& read,
                        double floor) {
    const auto u = group_uncertainty([&](std::size_t g) { return read(by_group[g]); });
    if (std::isfinite(value) && u) {
      out.push_back(number_reading(id, value, together(*u, floor)));
    } else {
      out.push_back(
          unmeasurable(id, "the burst has no clear beginning and end; look at it on a waveform plot"));
    }
  };
  // Near three samples a cycle the window that finds the envelope is coarse.
  const double timing = (cycle_us < 3.4 * step_us_ ? 0.1 : 0.01) * step_us_ + 0.001;
  // The mean of bursts that do not keep step is smaller than they are.
  const double whole = 1 + phase_loss();
  push(
      "video.burst.amplitude", 2 * total.amplitude_mv * whole,
      [&](const Shape& s) { return 2 * s.amplitude_mv * whole; },
      together(0.002, phase_loss()) * total.amplitude_mv);
  push(
      "video.burst.start", total.start_us - lead, [](const Shape& s) { return s.start_us; }, timing);
  push(
      "video.burst.cycles", (total.end_us - total.start_us) / cycle_us,
      [&](const Shape& s) { return (s.end_us - s.start_us) / cycle_us; }, 2 * timing / cycle_us);
  push(
      "video.breezeway", trail ? total.start_us - trail->value : nan,
      [](const Shape& s) { return s.start_us; }, together(timing, trail ? trail->u : 0.0));
  finish_frequency(setup, out);
  finish_phase(setup, out);
}

void BurstMeter::finish_frequency(const VideoSetup& setup, Readings& out) const {
  const double det = n_ * stt_ - st_ * st_;
  const double slope = (n_ * stp_ - st_ * sp_) / det;
  const double start = (sp_ - slope * st_) / n_;
  const double residual2 = std::max(0.0, (spp_ - start * sp_ - slope * stp_) / (n_ - 2));
  if (!(det > 0)) {
    out.push_back(unmeasurable("video.burst.frequency", "too few bursts; take a longer capture"));
    return;
  }
  const double hz = (hz_ + slope * rate_hz_) * clock_;
  const double u = 2 * std::sqrt(residual2 * n_ / det) * rate_hz_;
  std::string remark = clock_ == 1.0 ? "by the recorder's clock, whose own error is not known" : "";
  // Line rate and subcarrier of a colour source come from one oscillator: their ratio tells source from
  // recorder.
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  if (std::abs(setup.subcarrier_hz - s.subcarrier_hz.value()) < 1) {
    const double cycles = hz / clock_ * setup.line_period_samples / rate_hz_;
    const double off = cycles / s.subcarrier_cycles_per_line.value() - 1;
    if (std::abs(off) > 3e-6) {
      remark += fmt::format("{}{:+.1f} ppm against the line rate: subcarrier and sync are not locked",
                            remark.empty() ? "" : "; ", off * 1e6);
    }
  }
  out.push_back(number_reading("video.burst.frequency", hz, together(u, 1e-9 * hz), remark));
}

void BurstMeter::finish_phase(const VideoSetup& setup, Readings& out) const {
  if (setup.lines_per_frame != setup.lines || !setup.numbered) {
    out.push_back(
        unmeasurable("video.sc_h", "the phase is defined for an interlaced signal with vertical sync only"));
    return;
  }
  if (std::abs(setup.subcarrier_hz - standards::standard_of(setup.lines).subcarrier_hz.value()) > 1) {
    out.push_back(
        unmeasurable("video.sc_h", "the phase is not defined for this subcarrier with this line rate"));
    return;
  }
  Complex sum{};
  for (const Complex& z : sc_h_) sum += z;
  // Noise moves the edge of each line; what the lines of a few milliseconds agree on must stay.
  const double lines_in_runs = std::floor(sc_h_lines_ / run_lines) * run_lines;
  const bool agree = runs_ > least_agreement * lines_in_runs;
  if (sc_h_lines_ < 2 * run_lines || !agree || std::abs(sum) < 0.8 * runs_) {
    out.push_back(
        unmeasurable("video.sc_h",
                     "subcarrier and sync edges do not keep step during the capture: they are not locked in "
                     "this source, or a tone, jitter or noise moves the edges"));
    return;
  }
  // From the regular 0H to the 50 % point of the mean edge.
  const double shift = 360 * setup.subcarrier_true_hz * sync_.leading_us() * 1e-6;
  const double total = std::arg(sum) / 2;
  const auto u = group_uncertainty([&](std::size_t g) {
    return std::abs(sc_h_[g]) > 0 ? std::remainder(std::arg(sc_h_[g]) - std::arg(sum), 2 * pi) * 90 / pi
                                  : nan;
  });
  const double degrees = std::remainder(total * 180 / pi + shift, 180.0);
  // The mean leading edge is known about as well as the trailing one.
  const auto edge = sync_.trailing_us();
  const double edge_s = edge ? 1e-6 * edge->u : 0.0;
  const double timing = 360 * setup.subcarrier_true_hz * together(0.01 / rate_hz_ + 0.2e-9, edge_s);
  out.push_back(number_reading("video.sc_h", degrees, together(u.value_or(1.0), timing)));
}

}  // namespace linebench::measure
