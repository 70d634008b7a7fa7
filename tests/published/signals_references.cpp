// Test signals against independent references: scipy's chirp and Welch spectra, a separate reading of STIPA.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/signals/audio_signal.hpp>
#include <string>
#include <support/python.hpp>
#include <vector>
#include <where.hpp>

namespace {

using namespace linebench::signals;

Recipe shipped(const std::string& name) {
  return read_recipe(std::string(LINEBENCH_SOURCE_DIR) + "/signals/" + name + ".toml");
}

std::vector<float> render(const std::string& name, double rate,
                          std::optional<double> seconds = std::nullopt) {
  AudioSignalOptions o;
  o.sample_rate_hz = rate;
  o.channels = 1;
  o.seconds = seconds;
  const auto source = make_audio_signal(shipped(name), o);
  std::vector<float> x(source->facts().frames);
  std::size_t at = 0;
  while (at < x.size()) {
    const std::size_t n = source->read(std::span(x).subspan(at));
    if (n == 0) break;
    at += n;
  }
  EXPECT_EQ(at, x.size());
  return x;
}

// Third-octave levels from scipy.signal.welch, edges by [IEC 61260-1]; 3 standard deviations of a band's
// level, 4.34 / sqrt(B T) dB, are granted where they are more than the 0.25 dB.
constexpr const char* third_octaves_py = R"(
import sys, numpy as np
from scipy.signal import welch
x = np.fromfile(sys.argv[1], '<f4').astype(float); rate = float(sys.argv[2]); slope = float(sys.argv[3])
top = float(sys.argv[4])
x = x[int(rate):-int(rate)]
f, p = welch(x, rate, nperseg=1 << int(np.log2(rate * 2)))
cum = np.concatenate(([0], np.cumsum(p) * (f[1] - f[0]))); edges = np.concatenate(([f[0]], f + (f[1] - f[0]) / 2))
power = lambda a, b: np.interp(b, edges, cum) - np.interp(a, edges, cum)
T = len(x) / rate
fm = 1000 * 10 ** (np.arange(-16, 14) / 10); fm = fm[fm * 10 ** 0.05 < top]
lo, hi = fm * 10 ** -0.05, fm * 10 ** 0.05
level = np.array([10 * np.log10(power(a, b)) for a, b in zip(lo, hi)]) - slope * 10 * np.log10(fm / 1000)
ref = np.average(level, weights=hi - lo)
excess = np.abs(level - ref) - np.maximum(0.25, 3 * 4.34 / np.sqrt((hi - lo) * T))
print(excess.max(), np.abs(level - ref)[lo > 300].max(), 10 * np.log10(2 * np.mean(x ** 2)),
      10 * np.log10(power(0, 14) / np.mean(x ** 2)), 10 * np.log10(power(22500, rate) / np.mean(x ** 2) + 1e-30))
)";

TEST(SignalsAgainstScipy, PinkAndWhiteHaveTheirSpectra) {
  for (const auto& [name, slope, rate] : {std::tuple{"noise-pink", 0.0, 48000.0},
                                          {"noise-pink", 0.0, 44100.0},
                                          {"noise-white", 1.0, 48000.0}}) {
    const testing_support::TempDir dir;
    testing_support::write_raw(dir / "x", render(name, rate, 60));
    const double top = std::min(20000.0 * (slope > 0 ? 1.0 : 1.12), 0.475 * rate);
    const auto v = run_python_numbers(
        third_octaves_py, {dir / "x", std::to_string(rate), std::to_string(slope), std::to_string(top)});
    ASSERT_EQ(v.size(), 5U);
    std::printf("  %s at %g Hz: worst above 300 Hz %.3f dB, level %.3f dBFS, below 14 Hz %.0f dB\n", name,
                rate, v[1], v[2], v[3]);
    EXPECT_LE(v[0], 0) << name;
    EXPECT_LT(v[1], 0.3) << name;
    EXPECT_NEAR(v[2], -30, 0.1) << name;
    EXPECT_LT(v[3], -45) << name;
    EXPECT_LT(v[4], -45) << name;
  }
}

