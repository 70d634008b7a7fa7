// What a picture holds is not taken for sync, burst, setup, front porch or noise. Waveforms in closed form by
// the tables of SMPTE ST 170M and ITU-R BT.470 (support/video_synth.hpp, video_lines.hpp).
#include <linebench/base/error.hpp>

#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

double white_of(const Wave& w) { return w.lines == 525 ? 5000.0 / 7 : 700; }

// A few lines from the midst of a field: no vertical sync tells which way up the signal is, and the white bar
// of colour bars is 6.5 us wide.
TEST(VideoMistaken, BarsOfAFewLinesStandTheRightWayUp) {
  for (const bool is_625 : {true, false}) {
    for (const bool inverted : {false, true}) {
      for (const double start : {60.1, 100.0, 150.7}) {
        Wave w = is_625 ? wave_625() : wave_525();
        w.picture = bars(w, white_of(w), 1.0, 0.75, 0);
        w.noise_mv = 4;
        w.start_line = start;
        w.inverted = inverted;
        std::vector<float> v = make(w, 13.5e6, 60 / w.line_hz, static_cast<unsigned>(start));
        quantise(v, 5);
        const Readings r = measured(13.5e6, std::move(v));
        EXPECT_EQ(get(r, "video.polarity").text(), inverted ? "inverted" : "normal");
        expect_near(r, "video.sync.amplitude", w.sync_mv, 0.01 * w.sync_mv);
        expect_near(r, "video.sync.width", 4.7, 0.05);
        expect_near(r, "video.white", white_of(w), 0.01 * white_of(w));
      }
    }
  }
}

TEST(VideoMistaken, TooFewLinesAreRefused) {
  Wave w = with_white(wave_625());
  EXPECT_THROW((void)measured(w, 27e6, 0.0006), Error);
  EXPECT_THROW((void)measured(27e6, {}), Error);
}

// Red of 75 % begins 9.4 us after 0H in 525 lines, with a subcarrier stronger than the burst's.
TEST(VideoMistaken, ColourAtTheEdgeIsNotBurst) {
  for (const double rate : {13.5e6, 14.3e6, 20e6, 27e6, 40e6}) {
    Wave w = wave_525();
    w.noise_mv = 3;
    w.start_line = 33.2;
    const double y = 0.299 * 0.75 * white_of(w);
    w.picture = [&](int) {
      return std::vector<Piece>{{0, y, -0.492111 * y, 0.877283 * (0.75 * white_of(w) - y)}};
    };
    const Readings r = measured(w, rate, 0.05);
    expect_near(r, "video.burst.amplitude", w.burst_pp_mv, 0.02 * w.burst_pp_mv);
    expect_near(r, "video.burst.start", w.burst_from_us, 0.03);
    expect_near(r, "video.burst.cycles", 9, 0.2);
  }
}

// Staircases, pulses and ramps are defined from blanking and end before the picture does: neither says that
// setup is missing or that the front porch is long.
TEST(VideoMistaken, TestLinesShowNeitherSetupNorFrontPorch) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    w.noise_mv = 2;
    const double end = 1e6 / w.line_hz - 2.0;
    const std::vector<video_lines::Line> lines = {
        video_lines::stairs(10.9, end, 5, white_of(w), 0, 0.25),
        video_lines::stairs(10.9, end, 10, white_of(w), 280, 0.25),
        video_lines::together(
            {video_lines::bar_from(14, 26, 0.25, white_of(w)), video_lines::pulse_at(32, 0.25, white_of(w))}),
    };
    for (const video_lines::Line& line : lines) {
      std::vector<float> x = make(w, 20e6, 0.07);
      video_lines::add(x, w, 20e6, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      const Readings r = measured(20e6, std::move(x));
      expect_none(r, "video.front_porch");
      if (is_525) {
        expect_none(r, "video.setup");
        EXPECT_EQ(get(r, "video.system").text(), "525");
        EXPECT_NE(get(r, "video.system").reason.find("not known"), std::string::npos);
      }
    }
  }
}

TEST(VideoMistaken, BarsBesideTestLinesShowSetup) {
  Wave w = wave_525();
  w.noise_mv = 2;
  const Picture with_setup = bars(w, white_of(w), 0.75, 0.75, 375.0 / 7);
  w.picture = [&](int line) { return line % 263 < 100 ? with_setup(line) : std::vector<Piece>{{0.0, 0.0}}; };
  const video_lines::Line line = video_lines::stairs(10.9, 61.0, 5, white_of(w), 0, 0.25);
  std::vector<float> x = make(w, 20e6, 0.07);
  video_lines::add(x, w, 20e6, [&](int n) { return has_picture(w, n) && n % 263 >= 100 ? &line : nullptr; });
  const Readings r = measured(20e6, std::move(x));
  expect_near(r, "video.setup", 375.0 / 7, 1);
  EXPECT_EQ(get(r, "video.system").text(), "525");
}

// A source that sends no vertical sync still has lines without picture; they are not its black.
TEST(VideoMistaken, BlankLinesWithoutNumbersAreNotBlack) {
  Wave w = with_bars(wave_525());
  w.noise_mv = 2;
  w.equalising_us = 4.7;  // as line sync, twice a line for 3 H; broad pulses alike
  w.broad_us = 4.7;
  const Readings r = measured(w, 20e6, 0.05);
  EXPECT_FALSE(get(r, "video.lines_per_frame").measured());
  expect_near(r, "video.setup", 375.0 / 7, 2);
  EXPECT_EQ(get(r, "video.system").text(), "525");
}

