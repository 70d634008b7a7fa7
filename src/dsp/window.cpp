#include <cmath>
#include <linebench/dsp/window.hpp>
#include <numbers>
#include <span>

namespace linebench::dsp {
namespace {

// w[n] = a0 - a1 cos x + a2 cos 2x - ..., x = 2 pi n / N.
constexpr double hann[] = {0.5, 0.5};
// [Harris 1978] minimum four-term window.
constexpr double bh4[] = {0.35875, 0.48829, 0.14128, 0.01168};
// [Albrecht 2001] seven-term minimum side-lobe window; coefficients from memory, checked by the tests on side
// lobes.
constexpr double bh7[] = {2.712203605850388e-01, 4.334446123274422e-01, 2.180041228929303e-01,
                          6.578534329560609e-02, 1.076186730534183e-02, 7.700127105808265e-04,
                          1.368088305992921e-05};

std::span<const double> coefficients(Window kind) {
  switch (kind) {
    case Window::Hann:
      return hann;
    case Window::BlackmanHarris4:
      return bh4;
    case Window::BlackmanHarris7:
      return bh7;
  }
  return hann;
}

}  // namespace

std::vector<double> make_window(Window kind, std::size_t n) {
  const auto a = coefficients(kind);
  std::vector<double> w(n);
  for (std::size_t i = 0; i < n; ++i) {
    const double x = 2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(n);
    // cos kx from cos x by Chebyshev's recurrence: one cosine a sample.
    const double c = std::cos(x);
    double before = 1.0;
    double now = c;
    double v = a[0];
    for (std::size_t k = 1; k < a.size(); ++k) {
      v += (k % 2 == 1 ? -a[k] : a[k]) * now;
      const double next = 2.0 * c * now - before;
      before = now;
      now = next;
    }
    w[i] = v;
  }
  return w;
}

int main_lobe_bins(Window kind) { return static_cast<int>(coefficients(kind).size()); }

double window_response(Window kind, double bins) {
  // The window is centred on n = N/2, where every cosine term has come round to +a_k: a sum of shifted sincs.
  // All their sines are the same but for the sign: taken once, of what is beyond the nearest bin.
  const auto a = coefficients(kind);
  const double whole = std::round(bins);
  const double odd = std::fmod(whole, 2.0) == 0.0 ? 1.0 : -1.0;
  const double sine = odd * std::sin(std::numbers::pi * (bins - whole));
  const auto sinc = [&](double x, double sign) {
    return std::abs(x) < 1e-9 ? 1.0 : sign * sine / (std::numbers::pi * x);
  };
  double v = a[0] * sinc(bins, 1.0);
  double sign = 1.0;
  for (std::size_t k = 1; k < a.size(); ++k) {
    sign = -sign;
    const auto shift = static_cast<double>(k);
    v += 0.5 * a[k] * (sinc(bins - shift, sign) + sinc(bins + shift, sign));
  }
  return v / a[0];
}

double coherent_gain(Window kind) { return coefficients(kind)[0]; }

double noise_bandwidth_bins(Window kind) {
  const auto a = coefficients(kind);
  double power = a[0] * a[0];
  for (std::size_t k = 1; k < a.size(); ++k) power += 0.5 * a[k] * a[k];
  return power / (a[0] * a[0]);
}

}  // namespace linebench::dsp
