// The picture meter on frames from closed forms.
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <linebench/base/error.hpp>
#include <linebench/live/picture_meter.hpp>

#include "support/frame_synth.hpp"

namespace {

using namespace linebench;

frame_synth::Scene hummed(double percent) {
  frame_synth::Scene s;
  s.line = frame_synth::flat(0.5);
  s.hum_percent = percent;
  s.noise = 2;
  return s;
}

void feed(live::PictureMeter& meter, const frame_synth::Scene& scene, int frames, std::uint64_t& number,
          const std::function<void()>& each = {}) {
  frame_synth::Source source(scene, frames, 1);
  capture::Frame f;
  while (source.read(f)) {
    f.number = number++;
    if (meter.push(f) && each) each();
  }
}

TEST(LivePicture, ReadsHumNoiseAndSignal) {
  live::PictureMeter meter(hummed(3).format(), {});
  EXPECT_FALSE(find_reading(meter.view().readings, "picture.signal")->measured());
  std::uint64_t number = 0;
  feed(meter, hummed(3), 24, number);
  const Readings& r = meter.view().readings;
  EXPECT_EQ(find_reading(r, "picture.signal")->text(), "present");
  const Reading* hum = find_reading(r, "picture.hum.level");
  ASSERT_TRUE(hum->measured());
  EXPECT_NEAR(hum->number(), 3, std::max(0.05, *hum->uncertainty));
  EXPECT_NEAR(find_reading(r, "picture.noise")->number(), 2, 0.05);
  EXPECT_NEAR(meter.view().time_s, 24 / 25.0, 1e-9);
}

TEST(LivePicture, AChangeOfHumIsReadWithinASecond) {
  for (int phase = 0; phase < 12; phase += 3) {
    live::PictureMeter meter(hummed(1).format(), {});
    std::uint64_t number = 0;
    feed(meter, hummed(1), 24 + phase, number);
    const double at = static_cast<double>(number) / 25;
    double seen = 0;
    feed(meter, hummed(6), 36, number, [&] {
      const Reading* r = find_reading(meter.view().readings, "picture.hum.level");
      const bool right = r->measured() && std::abs(r->number() - 6) < 0.1;
      if (right && seen == 0) seen = meter.view().time_s;
    });
    ASSERT_GT(seen, 0.0);
    std::printf("  phase %d: read after %.2f s\n", phase, seen - at);
    EXPECT_LT(seen - at, 1.0);
  }
}

TEST(LivePicture, TheThumbnailShowsColoursAndRowMeans) {
  frame_synth::Scene s;
  s.coloured_bars = true;
  std::uint64_t number = 0;
  live::PictureMeter meter(s.format(), {});
  feed(meter, s, 1, number);
  const live::Thumbnail& t = meter.view().thumbnail;
  EXPECT_LE(t.width, 120);
  EXPECT_LE(t.height, 120);
  ASSERT_EQ(t.rgb.size(), static_cast<std::size_t>(3 * t.width * t.height));
  ASSERT_EQ(t.row_mean.size(), static_cast<std::size_t>(t.height));
  // 75 % bars, the second is yellow: R = G = 75 % of 255, B = 0 [BT.601].
  const auto at = static_cast<std::size_t>(3 * (t.width * (t.height / 2) + t.width * 3 / 16));
  EXPECT_NEAR(t.rgb[at], 191, 4);
  EXPECT_NEAR(t.rgb[at + 1], 191, 4);
  EXPECT_NEAR(t.rgb[at + 2], 0, 4);
  // Mean of the bars' luma shares, 75 % of it, in codes.
  const double mean = 16 + 219 * 0.75 * (1 + 0.886 + 0.701 + 0.587 + 0.413 + 0.299 + 0.114) / 8;
  EXPECT_NEAR(t.row_mean[static_cast<std::size_t>(t.height / 2)], mean, 1);
}

TEST(LivePicture, WhatTheDriverSaysOfTheWireCounts) {
  live::PictureMeter meter(hummed(3).format(), {});
  std::uint64_t number = 0;
  feed(meter, hummed(3), 12, number);
  meter.wire("none");
  EXPECT_EQ(find_reading(meter.view().readings, "picture.signal")->text(), "none");
  EXPECT_FALSE(find_reading(meter.view().readings, "picture.hum.level")->measured());
  feed(meter, hummed(3), 12, number);
  EXPECT_EQ(find_reading(meter.view().readings, "picture.signal")->text(), "none") << "still";
  meter.wire("present");
  feed(meter, hummed(3), 12, number);
  EXPECT_EQ(find_reading(meter.view().readings, "picture.signal")->text(), "present");
}

// A driver's count may begin anew, or leave out an hour: runs never reach over that, and nothing takes long.
TEST(LivePicture, CountsThatJumpStartTheRunAnew) {
  live::PictureMeter meter(hummed(3).format(), {});
  std::uint64_t number = 1000000;
  feed(meter, hummed(3), 18, number);
  number = 3;
  feed(meter, hummed(3), 6, number);
  number = 400000000000;
  feed(meter, hummed(3), 12, number);
  const Reading* hum = find_reading(meter.view().readings, "picture.hum.level");
  ASSERT_TRUE(hum->measured());
  EXPECT_NEAR(hum->number(), 3, 0.1);
}

TEST(LivePicture, AFrameOfAnotherSizeIsRefused) {
  live::PictureMeter meter(hummed(3).format(), {});
  capture::Frame f;
  f.y.resize(100);
  f.cb.resize(50);
  f.cr.resize(50);
  EXPECT_THROW((void)meter.push(f), Error);
}

}  // namespace
