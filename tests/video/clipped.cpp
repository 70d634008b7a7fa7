// Bright parts cut off flat are told from whole ones, and by their level. A sine cut at the cosine of an
// angle has the mean and fundamental of [Fourier]; here samples are cut, and nothing of the measurement is
// used.
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

Wave bars_of(bool lines_625, double white, double colour) {
  Wave w = lines_625 ? wave_625() : wave_525();
  w.picture = lines_625 ? bars(w, 700, white, colour, 0) : bars(w, 5000.0 / 7, white, colour, 375.0 / 7);
  w.start_line = 57.7;
  return w;
}
// Cut off on the way, then noise.
Readings cut(const Wave& w, double rate, double level_mv, double noise_mv, double gain = 1) {
  std::vector<float> v = clean(w, rate, 0.06);
  for (float& x : v) x = static_cast<float>(gain) * std::min(x, static_cast<float>(level_mv * 1e-3));
  add_noise(v, noise_mv, 5);
  return measured(rate, std::move(v));
}
void expect_whole(const Readings& r, const std::string& what) {
  const Reading& x = get(r, "video.clipped");
  EXPECT_TRUE(!x.measured() || x.number() == 0) << what << ": " << x.reason;
  EXPECT_FALSE(get(r, "video.clipped.level").measured()) << what;
}

TEST(VideoClipped, PeaksOfColourThatEndFlat) {
  for (const bool lines_625 : {true, false}) {
    for (const double rate : {16e6, 17.734475e6, 27e6}) {
      for (const double noise_mv : {0.0, 12.0}) {
        for (const double gain : {0.5, 2.0}) {
          const Readings r = cut(bars_of(lines_625, lines_625 ? 1.0 : 0.75, 0.75), rate, 600, noise_mv, gain);
          SCOPED_TRACE(testing::Message()
                       << lines_625 << " " << rate << " noise " << noise_mv << " gain " << gain);
          const Reading& x = get(r, "video.clipped");
          ASSERT_TRUE(x.measured()) << x.reason;
          EXPECT_GT(x.number(), 10);
          expect_near(r, "video.clipped.level", 600 * gain, 25 * gain);
        }
      }
    }
  }
}

// A recorder's filter rounds off what was cut before it: then it is found, or nothing is said, but never
// whole.
std::vector<float> through_filter(const std::vector<float>& x, int down) {
  constexpr int reach = 24;  // output samples to either side
  std::vector<double> h;
  for (int i = -reach * down; i <= reach * down; ++i) {
    const double t = 0.92 * i / down;
    const double w = 0.5 + 0.5 * std::cos(pi * i / (reach * down + 1.0));
    h.push_back(0.92 / down * w * (i == 0 ? 1.0 : std::sin(pi * t) / (pi * t)));
  }
  std::vector<float> out;
  for (std::size_t at = h.size(); at + h.size() < x.size(); at += static_cast<std::size_t>(down)) {
    double sum = 0;
    for (std::size_t i = 0; i < h.size(); ++i) sum += h[i] * static_cast<double>(x[at + i]);
    out.push_back(static_cast<float>(sum));
  }
  return out;
}
TEST(VideoClipped, CutBeforeTheRecordersFilter) {
  for (const double rate : {16e6, 17e6, 20e6, 27e6}) {
    std::vector<float> v = clean(bars_of(true, 1.0, 0.75), 4 * rate, 0.06);
    for (float& x : v) x = std::min(x, 0.6F);
    v = through_filter(v, 4);
    add_noise(v, 3, 7);
    const Readings r = measured(rate, std::move(v));
    const Reading& x = get(r, "video.clipped");
    SCOPED_TRACE(rate);
    EXPECT_TRUE(!x.measured() || x.number() > 10) << x.reason;
    if (rate > 19e6) expect_near(r, "video.clipped.level", 600, 25);
  }
}

TEST(VideoClipped, AboveWhiteToo) {
  const Readings r = cut(bars_of(true, 1.0, 1.0), 27e6, 800, 4);
  EXPECT_GT(get(r, "video.clipped").number(), 10);
  expect_near(r, "video.clipped.level", 800, 20);
}

