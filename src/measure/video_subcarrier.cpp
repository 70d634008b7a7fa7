#include "video_subcarrier.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/video.hpp>
#include <numbers>
#include <vector>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr int loop_lines = 33;
constexpr double loop_gain = 1.0 / loop_lines;
constexpr double jump_rad = 0.4;      // by which a few bursts in a row are off
constexpr int most_wrong_swings = 4;  // before the V switch is taken to be the other way round
using Complex = std::complex<double>;

struct Burst {
  std::uint64_t index;
  double at;  // sample position
  Complex z;  // phase of the burst itself at `at`, trial frequency put back
};

// exp(2 pi i turns); `turns` may be large.
Complex turned(double turns) { return std::polar(1.0, 2.0 * pi * (turns - std::round(turns))); }

// Sum of z[k] conj(z[i]) over pairs `apart` lines apart, every burst first turned back by `step` turns a
// sample.
struct Pairs {
  Complex sum{};
  double weight = 0;
  Complex even{};
  Complex odd{};
};
Pairs pairs(const std::vector<Burst>& b, std::uint64_t apart, double step) {
  Pairs p;
  std::size_t k = 0;
  for (std::size_t i = 0; i < b.size(); ++i) {
    while (k < b.size() && b[k].index < b[i].index + apart) ++k;
    if (k == b.size()) break;
    if (b[k].index != b[i].index + apart) continue;
    const Complex c = b[k].z * std::conj(b[i].z) * turned(-step * (b[k].at - b[i].at));
    p.sum += c;
    p.weight += std::abs(b[k].z) * std::abs(b[i].z);
    (b[i].index % 2 == 0 ? p.even : p.odd) += c;
  }
  return p;
}

// Phases two lines apart leave multiples of half the line rate open. A source's subcarrier keeps to its own
// crystal or, as the standards have it, to its line rate: the one nearest to either.
double nearest_hz(double hz, double nominal_hz, double line_hz) {
  double standard_line_hz = standards::video_625.line_rate_hz.value();
  const double other = standards::video_525.line_rate_hz.value();
  if (std::abs(line_hz - other) < std::abs(line_hz - standard_line_hz)) standard_line_hz = other;
  const double by_line = nominal_hz * line_hz / standard_line_hz;
  const auto near = [&](double to) { return hz + line_hz / 2 * std::round((to - hz) / (line_hz / 2)); };
  const double a = near(nominal_hz);
  const double b = near(by_line);
  return std::abs(a - nominal_hz) < std::abs(b - by_line) ? a : b;
}

}  // namespace

double burst_middle_us() { return 6.7; }

FoundSubcarrier find_subcarrier(std::span<const LineMark> marks, std::size_t which, double probe_hz,
                                double rate_hz) {
  FoundSubcarrier f;
  f.nominal_hz = probe_hz;
  std::vector<Burst> b;
  std::vector<double> size;
  double period = 0;
  for (std::size_t i = 0; i < marks.size(); ++i) {
    const LineMark& m = marks[i];
    if (!m.found || m.pulses || m.burst[which] == Complex{}) continue;
    const double at = m.t0 + burst_middle_us() * 1e-6 * rate_hz;
    b.push_back({m.index, at, m.burst[which] * turned(probe_hz / rate_hz * at)});
    size.push_back(std::abs(m.burst[which]));
  }
  if (b.size() < 24) return f;
  period = (b.back().at - b.front().at) / static_cast<double>(b.back().index - b.front().index);
  f.amplitude_v = dsp::median(std::move(size));

  // Two lines apart the swing of an alternating burst cancels.
  double step = probe_hz / rate_hz;  // turns a sample
  const Pairs two = pairs(b, 2, step);
  f.coherence = two.weight > 0 ? std::abs(two.sum) / two.weight : 0;
  if (f.coherence < 0.3) return f;
  step += std::arg(two.sum) / (2 * pi) / (2 * period);
  step = nearest_hz(step * rate_hz, probe_hz, rate_hz / period) / rate_hz;
  const Pairs one = pairs(b, 1, step);
  f.alternates = (one.even * std::conj(one.odd)).real() < 0;
  if (f.alternates) {
    // From V as is (135 deg) to V reversed (225 deg) is a step of +90 deg.
    f.v_even = (one.even - one.odd).imag() > 0 ? +1 : -1;
  }
  // All bursts onto the +U axis.
  for (Burst& x : b) {
    const int v = x.index % 2 == 0 ? f.v_even : -f.v_even;
    x.z *= f.alternates ? std::polar(1.0, v > 0 ? -0.75 * pi : 0.75 * pi) : Complex(-1, 0);
  }
  for (const std::uint64_t apart : {8U, 64U}) {
    const Pairs p = pairs(b, apart, step);
    if (std::abs(p.sum) > 0) step += std::arg(p.sum) / (2 * pi) / (static_cast<double>(apart) * period);
  }
  // Straight line through the phases of blocks of bursts.
  constexpr std::size_t block = 24;
  double n = 0;
  double st = 0;
  double sp = 0;
  double stt = 0;
  double stp = 0;
  double last = 0;
  for (std::size_t i = 0; i + block <= b.size(); i += block) {
    Complex sum{};
    double at = 0;
    for (std::size_t k = i; k < i + block; ++k) {
      sum += b[k].z * turned(-step * b[k].at);
      at += b[k].at / block;
    }
    double phase = std::arg(sum);
    if (n > 0) phase = last + std::remainder(phase - last, 2 * pi);
    last = phase;
    const double t = at - b.front().at;
    n += 1;
    st += t;
    sp += phase;
    stt += t * t;
    stp += t * phase;
  }
  const double det = n * stt - st * st;
  const double slope = n >= 2 && det > 0 ? (n * stp - st * sp) / det : 0.0;
  const double at_front = (sp - slope * st) / n;
  // phase(n) = 2 pi step n + at_front + slope (n - front)
  const double turns = step + slope / (2 * pi);
  f.hz = turns * rate_hz;
  const double at_zero = at_front - slope * b.front().at;
  f.phase_at_0 = std::remainder(at_zero, 2 * pi);
  f.found = true;
  return f;
}