// A live picture, as luminance that wanders: every line another, hard edges and still parts among it.
std::vector<Piece> live_line(const Wave& w, int line, double darkest, bool clipped) {
  const double y = line % 263;
  std::vector<Piece> out;
  for (int k = 0; k < 40; ++k) {
    const double t = 9.6 + 1.3 * k;
    const double a = 0.5 + 0.3 * std::sin(0.11 * t + 0.021 * y) + 0.2 * std::sin(0.37 * t - 0.043 * y + 1);
    const double level = clipped ? std::max(0.0, (a - 0.25) / 0.75) : a;
    out.push_back({k == 0 ? 0.0 : t, darkest + level * (white_of(w) - darkest)});
  }
  return out;
}

// Lines and edges without picture stand on blanking, whatever the setup.
TEST(VideoMistaken, BlankedRowsAndEdgesAreNotBlack) {
  Wave w = wave_525();
  w.noise_mv = 1;
  const double setup = 375.0 / 7;
  w.picture = [&](int line) {
    const int row = line % 263;
    if (row < 25 || row > 259) return std::vector<Piece>{{0.0, 0.0}};
    std::vector<Piece> p = live_line(w, line, setup + 60, false);
    p.insert(p.begin(), {0.0, 0.0});
    p[1].from_us = 11.4;
    p.erase(p.begin() + 2);
    p.push_back({60.3, 0.0});
    return p;
  };
  const Readings r = measured(w, 18e6, 0.1);
  expect_none(r, "video.setup");
  EXPECT_EQ(get(r, "video.system").text(), "525");
  EXPECT_NE(get(r, "video.system").reason.find("not known"), std::string::npos);
}

TEST(VideoMistaken, BlackOfLivePicturesShowsSetup) {
  for (const double setup : {0.0, 375.0 / 7}) {
    Wave w = wave_525();
    w.noise_mv = 1;
    w.picture = [&](int line) { return live_line(w, line, setup, true); };
    const Readings r = measured(w, 18e6, 0.1);
    expect_near(r, "video.setup", setup, 2);
    EXPECT_EQ(get(r, "video.system").text(), setup > 0 ? "525" : "525-no-setup");
  }
}

// Blue of 75 % stands at 60 mV in 625 lines, dark grey anywhere.
TEST(VideoMistaken, DarkFieldsAreNotBlack) {
  Wave w = wave_625();
  w.noise_mv = 1;
  const double blue = 0.75 * 700;
  const double y = 0.114 * blue;
  w.picture = [&](int) { return std::vector<Piece>{{0, y, 0.492111 * (blue - y), -0.877283 * y}}; };
  expect_none(measured(w, 18e6, 0.1), "video.setup");
  w.picture = flat(375.0 / 7);
  expect_none(measured(w, 18e6, 0.1), "video.setup");
  Wave dark = wave_525();
  dark.noise_mv = 1;
  dark.picture = [&](int line) {
    return line % 263 < 150 ? std::vector<Piece>{{0, 30.0}, {35.0, 400.0}} : std::vector<Piece>{{0, 300.0}};
  };
  expect_none(measured(dark, 18e6, 0.1), "video.setup");
}

// A signal of syncs alone says nothing of setup.
TEST(VideoMistaken, NoPictureIsNotBlackWithoutSetup) {
  Wave w = wave_525();
  w.noise_mv = 1;
  w.picture = flat(0);
  const Readings r = measured(w, 18e6, 0.1);
  expect_none(r, "video.setup");
  EXPECT_EQ(get(r, "video.system").text(), "525");
}

// Subcarrier that comes on at black's level moves no mean; the packets of a multiburst stand still.
TEST(VideoMistaken, SubcarrierAndPacketsAreNotNoise) {
  for (const double rate : {13.5e6, 20.1e6, 40e6}) {
    for (const bool is_525 : {true, false}) {
      Wave w = is_525 ? wave_525() : wave_625();
      w.start_line = 77.3;
      const double half = white_of(w) / 2;
      std::vector<video_lines::Burst> list;
      for (const double mhz : is_525 ? std::vector<double>{0.5, 1, 2, 3, 3.58, 4.2}
                                     : std::vector<double>{0.5, 1, 2, 4, 4.8, 5.8}) {
        if (mhz < 0.4e-6 * rate) list.push_back({mhz, std::floor(5.4 * mhz), half});
      }
      const std::vector<video_lines::Line> lines = {
          video_lines::stairs(11.4, 60.5, 10, white_of(w), 280, 0.25),
          video_lines::together({video_lines::bar_from(10.2, 14.6, 0.25, white_of(w)),
                                 video_lines::packets(17.5, 1.2, 15.6, 61.5, half, list)}),
      };
      const double band = is_525 ? 4.2e6 : 5e6;
      const double truth = 5 * std::sqrt(band / (rate / 2));
      for (const video_lines::Line& line : lines) {
        std::vector<float> x = make(w, rate, 0.08);
        video_lines::add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
        add_noise(x, 5, 9);
        expect_near(measured(rate, std::move(x)), "video.noise", truth, 0.07 * truth);
      }
    }
  }
}

}  // namespace
