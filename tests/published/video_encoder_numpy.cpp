// The encoder's samples against the same waveform built by numpy from the standards' tables on a fine time
// grid, with numpy's own Kaiser window as the low-pass filter; and their spectrum by scipy.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/signals/video_encoder.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "support/python.hpp"

namespace {
using namespace linebench;

std::vector<float> encode(const char* picture, const char* form, const standards::VideoStandard& s,
                          double rate, std::size_t n) {
  signals::EncoderOptions o;
  o.system = s.system;
  o.sample_rate_hz = signals::exact_sample_rate(rate, s);
  signals::CompositeEncoder e(signals::describe({.picture = picture, .form = form}, s), o);
  std::vector<float> v(n);
  e.read(v);
  return v;
}

void save(const std::string& path, const std::vector<float>& v) {
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(v.data()), static_cast<std::streamsize>(v.size() * sizeof(float)));
}

// Lines 99 and 100 of 75 % bars from first principles, times and levels typed in from the tables [170M,
// BT.470].
constexpr const char* reference = R"(
import sys, numpy as np
path, lines, rate, fine = sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])
ntsc = lines == 525
x = np.fromfile(path, '<f4').astype(float) * 1e3
H = 572/9*1e-6 if ntsc else 64e-6
fsc = 315e6/88 if ntsc else 4433618.75
cycles = 227.5 if ntsc else 283.7516
if rate == 4: rate = 4*fsc
white = 1e5/140 if ntsc else 700.0
sync, burst = (-4e4/140, 4e4/140) if ntsc else (-300.0, 300.0)
rise_sync, rise_blank = (140e-9, 140e-9) if ntsc else (200e-9, 300e-9)
a0, a1 = (9.4e-6, H-1.5e-6) if ntsc else (10.5e-6, 62.5e-6)
b0, blen = (19/fsc, 9/fsc) if ntsc else (5.6e-6, 10/fsc)
T2 = 250e-9 if ntsc else 200e-9
k = 0.964376655659473
grid = rate*fine
n0, n1 = int(98*H*rate) - 40, int(100*H*rate) + 40
t = np.arange((n0-200)*fine, (n1+200)*fine) / grid
def edge(t, had):
    u = np.clip(t/had, -1, 1)
    return 0.5 + u/2 + np.sin(np.pi*u)/(2*np.pi)
def gate(t, a, b, had): return edge(t-a, had) - edge(t-b, had)
def gate2(t, a, b, ha, hb): return edge(t-a, ha) - edge(t-b, hb)
y = np.zeros_like(t)
setup = 0.075 if ntsc else 0.0
rgb = [(1,1,1),(1,1,0),(0,1,1),(0,1,0),(1,0,1),(1,0,0),(0,0,1),(0,0,0)]
for L in range(97, 101):
    s = t - L*H
    y += sync*gate(s, 0, 4.7e-6, rise_sync/k)
    base = cycles*L % 1.0
    vsw = 1 if ntsc or L % 2 == 0 else -1
    ph = 2*np.pi*(base + fsc*s)
    bu, bv = (-1.0, 0.0) if ntsc else (-np.sqrt(.5), vsw*np.sqrt(.5))
    y += burst/2*gate(s, b0, b0+blen, 300e-9/k)*(bu*np.sin(ph)+bv*np.cos(ph))
    w = (a1-a0)/8
    y += white*setup*gate(s, a0, a1, rise_blank/k)
    for i, c in enumerate(rgb):
        r, g, b = [0.75*v for v in c]
        Y = .299*r+.587*g+.114*b
        U, V = .492111*(b-Y), .877283*(r-Y)*vsw
        A, B = a0+i*w, a0+(i+1)*w
        y += white*(1-setup)*Y*gate2(s, A, B, rise_blank/k if i == 0 else T2, rise_blank/k if i == 7 else T2)
        y += white*(1-setup)*gate(s, A, B, 230e-9)*(U*np.sin(ph)+V*np.cos(ph))
