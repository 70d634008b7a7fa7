// Bars of 75 % by their code values [BT.601] whose ends run into limits, and whose colours are mixed up.
#include <gtest/gtest.h>

#include <array>
#include <random>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;

// Y, Cb, Cr of white 100 and 75 % and of the colours, as BT.601 bars are printed in tables (rounded).
using Bars = std::array<std::array<int, 3>, 8>;
constexpr Bars bars_100_75 = {{{235, 128, 128},
                               {162, 44, 142},
                               {131, 156, 44},
                               {112, 72, 58},
                               {84, 184, 198},
                               {65, 100, 212},
                               {35, 212, 114},
                               {16, 128, 128}}};
constexpr Bars bars_75 = [] {
  Bars b = bars_100_75;
  b[0][0] = 180;
  return b;
}();

class Codes final : public capture::FrameSource {
 public:
  explicit Codes(const Bars& bars) : bars_(bars) { format_ = frame_synth::Scene{}.format(); }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& f) override {
    if (at_ >= 6) return false;
    f = {};
    f.number = at_++;
    std::normal_distribution<double> noise(0, 0.8);
    for (int r = 0; r < 576; ++r) {
      for (int x = 0; x < 720; ++x) {
        const double v = bars_[static_cast<std::size_t>(x / 90)][0] + noise(random_);
        f.y.push_back(static_cast<std::uint8_t>(std::clamp(std::lround(v), 1L, 254L)));
        if (x % 2 != 0) continue;
        f.cb.push_back(static_cast<std::uint8_t>(bars_[static_cast<std::size_t>(x / 90)][1]));
        f.cr.push_back(static_cast<std::uint8_t>(bars_[static_cast<std::size_t>(x / 90)][2]));
      }
    }
    return true;
  }

 private:
  Bars bars_;
  capture::FrameFormat format_;
  CaptureFacts facts_;
  std::uint64_t at_ = 0;
  std::mt19937 random_{5};
};
Readings measured(const Bars& bars, const std::string& sent = "") {
  Codes source(bars);
  return measure::measure_picture(source, {.lines = {}, .mains_hz = {}, .signal = sent});
}
Bars luma(Bars bars, auto&& change) {
  for (auto& b : bars) b[0] = change(b[0]);
  return bars;
}
Bars colour(Bars bars, auto&& change) {
  for (auto& b : bars) change(b[1], b[2]);
  return bars;
}
const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

TEST(PictureLimited, AsTheyShouldBe) {
  for (const Bars& b : {bars_100_75, bars_75}) {
    const Readings r = measured(b);
    EXPECT_NEAR(get(r, "picture.luma.gain").number(), 100, 0.3);
    EXPECT_NEAR(get(r, "picture.hue").number(), 0, get(r, "picture.hue").uncertainty.value());
    EXPECT_NEAR(get(r, "picture.saturation").number(), 1, get(r, "picture.saturation").uncertainty.value());
  }
}

// The bars that run into a limit are left out; the others tell the gain.
TEST(PictureLimited, ClippedAndCrushedBarsAreSaidToBe) {
  const auto check = [](const Bars& b, const char* said, double gain, const char* name) {
    const Readings r = measured(b);
    EXPECT_EQ(get(r, "picture.pattern").text(), name);
    EXPECT_NE(get(r, "picture.pattern").reason.find(said), std::string::npos)
        << get(r, "picture.pattern").reason;
    EXPECT_NEAR(get(r, "picture.luma.gain").number(), gain, 0.7) << said;
    const char* end = std::string(said).find("white") == 0 ? "picture.luma.white" : "picture.luma.black";
    EXPECT_FALSE(get(r, end).measured());
    EXPECT_NEAR(get(r, "picture.saturation").number(), 1, 0.01);
  };
  check(luma(bars_75, [](int y) { return std::min(y, 150); }), "white is clipped at code 150", 100,
        "bars-75");
  check(luma(bars_75, [](int y) { return std::max(y, 45); }), "black is crushed at code 45", 100, "bars-75");
  check(luma(bars_100_75, [](int y) { return std::min(254, y * 6 / 5); }), "white is clipped at code 254",
        120, "bars-100-0-75-0");
  check(luma(bars_75, [](int y) { return std::max(1, y - 30); }), "black is crushed at code 1", 100,
        "bars-75");
  // Too few left.
  const Readings r = measured(luma(bars_75, [](int y) { return std::clamp(y, 45, 150); }));
  EXPECT_EQ(get(r, "picture.pattern").text(), "bars");
  EXPECT_NE(get(r, "picture.pattern").reason.find("and black is crushed at code 45"), std::string::npos);
  EXPECT_FALSE(get(r, "picture.luma.gain").measured());
}

