// Noise of a grey field that went through RGB of 8 bits, by ffmpeg's own conversion and back.
#include <gtest/gtest.h>

#include <fstream>

#include "support/frame_synth.hpp"
#include "support/python.hpp"

namespace {
using namespace linebench;
using testing_support::TempDir;

Readings through_rgb(double code, double noise) {
  const TempDir dir;
  frame_synth::Scene s;
  s.line = frame_synth::flat((code - 16) / 219);
  s.noise = noise;
  frame_synth::Source source(s, 12, 3);
  {
    std::ofstream out(dir / "a.yuv", std::ios::binary);
    capture::Frame f;
    std::string packed;
    while (source.read(f)) {
      packed.clear();
      for (std::size_t i = 0; i < f.cb.size(); ++i)
        for (const std::uint8_t v : {f.y[2 * i], f.cb[i], f.y[2 * i + 1], f.cr[i]})
          packed += static_cast<char>(v);
      out << packed;
    }
  }
  const auto r = testing_support::run_program(
      {"/usr/bin/ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuyv422", "-s", "720x576", "-r",
       "25", "-i", dir / "a.yuv", "-c:v", "ffv1", "-pix_fmt", "bgr0", dir / "a.mkv"});
  EXPECT_EQ(r.status, 0) << r.err;
  const auto movie = capture::open_frames(dir / "a.mkv");
  EXPECT_TRUE(movie->format().through_rgb);
  return measure::measure_picture(*movie, {});
}

// Codes that the conversion leaves out widen noise by more at some levels than at others.
TEST(PictureThroughRgb, NoiseIsWithinItsClaim) {
  int outside = 0, all = 0;
  for (const double code : {60.0, 90.3, 125.5, 150.3, 180.25, 200.0}) {
    for (const double noise : {0.8, 1.5, 3.0}) {
      const Readings r = through_rgb(code, noise);
      const Reading& x = *find_reading(r, "picture.noise");
      SCOPED_TRACE(testing::Message() << noise << " about " << code);
      ++all;
      if (!x.measured()) {
        EXPECT_GE(x.at_most.value(), noise);
        continue;
      }
      const double off = std::abs(x.number() - noise);
      EXPECT_LE(off, 1.6 * x.uncertainty.value()) << x.number();
      EXPECT_LT(x.uncertainty.value(), 0.5 / x.number() + 0.05);
      outside += off > x.uncertainty.value() ? 1 : 0;
    }
  }
  EXPECT_LE(outside, all / 9);  // k = 2: one in twenty, of few
}

}  // namespace
