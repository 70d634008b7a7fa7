// Finding the signal where the picture itself holds pulses as wide as sync, on every line, of either sign.
#include <gtest/gtest.h>

#include <linebench/measure/video_receiver.hpp>

#include "support/video_synth.hpp"

namespace {

using namespace linebench::measure;
using namespace video_synth;

// Stripes: `low` for `width_us`, then `high`, `count` times from `from_us` on.
Picture stripes(double from_us, int count, double period_us, double width_us, double low, double high) {
  std::vector<Piece> line{{0.0, high}};
  for (int i = 0; i < count; ++i) {
    line.push_back({from_us + i * period_us, low});
    line.push_back({from_us + i * period_us + width_us, high});
  }
  return [line](int) { return line; };
}

struct Case {
  const char* name;
  Picture picture;
};

TEST(VideoFinding, PicturesThatLookLikeSync) {
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    const double white = is_625 ? 700 : 5000.0 / 7;
    const Case cases[] = {
        {"bars 75", bars(w, white, 0.75, 0.75, is_625 ? 0 : 53.6)},
        {"one dark stripe", stripes(30, 1, 0, 4.7, 0, white)},
        {"two dark stripes", stripes(20, 2, 15, 4.7, 0, white)},
        {"three bright stripes", stripes(15, 3, 14, 4.7, white, 0)},
        {"six packets on a pedestal", stripes(18, 6, 7, 4.5, 0.2 * white, white)},
        {"bright for a broad pulse's width", stripes(14, 1, 0, 27, white, 0)},
    };
    for (const Case& c : cases) {
      for (const bool inverted : {false, true}) {
        SCOPED_TRACE(c.name);
        w.picture = c.picture;
        w.inverted = inverted;
        MemoryVideo source(18e6, make(w, 18e6, 0.13));
        VideoReceiver receiver(source, {});
        ASSERT_TRUE(receiver.acquire()) << receiver.reason();
        EXPECT_EQ(receiver.setup().inverted, inverted);
        EXPECT_EQ(receiver.setup().lines, w.lines);
        EXPECT_NEAR(receiver.setup().sync_mv, w.sync_mv, 0.01 * w.sync_mv);
      }
    }
  }
}

}  // namespace