TEST(PictureLimited, ColoursThatNoTurnBringsBack) {
  const auto check = [](const Bars& b, const char* said) {
    const Readings r = measured(b);
    for (const char* id : {"picture.hue", "picture.saturation"}) {
      EXPECT_FALSE(get(r, id).measured()) << said;
      EXPECT_NE(get(r, id).reason.find(said), std::string::npos) << get(r, id).reason;
    }
    EXPECT_NEAR(get(r, "picture.luma.gain").number(), 100, 0.3);
  };
  check(colour(bars_75, [](int& cb, int& cr) { std::swap(cb, cr); }), "each other's place");
  check(colour(bars_75, [](int&, int& cr) { cr = 256 - cr; }), "V axis) is upside down");
  check(colour(bars_75, [](int& cb, int&) { cb = 256 - cb; }), "U axis) is upside down");
  check(colour(bars_75, [](int& cb, int&) { cb = 128; }), "Cb is lost");
  check(colour(bars_75, [](int&, int& cr) { cr = 128; }), "Cr is lost");
}

// A source whose sync is low: the grabber's gain follows sync, its colour the burst.
TEST(PictureLimited, LevelsRaisedByLowSyncAreNoOtherBars) {
  for (const double sync_mv : {200.0, 240.0, 270.0})
    for (const bool three_quarters_white : {true, false}) {
      const auto raised = luma(three_quarters_white ? bars_75 : bars_100_75, [&](int y) {
        return std::min(254, static_cast<int>(std::lround(16 + (y - 16) * 300 / sync_mv)));
      });
      const Readings r = measured(raised);
      // White of either is cut off at code 254 where they are raised by half.
      if (sync_mv > 200 || three_quarters_white) {
        EXPECT_EQ(get(r, "picture.pattern").text(), three_quarters_white ? "bars-75" : "bars-100-0-75-0")
            << sync_mv;
      }
      EXPECT_NEAR(get(r, "picture.saturation").number(), 1, 0.01) << sync_mv;
      EXPECT_NEAR(get(r, "picture.luma.gain").number(), 100 * 300 / sync_mv, 1) << sync_mv;
    }
}

// Eight bars through a low gain and a lifted black, by BT.601's codes and a straight line through them, are
// not seven; what each claims holds the truth. Bars of 75 % are those of 100 % through three quarters of the
// gain [BT.601: codes are linear in the signals], so that is claimed too where neither is right.
TEST(PictureLimited, DimBarsAreReadAsWhatTheyAre) {
  const auto dim = [](const Bars& b, double gain, double black) {
    const auto scaled = [](double zero, double by, int code) {
      return static_cast<int>(std::lround(zero + by * code));
    };
    return colour(luma(b, [&](int y) { return scaled(black, gain, y - 16); }), [&](int& cb, int& cr) {
      cb = scaled(128, gain, cb - 128);
      cr = scaled(128, gain, cr - 128);
    });
  };
  // What the tables' colours are turned by where they are rounded.
  const double own_hue = get(measured(bars_75), "picture.hue").number();
  for (const bool three_quarters_white : {true, false})
    for (const double gain : {0.36, 0.5, 0.56, 0.6, 0.62, 0.8})
      for (const double black : {gain < 0.6 ? 30.0 : 16.0}) {
        const Bars bars = dim(three_quarters_white ? bars_75 : bars_100_75, gain, black);
        const std::string name = three_quarters_white ? "bars-75" : "bars-100-0-75-0";
        const auto holds = [&](const Readings& r, const char* id, double truth, double most) {
          const Reading& x = get(r, id);
          ASSERT_TRUE(x.measured()) << id << ' ' << name << ' ' << gain;
          EXPECT_NEAR(x.number(), truth, *x.uncertainty) << id << ' ' << name << ' ' << gain;
          EXPECT_LT(*x.uncertainty, most) << id << ' ' << name << ' ' << gain;
        };
        const auto all_hold = [&](const Readings& r) {
          EXPECT_EQ(get(r, "picture.pattern").text(), name) << gain;
          holds(r, "picture.luma.gain", 100 * gain, 1);
          holds(r, "picture.luma.white", black + 219 * gain, 2);
          holds(r, "picture.saturation", gain, 0.02);
        };
        const Readings r = measured(bars);
        holds(r, "picture.luma.black", black, 1);
        holds(r, "picture.hue", own_hue, 1);
        if (!three_quarters_white) {
          all_hold(r);
          continue;
        }
        all_hold(measured(bars, name));
        for (const double sent : {1.0, 0.75}) {
          holds(r, "picture.luma.gain", 100 * gain * sent, 40);
          holds(r, "picture.luma.white", black + 219 * gain * sent, 90);
          holds(r, "picture.saturation", gain * sent, 0.4);
        }
      }
}

// Grey bars that are clipped have steps much like a staircase's, but are none.
TEST(PictureLimited, GreyClippedBarsAreNoStaircase) {
  for (const int top : {150, 125, 105}) {
    const Readings r = measured(colour(luma(bars_75, [top](int y) { return std::min(y, top); }),
                                       [](int& cb, int& cr) { cb = cr = 128; }));
    EXPECT_NE(get(r, "picture.pattern").text(), "staircase") << top;
    if (get(r, "picture.luma.gain").measured()) {
      EXPECT_NEAR(get(r, "picture.luma.gain").number(), 100, 2) << top;
    }
  }
}

}  // namespace
