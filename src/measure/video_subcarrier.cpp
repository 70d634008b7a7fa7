#include "video_subcarrier.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
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
  std::nth_element(size.begin(), size.begin() + static_cast<std::ptrdiff_t>(size.size() / 2), size.end());
  f.amplitude_v = size[size.size() / 2];

  // Two lines apart the swing of an alternating burst cancels. Good for +-fH/4 round the trial frequency.
  double step = probe_hz / rate_hz;  // turns a sample
  const Pairs two = pairs(b, 2, step);
  f.coherence = two.weight > 0 ? std::abs(two.sum) / two.weight : 0;
  if (f.coherence < 0.3) return f;
  step += std::arg(two.sum) / (2 * pi) / (2 * period);
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
    double error = std::remainder(std::arg(onto_u(v)) - phase_, 2 * pi);
    if (alternates_) {
      const double other = std::remainder(std::arg(onto_u(-v)) - phase_, 2 * pi);
      wrong_v_ = std::abs(other) < std::abs(error) ? wrong_v_ + 1 : std::max(0, wrong_v_ - 1);
      if (wrong_v_ > 12) {  // lines were lost without a count: the switch is on the other foot
        v_even_ = -v_even_;
        v = -v;
        error = other;
        wrong_v_ = 0;
      }
    }
    far_off_ = std::abs(error) > 0.8 ? far_off_ + 1 : 0;
    const double gain = far_off_ > 12 ? 1.0 : 0.03;
    if (gain == 1.0) far_off_ = 0;
    phase_ += gain * error;
    if (gain < 1.0) hz_ += gain * gain / 4.0 * error / (2 * pi) / 64e-6;
    const Complex uv = now * std::polar(1.0, -phase_);
    s.burst = v < 0 ? std::conj(uv) : uv;
  }
  s.hz = hz_;
  s.phase = std::remainder(phase_ - 2 * pi * std::remainder(hz_ / rate_hz_ * (middle - t0), 1.0), 2 * pi);
  s.v_switch = v;
  return s;
}

}  // namespace linebench::measure
