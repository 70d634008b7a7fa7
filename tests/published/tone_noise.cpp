// Tone and noise readings against scipy on the same samples.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/measure/audio.hpp>

#include "support/python.hpp"
#include "support/synth.hpp"

namespace {

double value(const linebench::Readings& r, const char* id) {
  const linebench::Reading* found = linebench::find_reading(r, id);
  if (found == nullptr || !found->measured()) {
    ADD_FAILURE() << id;
    return NAN;
  }
  return found->number();
}

}  // namespace

// The four-parameter sine fit of IEEE 1057, by scipy.optimize.least_squares over the same samples.
TEST(PublishedToneNoise, FourParameterSineFit) {
  const testing_support::TempDir dir;
  const double rate = 44100;
  for (const double hz : {123.456, 9876.54}) {
    synth::Samples x(synth::count(2.0, rate), 0.01F);
    synth::add_sine(x, rate, hz, -14.0, 2.0);
    synth::add_noise(x, -70, 3);
    testing_support::write_raw(dir / "x.f32", x);
    const auto fit = run_python_numbers(R"(
import sys, numpy as np
from scipy.optimize import least_squares
x = np.fromfile(sys.argv[1], '<f4').astype(float); fs = float(sys.argv[2]); f0 = float(sys.argv[3])
t = np.arange(len(x)) / fs
def model(p): return p[0]*np.cos(2*np.pi*p[3]*t) + p[1]*np.sin(2*np.pi*p[3]*t) + p[2]
def lin(f):
    a = np.stack([np.cos(2*np.pi*f*t), np.sin(2*np.pi*f*t), np.ones_like(t)], 1)
    return np.linalg.lstsq(a, x, rcond=None)[0]
p = least_squares(lambda p: model(p) - x, [*lin(f0), f0], x_scale=[1, 1, 1, 1e-3], xtol=1e-15, ftol=1e-15, gtol=1e-15).x
print(repr(float(p[3])), repr(float(20*np.log10(np.hypot(p[0], p[1])))), repr(float(p[2])))
)",
                                        {dir / "x.f32", std::to_string(rate), std::to_string(hz)});
    ASSERT_EQ(fit.size(), 3U);
    synth::MemorySource source(rate, {x});
    const auto r = linebench::measure::measure_audio(source, {});
    EXPECT_NEAR(value(r, "audio.tone.frequency"), fit[0],
                linebench::find_reading(r, "audio.tone.frequency")->uncertainty.value());
    EXPECT_NEAR(value(r, "audio.tone.frequency") / fit[0], 1.0, 2e-6);
    EXPECT_NEAR(value(r, "audio.tone.level"), fit[1], 0.003);
    EXPECT_NEAR(value(r, "audio.level.dc"), fit[2], 1e-4);
  }
}

// Coloured noise through the curves by numpy's FFT over the whole capture, the A curve from its poles by
// scipy.signal.
TEST(PublishedToneNoise, WeightedNoiseByWholeCaptureTransform) {
  const testing_support::TempDir dir;
  const double rate = 48000;
  synth::Samples x(synth::count(8.0, rate));
  synth::add_noise(x, -50, 11);
  double low = 0;
  for (float& v : x) {  // one-pole low pass and some of the white: hiss over rumble
    low += 0.05 * (static_cast<double>(v) - low);
    v = static_cast<float>(0.2 * static_cast<double>(v) + low);
  }
  testing_support::write_raw(dir / "x.f32", x);
  const auto expected = run_python_numbers(R"(
import sys, numpy as np
from scipy import signal
x = np.fromfile(sys.argv[1], '<f4').astype(float); fs = float(sys.argv[2])
x -= x.mean()
X = np.fft.rfft(x); f = np.fft.rfftfreq(len(x), 1/fs)
P = 2*np.abs(X)**2/len(x)**2
band = (f >= 20) & (f <= 20000)
z = [0, 0, 0, 0]; p = -2*np.pi*np.array([20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217])
_, h = signal.freqs_zpk(z, p, 1, 2*np.pi*np.maximum(f, 1e-3)); _, h1 = signal.freqs_zpk(z, p, 1, [2*np.pi*1000])
# BS.468-4 Table 1, cubic in dB over log frequency
tf = [20, 31.5, 63, 100, 200, 400, 800, 1000, 2000, 3150, 4000, 5000, 6300, 7100, 8000, 9000, 10000, 12500, 14000, 16000, 20000]
td = [-33.9, -29.9, -23.9, -19.8, -13.8, -7.8, -1.9, 0, 5.6, 9, 10.5, 11.7, 12.2, 12, 11.4, 10.1, 8.1, 0, -5.3, -11.7, -22.2]
from scipy.interpolate import CubicSpline
g = 10**(CubicSpline(np.log(tf), td)(np.log(np.clip(f, 20, 20000)))/10)
for w in (np.ones_like(f), np.abs(h/h1)**2, g):
    print(repr(float(10*np.log10(2*np.sum((P*w)[band])))))
)",
                                           {dir / "x.f32", std::to_string(rate)});
  ASSERT_EQ(expected.size(), 3U);
  synth::MemorySource source(rate, {x});
  const auto r = linebench::measure::measure_audio(source, {});
  EXPECT_NEAR(value(r, "audio.noise.unweighted"), expected[0], 0.15);
  EXPECT_NEAR(value(r, "audio.noise.a"), expected[1], 0.15);
  EXPECT_NEAR(value(r, "audio.noise.bs468"), expected[2], 0.2);
}
