// The lowband view on waveforms made and resampled by numpy and scipy: rectangular pulses by the tables of
// SMPTE ST 170M and ITU-R BT.470 at 3.84 MS/s, scipy's resample_poly down to the card's rate, its Butterworth
// high-pass for the coupling capacitor.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/measure/lowband.hpp>

#include "support/coverage.hpp"
#include "support/lowband_synth.hpp"
#include "support/python.hpp"

namespace {

using namespace linebench;

constexpr const char* script = R"(
import sys, numpy as np
from scipy import signal
out, lines, rate, coupling, level, hum = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), *map(float, sys.argv[4:7])
fs = 3_840_000
line_hz, sync, eq = (15625.0, 300.0, 2.35) if lines == 625 else (4.5e6 / 286, 40000 / 140, 2.3)
active, porch = (10.5, 1.5) if lines == 625 else (9.4, 1.5)
h = 1e6 / line_hz
broad = 27.3 if lines == 625 else h / 2 - 4.7
seconds = 1.5
t = np.arange(int(seconds * fs)) / fs * 1e6 + 7777.0      # us since line 1
half = np.floor(t / (h / 2)).astype(int)
into = t - half * h / 2
k = half % (2 * lines)                                     # half line of the frame
field = k % lines
start = np.where(k < lines, field % 2 == 0, k % 2 == 0)    # a line begins here
width = np.where(start, 4.7, 0.0)
n = 5 if lines == 625 else 6
if lines == 625:
    width = np.where(field < n, broad, np.where((field < 2 * n) | (field >= lines - n), eq, width))
else:
    width = np.where(field < n, eq, np.where(field < 2 * n, broad, np.where(field < 3 * n, eq, width)))
v = np.where(into < width, -sync, 0.0)
line = k // 2 + 1
at = t - np.floor(t / h) * h
shown = ((line >= 24) & (line <= 309)) | ((line >= 336) & (line <= 622)) if lines == 625 else \
        ((line >= 21) & (line <= 262)) | ((line >= 284) & (line <= 525))
v += np.where(shown & (at >= active) & (at < h - porch), level, 0.0)
v += hum / 2 * np.sin(2 * np.pi * 47.3 * t * 1e-6)
y = signal.resample_poly(v - v.mean(), 1, fs // rate)
b, a = signal.butter(1, coupling / (rate / 2), 'high')
y = signal.lfilter(b, a, y) + np.random.default_rng(1).normal(0, 1, len(y))
(y / 1000 / 2).astype('<f4').tofile(out)
)";

TEST(LowbandScipy, AgreesAtAllRates) {
  const testing_support::TempDir dir;
  unsigned n = 0;
  for (const int lines : {625, 525}) {
    for (const int rate : {48000, 96000, 192000}) {
      for (const double coupling : {3.0, 15.0}) {
        const unsigned combination = n++;
        if (!coverage::taken(combination + combination / 2, 2)) continue;  // each rate and coupling in turn
        const double level = rate == 96000 ? 70 : 500;
        (void)testing_support::run_python(script, {dir / "x", std::to_string(lines), std::to_string(rate),
                                                   std::to_string(coupling), std::to_string(level), "30"});
        const std::string bytes = testing_support::read_text(dir / "x");
        std::vector<float> x(bytes.size() / 4);
        std::copy_n(bytes.data(), 4 * x.size(), reinterpret_cast<char*>(x.data()));
        lowband_synth::MemoryCard source(rate, x, 2.0);
        const Readings r = measure::measure_lowband(source, {});
        const auto value = [&](const char* id) {
          const Reading* f = find_reading(r, id);
          return f != nullptr && f->measured() ? f->number() : std::nan("");
        };
        std::printf("  %d lines %d Hz coupling %g: sync %.2f, apl %.2f, hum %.2f mV at %.3f Hz\n", lines,
                    rate, coupling, value("video.sync.amplitude"), value("video.apl"),
                    value("video.hum.level"), value("video.hum.frequency"));
        const double sync = lines == 625 ? 300 : 40000.0 / 140;
        const double white = lines == 625 ? 700 : 5000.0 / 7;
        EXPECT_EQ(value("video.lines_per_frame"), lines);
        EXPECT_NEAR(value("video.sync.amplitude"), sync, 0.015 * sync);
        EXPECT_NEAR(value("video.apl"), 100 * level / white, 2);
        EXPECT_NEAR(value("video.hum.level"), 30, 1.5);
        EXPECT_NEAR(value("video.hum.frequency"), 47.3, 0.01);
      }
    }
  }
}

}  // namespace