# low-pass: flat to 6 MHz, 80 dB down at half the rate or 13.5 MHz
stop = min(rate/2, 13.5e6); pas = min(6e6, 0.46*rate)
half = (80-7.95)/14.36/(stop-pas)/2
m = int(half*grid)
u = np.arange(-m, m+1)/grid
h = np.sinc((pas+stop)*u)*np.i0(0.1102*(80-8.7)*np.sqrt(1-(u/half)**2))
h /= h.sum()
from scipy.signal import fftconvolve
y = fftconvolve(y, h, 'same')[200*fine:-200*fine:fine]
d = y - x[n0:n1]
print(np.abs(d).max(), np.sqrt(np.mean(d**2)), y.max(), y.min())
)";

TEST(EncoderAgainstNumpy, BarsLineByLine) {
  const testing_support::TempDir dir;
  const struct {
    const standards::VideoStandard* s;
    double rate;
    const char* rate_word;
    int fine;
  } cases[] = {
      {&standards::video_625, 27e6, "27e6", 8},           {&standards::video_525, 27e6, "27e6", 8},
      {&standards::video_525, 14318181.8181818, "4", 16}, {&standards::video_625, 17734475, "4", 12},
      {&standards::video_625, 13.5e6, "13.5e6", 16},      {&standards::video_525, 10.7e6, "10.7e6", 20}};
  for (const auto& c : cases) {
    save(dir / "x.f32", encode("bars", "75", *c.s, c.rate, static_cast<std::size_t>(0.0067 * c.rate)));
    const auto r = testing_support::run_python(
        reference,
        {dir / "x.f32", std::to_string(c.s->lines_per_frame), c.rate_word, std::to_string(c.fine)});
    std::istringstream in(r);
    double worst = 1e9;
    double rms = 1e9;
    double top = 0;
    double bottom = 0;
    ASSERT_TRUE(in >> worst >> rms >> top >> bottom) << r;
    std::printf("  %.*s at %.4g MS/s: worst %.4f mV, rms %.5f mV\n", static_cast<int>(c.s->name.size()),
                c.s->name.data(), c.rate / 1e6, worst, rms);
    EXPECT_LT(worst, 0.01) << c.s->name << " " << c.rate;
    EXPECT_GT(top, 600);  // the reference has a picture, so that the comparison means something
    EXPECT_LT(bottom, -250);
  }
}

// Nothing above the filter's stop band, at several rates; sin^2 pulse by its closed form: half amplitude at
// 1/(2 HAD), first zero at 1/HAD.
constexpr const char* spectrum = R"(
import sys, numpy as np
from scipy.signal import windows
x = np.fromfile(sys.argv[1], '<f4').astype(float); rate = float(sys.argv[2]); stop = float(sys.argv[3])
w = windows.blackmanharris(len(x))
X = np.abs(np.fft.rfft(x*w)); f = np.fft.rfftfreq(len(x), 1/rate)
print(20*np.log10(X[f > stop].max()/X.max()))
)";

TEST(EncoderAgainstNumpy, NothingAboveTheStopBand) {
  const testing_support::TempDir dir;
  const struct {
    double rate;
    const char* stop;
  } cases[] = {{27e6, "13.4e6"}, {54e6, "13.5e6"}, {100e6, "13.5e6"}};
  for (const auto& c : cases) {
    save(dir / "x.f32", encode("bands", "75", standards::video_625, c.rate, 1U << 18));
    const double db =
        std::stod(testing_support::run_python(spectrum, {dir / "x.f32", std::to_string(c.rate), c.stop}));
    std::printf("  %.4g MS/s: %.1f dB\n", c.rate / 1e6, db);
    EXPECT_LT(db, -130) << c.rate;  // -80 dB of the filter on what lies there, re the carrier of line rate
  }
}

}  // namespace