SubcarrierLock::SubcarrierLock(const FoundSubcarrier& found, double probe_hz, double rate_hz)
    : on_(found.found),
      probe_hz_(probe_hz),
      rate_hz_(rate_hz),
      alternates_(found.alternates),
      v_even_(found.v_even),
      least_v_(0.35 * found.amplitude_v),
      hz_(found.hz),
      phase_(found.phase_at_0) {}

// Whether the bursts have long swung the other way than the switch is taken to: from one line to the next, so
// that a jump of phase does not hide it.
bool SubcarrierLock::swings_against(int v, Complex now, std::uint64_t index) {
  const double elapsed = at_ - swing_at_;
  const double turn = std::arg(now * std::conj(swing_from_) * turned(-hz_ / rate_hz_ * elapsed));
  const bool follows = index == swing_index_ + 1 && std::abs(swing_from_) > 0;
  swing_from_ = now;
  swing_at_ = at_;
  swing_index_ = index;
  if (!follows) return false;
  // From V as is (135 deg) to V reversed (225 deg) is a step of +90 deg.
  wrong_v_ = (turn > 0) == (v > 0) ? wrong_v_ + 1 : std::max(0, wrong_v_ - 1);
  if (wrong_v_ <= most_wrong_swings) return false;
  wrong_v_ = 0;
  return true;
}

SubcarrierLock::State SubcarrierLock::step(const LineMark& mark, double t0) {
  State s;
  if (!on_) return s;
  const double middle = t0 + burst_middle_us() * 1e-6 * rate_hz_;
  phase_ = std::remainder(phase_ + 2 * pi * std::remainder(hz_ / rate_hz_ * (middle - at_), 1.0), 2 * pi);
  at_ = middle;
  int v = alternates_ ? (mark.index % 2 == 0 ? v_even_ : -v_even_) : 0;
  const Complex z = mark.burst[0];
  s.burst_found = mark.found && !mark.pulses && std::abs(z) > least_v_;
  if (s.burst_found) {
    const Complex now = z * turned(probe_hz_ / rate_hz_ * middle);
    const auto onto_u = [&](int v_now) {
      return now * (alternates_ ? std::polar(1.0, v_now > 0 ? -0.75 * pi : 0.75 * pi) : Complex(-1, 0));
    };
    if (alternates_ && swings_against(v, now, mark.index)) {
      // Lines were lost without a count, or a field was cut to whole lines: the switch is on the other foot.
      v_even_ = -v_even_;
      v = -v;
      settling_ = 0;
    }
    const double error = std::remainder(std::arg(onto_u(v)) - phase_, 2 * pi);
    off_ += (error - off_) / 6;
    if (std::abs(off_) > jump_rad && settling_ >= loop_lines) settling_ = 0;
    // From a jump on the mean of all bursts since, then of the last of them.
    settling_ = std::min(settling_ + 1, loop_lines);
    const double gain = std::max(loop_gain, 1.0 / settling_);
    phase_ += gain * error;
    if (settling_ >= loop_lines) hz_ += loop_gain * loop_gain / 4.0 * error / (2 * pi) / 64e-6;
    const Complex uv = now * std::polar(1.0, -phase_);
    s.burst = v < 0 ? std::conj(uv) : uv;
  }
  s.hz = hz_;
  s.phase = std::remainder(phase_ - 2 * pi * std::remainder(hz_ / rate_hz_ * (middle - t0), 1.0), 2 * pi);
  s.v_switch = v;
  return s;
}

}  // namespace linebench::measure