// scipy.signal.chirp(method='logarithmic') is Farina's formula as a cosine.
TEST(SignalsAgainstScipy, SweepIsTheLogarithmicChirp) {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    AudioSignalOptions o;
    o.sample_rate_hz = rate;
    const Sweep s = sweep_of(shipped("sweep-wide"), o);
    EXPECT_NEAR(s.f1_hz * s.growth_s(), std::round(s.f1_hz * s.growth_s()), 1e-9);  // phase-synchronised
    EXPECT_NEAR(s.seconds, 12, 0.3);
    const testing_support::TempDir dir;
    testing_support::write_raw(dir / "x", render("sweep-wide", rate));
    const auto v = run_python_numbers(R"(
import sys, numpy as np
from scipy.signal import chirp
x = np.fromfile(sys.argv[1], '<f4').astype(float); rate, f1, f2, T = map(float, sys.argv[2:])
t = np.arange(int(round(T * rate))) / rate
want = 10 ** (-30 / 20) * chirp(t, f1, T, f2, method='logarithmic', phi=-90)
steady = (t > 0.51) & (t < T - 0.06)
print(np.abs(x[:len(t)] - want)[steady].max(), np.abs(x[len(t):]).max(), len(x) / rate - T)
)",
                                      {dir / "x", std::to_string(rate), std::to_string(s.f1_hz),
                                       std::to_string(s.f2_hz), fmt::format("{:.17g}", s.seconds)});
    ASSERT_EQ(v.size(), 3U);
    EXPECT_LT(v[0], 1e-7) << rate;
    EXPECT_EQ(v[1], 0) << rate;
    EXPECT_NEAR(v[2], 2, 1e-3) << rate;
  }
}

// Folded with its inverse, the sweep reversed and falling by 6 dB an octave [Farina 2000], here tapered over
// half an octave and a tenth of one and scaled by stationary phase, |X(f)|^2 = rate^2 L / (4 f), the sweep is
// an impulse with a flat spectrum; a cubic path adds the third harmonic's impulse exactly L ln 3 earlier,
// negative, since sin^3 = (3 sin - sin 3)/4.
TEST(SignalsAgainstScipy, InverseFoldsTheSweepToAnImpulse) {
  const double rate = 48000;
  const Sweep s = sweep_of(shipped("sweep-wide"));
  std::vector<float> x = render("sweep-wide", rate);
  x.resize(s.frames());
  for (float& v : x) v *= 31.622777F;  // from -30 dBFS to full scale
  const testing_support::TempDir dir;
  testing_support::write_raw(dir / "x", x);
  const auto v = run_python_numbers(
      R"(
import sys, numpy as np
from scipy.signal import fftconvolve
x = np.fromfile(sys.argv[1], '<f4').astype(float); f1, f2, T = map(float, sys.argv[2:]); rate = 48000.0
L = T / np.log(f2 / f1); t = np.arange(len(x))[::-1] / rate
rises = lambda u: 0.5 - 0.5 * np.cos(np.pi * np.clip(u, 0, 1))
taper = rises(t / (0.5 * L * np.log(2))) * rises((T - t) / (0.1 * L * np.log(2)))
i = 4 / (rate ** 2 * L) * f1 * np.exp(t / L) * taper * np.sin(2 * np.pi * f1 * L * np.expm1(t / L))
h = fftconvolve(x, i)
n = len(x) - 1
H = 20 * np.log10(np.abs(np.fft.rfft(h))); f = np.fft.rfftfreq(len(h), 1 / rate)
band = (f > 28) & (f < 19000)
h3 = fftconvolve(x ** 3, i); h3[n - 2000:] = 0
k = np.argmax(np.abs(h3))
print(np.argmax(np.abs(h)) - n, h[n], np.abs(H[band]).max(), (n - k) / rate, h3[k])
)",
      {dir / "x", std::to_string(s.f1_hz), std::to_string(s.f2_hz), fmt::format("{:.17g}", s.seconds)});
  ASSERT_EQ(v.size(), 5U);
  std::printf("  impulse at %+g, height %.3f, spectrum within %.3f dB from 28 Hz to 19 kHz\n", v[0], v[1],
              v[2]);
  EXPECT_EQ(v[0], 0);
  EXPECT_NEAR(v[1], 2 * 21500.0 / rate, 0.03);  // area of a spectrum of 1 within the band
  EXPECT_LT(v[2], 0.01);
  EXPECT_NEAR(v[3], s.growth_s() * std::log(3.0), 1 / rate);
  EXPECT_LT(v[4], 0);
}

