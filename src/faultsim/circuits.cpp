// The simulator's circuits.
#include <algorithm>
#include <linebench/faultsim/installation.hpp>

namespace linebench::faultsim {
namespace {
using Complex = std::complex<double>;
constexpr double two_pi = 2 * std::numbers::pi;

// rms of each multiple of the fundamental in one period of samples.
Comb multiples(const std::vector<double>& period) {
  Comb out{};
  const double count = static_cast<double>(period.size());
  for (int n = 0; n <= harmonics; ++n) {
    Complex sum{};
    for (std::size_t k = 0; k < period.size(); ++k)
      sum += period[k] * std::polar(1.0, -two_pi * n * static_cast<double>(k) / count);
    out[static_cast<std::size_t>(n)] =
        n == 0 ? sum.real() / count : std::abs(sum) / count * std::numbers::sqrt2;
  }
  return out;
}
}  // namespace

Comb rectifier_ripple(double mains_hz, double peak_v, double source_ohm, double farad, double load_a) {
  constexpr int steps = 2000;  // a mains period
  const double dt = 1 / (mains_hz * steps);
  double v = 0.95 * peak_v;
  std::vector<double> period(steps);
  for (int cycle = 0; cycle < 12; ++cycle) {  // until it repeats
    for (int k = 0; k < steps; ++k) {
      // The two halves of a real bridge differ by a little.
      const double s = std::sin(two_pi * k / steps);
      const double source = peak_v * (s > 0 ? s : -0.997 * s);
      const double in = std::max(0.0, (source - v) / source_ohm);
      v = std::max(0.0, v + (in - load_a) / farad * dt);
      period[static_cast<std::size_t>(k)] = v;
    }
  }
  return multiples(period);
}

Comb phase_cut(double cut) {
  constexpr int steps = 2048;
  std::vector<double> period(steps);
  for (int k = 0; k < steps; ++k) {
    const double angle = two_pi * k / steps;
    period[static_cast<std::size_t>(k)] =
        std::fmod(angle, std::numbers::pi) < cut ? 0.0 : std::numbers::sqrt2 * std::sin(angle);
  }
  return multiples(period);
}

double rise_behind_cable(double loss_db) {
  // A raised-cosine edge of 140 ns (10 to 90 %) every 10 us through exp(-a sqrt(f) (1 + j)).
  constexpr int terms = 200;
  constexpr double period_us = 10;
  constexpr double whole_us = 0.140 / 0.5903;  // of a raised cosine, 10 to 90 % is 0.5903 of the whole
  const double nepers = loss_db / 8.686;
  std::vector<Complex> c(terms + 1);
  for (int k = 1; k <= terms; k += 2) {
    const double f = k / period_us;  // MHz
    const double x = f * whole_us;
    // The slope of a raised-cosine edge is half a sine.
    const double edge =
        std::abs(x - 0.5) < 1e-6 ? std::numbers::pi / 4 : std::cos(std::numbers::pi * x) / (1 - 4 * x * x);
    const double a = nepers * std::sqrt(f / 5);
    c[static_cast<std::size_t>(k)] = 2 / (std::numbers::pi * k) * edge * std::exp(Complex(-a, -a));
  }
  const auto level = [&](double t) {
    double v = 0.5;
    for (int k = 1; k <= terms; k += 2)
      v += (c[static_cast<std::size_t>(k)] * std::polar(1.0, two_pi * k * t / period_us)).imag();
    return v;
  };
  const double low = level(-0.3);
  const double high = level(3.5);
  double t10 = 0;
  double t90 = 0;
  bool past10 = false;
  for (double t = -0.3; t < 3.5; t += 0.002) {
    const double share = (level(t) - low) / (high - low);
    if (!past10 && share > 0.1) {
      t10 = t;
      past10 = true;
    }
    if (share > 0.9) {
      t90 = t;
      break;
    }
  }
  return 1000 * (t90 - t10);
}

double bent_third(double drive) {
  constexpr int steps = 512;
  double first = 0, third = 0;
  for (int k = 0; k < steps; ++k) {
    const double angle = two_pi * k / steps;
    const double y = std::tanh(drive * std::sin(angle));
    first += y * std::sin(angle);
    third += y * std::sin(3 * angle);
  }
  return std::abs(third / first);
}

double pair_gain_db(double source_ohm, double series_ohm, double farad, double hz) {
  // The pair's capacitance in the middle of its resistance.
  const Complex w(0, two_pi * hz);
  const Complex end = 1.0 / (w * (farad / 2) + 1.0 / 10000.0);
  const Complex half = series_ohm / 2;
  const Complex middle = 1.0 / (w * (farad / 2) + 1.0 / (half + end));
  return db(std::abs(middle / (source_ohm + half + middle) * end / (half + end)));
}

}  // namespace linebench::faultsim
