#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/window.hpp>
#include <numbers>

namespace {
using namespace linebench::dsp;

TEST(Fft, FindsASineWhereTheDefinitionSays) {
  RealFft fft(48);
  for (std::size_t n = 0; n < 48; ++n)
    fft.input()[n] = std::cos(2 * std::numbers::pi * 5.0 * static_cast<double>(n) / 48);
  fft.forward();
  for (std::size_t k = 0; k <= 24; ++k)
    EXPECT_NEAR(std::abs(fft.output()[k]), k == 5 ? 24.0 : 0.0, 1e-12) << k;
  fft.inverse();
  EXPECT_NEAR(fft.input()[0] / 48, 1.0, 1e-12);
}

// Side-lobe levels are the windows' published property: Hann -31.5 dB, [Harris 1978] -92 dB, [Albrecht 2001]
// -180 dB.
TEST(Window, SideLobesAreAsPublished) {
  const struct {
    Window kind;
    double db;
  } cases[] = {{Window::Hann, -31.4}, {Window::BlackmanHarris4, -91.9}, {Window::BlackmanHarris7, -179.0}};
  for (const auto& c : cases) {
    double worst = 0;
    for (double b = main_lobe_bins(c.kind); b < 60; b += 0.01) {
      worst = std::max(worst, std::abs(window_response(c.kind, b)));
    }
    const double db = 20 * std::log10(worst);
    std::printf("  side lobes %.1f dB\n", db);
    EXPECT_LT(db, c.db);
  }
}

TEST(Window, ResponseAgreesWithItsOwnTransform) {
  for (const Window kind : {Window::Hann, Window::BlackmanHarris4, Window::BlackmanHarris7}) {
    const std::size_t n = 4096;
    const auto w = make_window(kind, n);
    double sum = 0;
    double sum2 = 0;
    for (const double v : w) {
      sum += v;
      sum2 += v * v;
    }
    EXPECT_NEAR(sum / n, coherent_gain(kind), 1e-9);
    EXPECT_NEAR(n * sum2 / (sum * sum), noise_bandwidth_bins(kind), 1e-9);
    for (const double b : {0.0, 0.3, 0.5, 1.7, 2.5}) {
      std::complex<double> s = 0;
      for (std::size_t i = 0; i < n; ++i) {
        s += w[i] * std::polar(1.0, -2 * std::numbers::pi * b * (static_cast<double>(i) - n / 2.0) / n);
      }
      EXPECT_NEAR(s.real() / sum, window_response(kind, b), 2e-4);
    }
  }
}

// |H|^2 = 1 / (1 + (f/fc)^2n): the definition of a Butterworth response; exact at the pre-warped corner.
TEST(Butterworth, HasItsCornerAndSlope) {
  for (const int order : {1, 2, 3, 4, 5, 8}) {
    const auto lp = butterworth_lowpass(order, 1000, 48000);
    const auto hp = butterworth_highpass(order, 1000, 48000);
    EXPECT_NEAR(20 * std::log10(lp.magnitude(1000, 48000)), -3.0103, 1e-3) << order;
    EXPECT_NEAR(20 * std::log10(hp.magnitude(1000, 48000)), -3.0103, 1e-3) << order;
    EXPECT_NEAR(20 * std::log10(hp.magnitude(100, 48000)), -20.0 * order, 0.1) << order;
    EXPECT_NEAR(lp.magnitude(1, 48000), 1.0, 1e-6) << order;
  }
}

}  // namespace