// [IEC 60268-16]: octave levels of male speech, each band's intensity modulated 0.55 at two frequencies; read
// here by brick-wall octaves in numpy and a Fourier sum of the intensity. Random carriers leave sqrt(2 / (B
// T)) of scatter.
TEST(SignalsAgainstNumpy, StipaHasItsLevelsAndModulations) {
  const double rate = 48000;
  const double seconds = 101;
  const testing_support::TempDir dir;
  testing_support::write_raw(dir / "x", render("stipa", rate, seconds));
  const auto v = run_python_numbers(R"(
import sys, numpy as np
x = np.fromfile(sys.argv[1], '<f4').astype(float); rate = 48000.0
print(10 * np.log10(2 * np.mean(x[24000:-24000] ** 2)))
x = x[24000:24000 + int(100 * rate)]
X = np.fft.rfft(x); f = np.fft.rfftfreq(len(x), 1 / rate); t = (np.arange(len(x)) + 24000) / rate
for fc, f1, f2 in ((125.89, 1.6, 8), (251.19, 1, 5), (501.19, .63, 3.15), (1000, 2, 10), (1995.26, 1.25, 6.25),
                   (3981.07, .8, 4), (7943.28, 2.5, 12.5)):
    e = np.fft.irfft(np.where((f > fc * 10 ** -.15) & (f < fc * 10 ** .15), X, 0)) ** 2
    m1 = 2 * np.sum(e * np.exp(-2j * np.pi * f1 * t)) / e.sum(); m2 = 2 * np.sum(e * np.exp(-2j * np.pi * f2 * t)) / e.sum()
    print(10 * np.log10(e.mean()), abs(m1), abs(m2), np.cos(np.angle(m1 * 1j)), np.cos(np.angle(m2 * 1j)))
)",
                                    {dir / "x"});
  ASSERT_EQ(v.size(), 1U + 7 * 5);
  EXPECT_NEAR(v[0], -30, 0.15);
  const double levels[] = {-2.5, 0.5, 0,  -6,
                           -12,  -18, -24};  // edition 5, from memory; found the same in public code
  const double widths[] = {44, 87, 174, 348, 694, 1385, 2763};
  double mean = 0;
  for (std::size_t i = 0; i < 7; ++i) mean += (v[1 + 5 * i] - levels[i]) / 7;
  for (std::size_t i = 0; i < 7; ++i) {
    const double scatter = std::sqrt(2 / (widths[i] * 100));
    const double* band = &v[1 + 5 * i];
    std::printf("  band %zu: level %+.2f dB, m %.3f %.3f (scatter %.3f)\n", i, band[0] - levels[i] - mean,
                band[1], band[2], scatter);
    EXPECT_NEAR(band[0] - levels[i] - mean, 0, 0.1 + 4.34 * 3 * scatter) << i;
    EXPECT_NEAR(band[1], 0.55, 0.005 + 3 * scatter) << i;
    EXPECT_NEAR(band[2], 0.55, 0.005 + 3 * scatter) << i;
    EXPECT_GT(band[3], 0.9) << i;   // + sin
    EXPECT_LT(band[4], -0.9) << i;  // - sin
  }
}

}  // namespace
