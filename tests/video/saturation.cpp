// Colours of bars for their burst: bars of the standard levels (support/video_synth.hpp), a burst that is
// not.
#include <gtest/gtest.h>

#include "video/measuring.hpp"

namespace {

using namespace linebench;

TEST(Saturation, IsWhatTheBurstMakesOfTheBars) {
  for (video_synth::Wave w : {video_synth::wave_625(), video_synth::wave_525()}) {
    w = video_test::with_bars(w);
    const double nominal = w.burst_pp_mv;
    for (const double burst : {0.6, 0.9, 1.0, 1.5}) {
      w.burst_pp_mv = burst * nominal;
      w.noise_mv = 2;
      video_test::expect_near(video_test::measured(w, 17.734475e6, 0.06), "video.saturation", 1 / burst,
                              0.01);
    }
  }
}

// A source's own sync may be low, and all levels seem high by it: which bars they are says white beside
// yellow, and what takes the fewest faults.
TEST(Saturation, OfBarsBesideLowSync) {
  for (video_synth::Wave w : {video_synth::wave_625(), video_synth::wave_525()}) {
    w = video_test::with_bars(w);
    const double nominal = w.sync_mv;
    for (const double share : {0.67, 0.8, 0.9}) {
      w.sync_mv = share * nominal;
      w.noise_mv = 2;
      video_test::expect_near(video_test::measured(w, 17.734475e6, 0.06), "video.saturation", 1, 0.01);
    }
  }
}

TEST(Saturation, NeedsBars) {
  video_test::expect_none(
      video_test::measured(video_test::with_white(video_synth::wave_625()), 17.734475e6, 0.06),
      "video.saturation");
}

}  // namespace
