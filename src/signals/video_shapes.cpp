#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/signals/video_shapes.hpp>
#include <numbers>
#include <stdexcept>

namespace linebench::signals {
namespace {

using std::numbers::pi;

// Kaiser's design rules for a stop band of 80 dB [Kaiser 1974].
constexpr double stop_db = 80;
constexpr double kaiser_beta = 0.1102 * (stop_db - 8.7);
constexpr double kaiser_length = (stop_db - 7.95) / 14.36;  // seconds x hertz of transition

constexpr double widest_flat_hz = 6.0e6;   // all multiburst packets and chroma sidebands
constexpr double widest_stop_hz = 13.5e6;  // nothing of the waveforms lies beyond
constexpr std::size_t kernel_points = 1U << 13;

double sinc(double x) { return std::abs(x) < 1e-12 ? 1.0 : std::sin(pi * x) / (pi * x); }

}  // namespace

BandLimit band_limit_for(double sample_rate_hz, double bandwidth_hz) {
  const double nyquist = sample_rate_hz / 2;
  const double most = 0.92 * nyquist;
  const double pass = std::min(bandwidth_hz > 0 ? bandwidth_hz : widest_flat_hz, most);
  const double stop = bandwidth_hz > 0 ? std::min(nyquist, 1.25 * pass) : std::min(nyquist, widest_stop_hz);
  return {pass, stop};
}

ShapeTable::Place ShapeTable::place(double at_samples) const {
  const double begin = at_samples - half_;
  const double first = std::ceil(begin);
  const double fine = (first - begin) * static_cast<double>(rows_);
  const double row = std::min(std::floor(fine), static_cast<double>(rows_) - 1);
  const std::size_t offset = static_cast<std::size_t>(row) * taps_;
  Place p;
  p.first = static_cast<std::int64_t>(first);
  p.weight = static_cast<float>(fine - row);
  p.low = re_.data() + offset;
  p.high = p.low + taps_;
  if (!im_.empty()) {
    p.low_im = im_.data() + offset;
    p.high_im = p.low_im + taps_;
  }
  return p;
}

ShapeBank::ShapeBank(double sample_rate_hz, BandLimit limit) : rate_(sample_rate_hz), limit_(limit) {
  if (!(rate_ > 0) || !(limit.pass_hz > 0) || !(limit.stop_hz > limit.pass_hz) ||
      limit.stop_hz > rate_ / 2 * (1 + 1e-9)) {
    throw std::invalid_argument("ShapeBank: need 0 < pass < stop <= rate / 2");
  }
  const double cut = (limit.pass_hz + limit.stop_hz) / 2;
  kernel_half_s_ = kaiser_length / (limit.stop_hz - limit.pass_hz) / 2;
  kernel_step_s_ = kernel_half_s_ / kernel_points;
  kernel_.resize(kernel_points + 3);
  double area = 0;
  const double window_peak = std::cyl_bessel_i(0, kaiser_beta);
  for (std::size_t i = 0; i < kernel_.size(); ++i) {
    const double x = static_cast<double>(i) / kernel_points;
    const double t = static_cast<double>(i) * kernel_step_s_;
    const double window =
        x > 1 ? 0.0 : std::cyl_bessel_i(0, kaiser_beta * std::sqrt(1 - x * x)) / window_peak;
    kernel_[i] = 2 * cut * sinc(2 * cut * t) * window;
    area += kernel_[i] * (i == 0 ? 1.0 : 2.0) * kernel_step_s_;
  }
  for (double& v : kernel_) v /= area;
}

double ShapeBank::kernel(double t) const {
  const double x = std::abs(t) / kernel_step_s_;
  if (x >= kernel_points) return 0;
  const auto i = static_cast<std::size_t>(x);
  const double f = x - static_cast<double>(i);
  // Cubic through four points; the kernel is even, so the point before the first is the one after it.
  const double a = kernel_[i == 0 ? 1 : i - 1];
  const double b = kernel_[i];
  const double c = kernel_[i + 1];
  const double d = kernel_[i + 2];
  return b + 0.5 * f * (c - a + f * (2 * a - 5 * b + 4 * c - d + f * (3 * (b - c) + d - a)));
}

const ShapeTable& ShapeBank::get(ShapeKind kind, double had_ns, double carrier_hz) {
  auto& slot = tables_[{kind, had_ns, carrier_hz}];
  if (!slot) slot = make(kind, had_ns, carrier_hz);
  return *slot;
}

std::unique_ptr<ShapeTable> ShapeBank::make(ShapeKind kind, double had_ns, double carrier_hz) const {
  using Complex = std::complex<double>;
  const double had = had_ns * 1e-9;
  const double w = 2 * pi * carrier_hz;
  const double sample = 1 / rate_;
  auto table = std::make_unique<ShapeTable>();
  // Rows so fine that the straight line between two is within 3e-6 of the curve.
  table->rows_ = static_cast<std::size_t>(std::clamp(std::ceil(sample / 0.4e-9), 16.0, 512.0));
  const double rows = static_cast<double>(table->rows_);
  table->half_ = std::ceil((kernel_half_s_ + had) * rate_ * rows) / rows;
  table->taps_ = static_cast<std::size_t>(std::floor(2 * table->half_)) + 1;

  // Values on a grid of 1/rows sample from -half on: the pulse filtered, by the trapezoid rule (its ends and
  // their slopes are 0, so it converges at once).
  const std::size_t n = (table->taps_ + 1) * table->rows_ + 1;
  std::vector<Complex> curve(n);
  // Fine enough for the pulse and for the filter.
  const int parts = std::clamp(static_cast<int>(std::ceil(2 * had * limit_.stop_hz * 8)), 64, 512);
  const double dq = 2 * had / parts;
  std::vector<Complex> pulse(static_cast<std::size_t>(parts) + 1);
  for (int k = 0; k <= parts; ++k) {
    const double q = -had + k * dq;
    const double c = std::cos(pi * q / (2 * had));
    pulse[static_cast<std::size_t>(k)] = std::polar(c * c * dq, w * q);
  }
  const double dt = sample / rows;
  for (std::size_t i = 0; i < n; ++i) {
    const double t = -table->half_ * sample + static_cast<double>(i) * dt;
    Complex sum = 0;
    // The filter at u = t - q, and e^(-jwu) split into e^(-jwt) e^(jwq).
    for (int k = 1; k < parts; ++k) sum += kernel(t + had - k * dq) * pulse[static_cast<std::size_t>(k)];
    curve[i] = sum * std::polar(1.0, -w * t);
  }
  const auto integrate = [&](double scale) {
    Complex sum = 0;
    Complex before = 0;
    for (Complex& v : curve) {
      sum += (before + v) / 2.0 * scale;
      before = v;
      v = sum;
    }
  };
  if (kind != ShapeKind::Pulse) {
    integrate(dt / had);
    // What is left of the trapezoid's error goes: the end value is the filter's response at the carrier.
    Complex response = 0;
    for (std::size_t i = 0; i < kernel_points; ++i) {
      response += kernel_[i] * std::cos(w * static_cast<double>(i) * kernel_step_s_) * (i == 0 ? 1.0 : 2.0) *
                  kernel_step_s_;
    }
    const Complex last = curve.back();
    if (std::abs(last) > 1e-3) {
      for (Complex& v : curve) v *= response / last;
    }
    table->end_re_ = response.real();
  }
  if (kind == ShapeKind::Slope) integrate(1 / rows);

  table->re_.resize((table->rows_ + 1) * table->taps_);
  if (carrier_hz > 0) table->im_.resize(table->re_.size());
  for (std::size_t r = 0; r <= table->rows_; ++r) {
    for (std::size_t j = 0; j < table->taps_; ++j) {
      const Complex v = curve[j * table->rows_ + r];
      table->re_[r * table->taps_ + j] = static_cast<float>(v.real());
      if (carrier_hz > 0) table->im_[r * table->taps_ + j] = static_cast<float>(v.imag());
    }
  }
  return table;
}

}  // namespace linebench::signals