TEST(VideoClipped, WholeBarsAreWhole) {
  for (const bool lines_625 : {true, false}) {
    for (const double rate : {10e6, 17.734475e6, 27e6}) {
      for (const double noise_mv : {0.0, 40.0}) {
        for (const double colour : {0.75, 1.0}) {
          Wave w = bars_of(lines_625, 1.0, colour);
          w.noise_mv = noise_mv;
          const Readings r = measured(w, rate, 0.06);
          expect_whole(r, testing::PrintToString(lines_625) + " " + std::to_string(rate) + " " +
                              std::to_string(noise_mv) + " " + std::to_string(colour));
          EXPECT_TRUE(rate < 20e6 || noise_mv > 20 || get(r, "video.clipped").measured());
        }
      }
    }
  }
}

// A recorder or a source whose clock is off by some tenths of a per mille moves the edges between colours
// about the blocks they are looked at in: what is whole stays whole.
TEST(VideoClipped, WholeBarsOfAnotherClockAreWhole) {
  for (const double ppm : {-1500.0, -600.0, 600.0, 1000.0, 1500.0}) {
    Wave w = bars_of(false, 0.75, 0.75);
    w.noise_mv = 2;
    expect_whole(measured(w, 13.5e6 * (1 + ppm * 1e-6), 0.12), std::to_string(ppm));
  }
}

// Differential gain of a tenth bends peaks without ending them.
TEST(VideoClipped, BentPeaksAreNotCut) {
  Wave w = bars_of(true, 1.0, 0.75);
  std::vector<float> v = clean(w, 27e6, 0.06);
  for (float& x : v) {
    if (x > 0) x -= 0.07F * x * x;
  }
  add_noise(v, 2, 3);
  expect_whole(measured(27e6, std::move(v)), "bent");
}

// Brightness along the line, as a lamp lights a wall.
Wave lit(double from_mv, double to_mv) {
  Wave w = wave_625();
  w.start_line = 57.7;
  w.picture = [=](int line) {
    std::vector<Piece> p;
    const double peak = to_mv - 40 * std::cos(0.02 * line);
    for (int i = 0; i < 200; ++i) {
      const double x = (i - 100) / 100.0;
      p.push_back({10.5 + 0.26 * i, from_mv + (peak - from_mv) * (1 - x * x)});
    }
    return p;
  };
  return w;
}
TEST(VideoClipped, BrightnessThatStopsClimbing) {
  for (const double noise_mv : {0.5, 4.0}) {
    const Readings r = cut(lit(50, 900), 13.5e6, 600, noise_mv);
    EXPECT_GT(get(r, "video.clipped").number(), 10);
    expect_near(r, "video.clipped.level", 600, 12);
    // A camera's own white clip.
    expect_whole(cut(lit(50, 1000), 13.5e6, 735, noise_mv), "white clip");
    expect_whole(cut(lit(50, 600), 13.5e6, 2000, noise_mv), "nothing cut");
  }
}

TEST(VideoClipped, FlatWhiteShowsNothing) {
  for (const double mv : {350.0, 600.0, 700.0}) {
    Wave w = wave_625();
    w.picture = flat(mv);
    w.noise_mv = 3;
    expect_none(measured(w, 13.5e6, 0.06), "video.clipped");
  }
}

TEST(VideoClipped, WhereNoiseDoesNotSpreadTheTopItIsSaid) {
  Wave w = bars_of(true, 1.0, 0.75);
  w.noise_mv = 5;
  std::vector<float> v = make(w, 13.5e6, 0.06);
  for (float& x : v) x = std::min(x, 0.6F);
  const Readings r = measured(13.5e6, std::move(v));
  EXPECT_GT(get(r, "video.clipped").number(), 2);
  expect_near(r, "video.clipped.level", 600, 3);
  EXPECT_NE(get(r, "video.clipped").reason.find("range"), std::string::npos);
}

}  // namespace
