// Colour bars that come in without a burst, and staircases that look nearly like them.
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

// Luminances by [BT.601]'s matrix. Without burst their colours cannot be told; they are no staircase.
TEST(VideoBars, WithoutBurstTheyAreStillBars) {
  for (const bool lines_625 : {true, false}) {
    for (const bool colour : {true, false}) {
      Wave w = with_bars(lines_625 ? wave_625() : wave_525());
      w.burst_pp_mv = 0;
      if (!colour) w.subcarrier_hz = 0;
      w.noise_mv = 4;
      const Readings r = measured(w, 14e6, 0.08);
      SCOPED_TRACE(testing::Message() << (lines_625 ? 625 : 525) << (colour ? " in colour " : " grey ")
                                      << get(r, "video.pattern").text());
      EXPECT_TRUE(get(r, "video.pattern").text().ends_with("without burst"));
      expect_none(r, "video.nonlinearity");
      for (const char* id : {"video.bars.green.chroma", "video.bars.green.phase"}) {
        expect_none(r, id);
        EXPECT_NE(get(r, id).reason.find("burst"), std::string::npos);
      }
      const double black = lines_625 ? 0 : 375.0 / 7, range = lines_625 ? 700 : 4625.0 / 7;
      expect_near(r, "video.bars.yellow.luma", black + 0.75 * 0.886 * range, 4);
      expect_near(r, "video.bars.green.luma", black + 0.75 * 0.587 * range, 4);
      expect_near(r, "video.bars.blue.luma", black + 0.75 * 0.114 * range, 4);
    }
  }
}

TEST(VideoBars, EvenRisersWithoutBurstAreAStaircase) {
  for (const int risers : {6, 7}) {
    for (const double bend : {0.0, 0.15}) {
      Wave w = wave_625();
      w.subcarrier_hz = 0;
      w.noise_mv = 4;
      w.picture = [=](int) {
        std::vector<Piece> p;
        for (int i = 0; i <= risers; ++i) {
          const double x = static_cast<double>(i) / risers;
          p.push_back({10.5 + 52.0 / (risers + 1) * i, 700 * (x - bend * x * x)});
        }
        return p;
      };
      const Readings r = measured(w, 14e6, 0.08);
      EXPECT_TRUE(get(r, "video.pattern").text().starts_with("staircase")) << get(r, "video.pattern").text();
      EXPECT_TRUE(get(r, "video.nonlinearity").measured());
    }
  }
}

}  // namespace
