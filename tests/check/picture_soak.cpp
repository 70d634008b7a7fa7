// A long run of a camera's picture: losses of known times in frames made here; memory that does not grow.
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <linebench/base/error.hpp>
#include <linebench/check/picture_soak.hpp>
#include <vector>

#include "support/frame_synth.hpp"

namespace {

using namespace linebench;
using check::PictureEvent;
using Kind = PictureEvent::Kind;

constexpr int rate = 25;

// A card that fills the lower half of the picture and leans a little, on a grey wall, as a camera sees it.
frame_synth::Scene card() {
  frame_synth::Scene s;
  s.noise = 1.5;
  s.coloured_bars = true;
  s.colour = 0.3;
  s.picture = [](double x, double row) {
    const double edge = 290 + 20 * std::sin(x / 90);
    const double stripes = 0.06 * std::sin(row / 11 + x / 60);
    return 0.35 + stripes + 0.4 / (1 + std::exp(-(row - edge) / 2));
  };
  return s;
}

struct Seen {
  Readings readings;
  std::vector<PictureEvent> events;
  [[nodiscard]] int count(Kind kind) const {
    int n = 0;
    for (const PictureEvent& e : events) n += e.kind == kind ? 1 : 0;
    return n;
  }
  [[nodiscard]] double losses() const {
    const Reading* r = find_reading(readings, "picture.sync.loss.count");
    return r != nullptr && r->measured() ? r->number() : std::nan("");
  }
};

// The scene's frames, ten of them over and over: its noise is new in each of them.
class Frames {
 public:
  explicit Frames(const frame_synth::Scene& scene) : some_(10) {
    frame_synth::Source source(scene, 10, 5);
    for (capture::Frame& f : some_) (void)source.read(f);
  }
  [[nodiscard]] const capture::Frame& at(int i) const { return some_[static_cast<std::size_t>(i % 10)]; }

 private:
  std::vector<capture::Frame> some_;
};

// @param change what becomes of a frame, by its number.
template <typename Change>
Seen soak(const frame_synth::Scene& scene, int n, Change change, std::vector<double> stall_s = {}) {
  Seen out;
  const Frames source(scene);
  check::PictureSoak s(scene.format(), [&](const PictureEvent& e) { out.events.push_back(e); });
  capture::Frame f;
  double late = 0;
  for (int i = 0; i < n; ++i) {
    f = source.at(i);
    change(i, f);
    if (static_cast<std::size_t>(i) < stall_s.size()) late += stall_s[static_cast<std::size_t>(i)];
    s.push(f, late + static_cast<double>(i) / rate);
  }
  out.readings = s.finish();
  return out;
}
Seen soak(const frame_synth::Scene& scene, int n) {
  return soak(scene, n, [](int, capture::Frame&) {});
}

// Rows moved down, those that fall out coming in at the top: a picture whose field sync came at another line.
void move_down(capture::Frame& f, int rows, std::size_t w = 720) {
  const auto turn = [&](std::vector<std::uint8_t>& plane, std::size_t width) {
    std::rotate(plane.begin(),
                plane.end() - static_cast<std::ptrdiff_t>(width * static_cast<std::size_t>(rows)),
                plane.end());
  };
  turn(f.y, w);
  turn(f.cb, w / 2);
  turn(f.cr, w / 2);
}

void blue(capture::Frame& f) {
  std::fill(f.y.begin(), f.y.end(), std::uint8_t{41});
  std::fill(f.cb.begin(), f.cb.end(), std::uint8_t{240});
  std::fill(f.cr.begin(), f.cr.end(), std::uint8_t{110});
}

TEST(PictureSoak, QuietRunHasNoEvents) {
  const Seen r = soak(card(), 8 * rate);
  EXPECT_TRUE(r.events.empty());
  EXPECT_EQ(r.losses(), 0);
  EXPECT_EQ(find_reading(r.readings, "picture.signal")->text(), "present");
  EXPECT_EQ(find_reading(r.readings, "picture.colour")->text(), "present");
  EXPECT_EQ(find_reading(r.readings, "picture.sync.loss.times"), nullptr);
}

TEST(PictureSoak, JumpsAreTimedToTheFrame) {
  // In the middle of a second, across the seam of two, in the very first second.
  const std::vector<int> jumps = {9, 80, 125, 174};
  const Seen r = soak(card(), 8 * rate, [&](int i, capture::Frame& f) {
    for (const int at : jumps) {
      if (i >= at && i < at + 2) move_down(f, 62);
    }
  });
  EXPECT_EQ(r.losses(), 4);
  const Reading* times = find_reading(r.readings, "picture.sync.loss.times");
  ASSERT_NE(times, nullptr);
  ASSERT_EQ(times->curve().x.size(), jumps.size());
  for (std::size_t i = 0; i < jumps.size(); ++i) {
    EXPECT_NEAR(times->curve().x[i], jumps[i] / 25.0, 0.045);
    EXPECT_NEAR(times->curve().y[i], 0.08, 0.045);
  }
  EXPECT_EQ(r.count(Kind::Jump), 4);
  EXPECT_NEAR(r.events.front().amount, 0.04, 0.045);
}

TEST(PictureSoak, TapsAndNoiseAreNoLoss) {
  frame_synth::Scene s = card();
  s.noise = 6;
  const Seen r = soak(s, 6 * rate, [](int i, capture::Frame& f) {
    if (i % 40 == 20) move_down(f, 6);
  });
  EXPECT_EQ(r.losses(), 0);
}

TEST(PictureSoak, SignalGoneAndBack) {
  const Seen r = soak(card(), 10 * rate, [](int i, capture::Frame& f) {
    if (i >= 90 && i < 160) blue(f);
  });
  EXPECT_EQ(r.losses(), 1);
  EXPECT_EQ(r.count(Kind::Gone), 1);
  EXPECT_EQ(r.count(Kind::Back), 1);
  EXPECT_EQ(find_reading(r.readings, "picture.signal.lost")->number(), 70);
  const Reading* times = find_reading(r.readings, "picture.sync.loss.times");
  ASSERT_NE(times, nullptr);
  EXPECT_NEAR(times->curve().x.front(), 3.6, 0.001);
  EXPECT_NEAR(times->curve().y.front(), 2.8, 0.001);
  for (const PictureEvent& e : r.events) {
    if (e.kind != Kind::Back) continue;
    EXPECT_NEAR(e.at_s, 6.4, 0.001);
  }
}

// Many grabbers show a lost signal as black with their own noise on it; a scene that grows dark is no loss.
TEST(PictureSoak, BlackFromOneFrameToTheNextIsALoss) {
  const auto dim = [](int i, capture::Frame& f, double share) {
    std::uint32_t n = static_cast<std::uint32_t>(i) * 2654435761U + 1;
    const auto code = [&](std::uint8_t was, double rest) {
      n = n * 1664525U + 1013904223U;
      return static_cast<std::uint8_t>(std::lround(rest + share * (was - rest)) + (n >> 24) % 3 - 1);
    };
    for (std::uint8_t& v : f.y) v = code(v, 17);
    for (std::vector<std::uint8_t>* p : {&f.cb, &f.cr})
      for (std::uint8_t& v : *p) v = code(v, 128);
  };
  for (const bool cut : {false, true}) {
    const Seen r = soak(card(), 10 * rate, [&](int i, capture::Frame& f) {
      if (cut && i == 100)
        std::fill(f.y.begin() + 720 * 50, f.y.end(), std::uint8_t{17});  // in the midst of it
      if (i >= (cut ? 101 : 100) && i < 130) dim(i, f, 0);
    });
    EXPECT_EQ(r.losses(), 1) << cut;
    EXPECT_EQ(r.count(Kind::Gone), 1) << cut;
    EXPECT_EQ(r.count(Kind::Back), 1) << cut;
    EXPECT_EQ(r.count(Kind::ColourGone), 0) << cut;
    const Reading* lost = find_reading(r.readings, "picture.signal.lost");
    EXPECT_EQ(lost->number(), cut ? 29 : 30);
    EXPECT_NE(lost->reason.find("light"), std::string::npos) << lost->reason;
  }
  const Seen dusk = soak(card(), 10 * rate, [&](int i, capture::Frame& f) {
    if (i >= 100) dim(i, f, std::max(0.0, (150 - i) / 50.0));
  });
  EXPECT_EQ(dusk.count(Kind::Gone), 0);
  EXPECT_EQ(find_reading(dusk.readings, "picture.signal.lost")->number(), 0);
}

TEST(PictureSoak, NeverAPicture) {
  const Seen r = soak(card(), 3 * rate, [](int, capture::Frame& f) { blue(f); });
  EXPECT_EQ(find_reading(r.readings, "picture.signal")->text(), "none");
  EXPECT_FALSE(find_reading(r.readings, "picture.sync.loss.count")->measured());
}

TEST(PictureSoak, RollAndTear) {
  int place = 0;
  const Seen rolls = soak(card(), 8 * rate, [&](int i, capture::Frame& f) {
    if (i >= 100 && i < 150) place += 4;
    move_down(f, place % 576);
  });
  EXPECT_EQ(rolls.losses(), 1);
  EXPECT_EQ(rolls.count(Kind::Roll), 1);
  EXPECT_NEAR(find_reading(rolls.readings, "picture.roll")->number(), 4, 0.5);
  // Below a row all of the picture stands to the right.
  frame_synth::Scene bars;
  bars.noise = 1;
  const Seen tears = soak(bars, 6 * rate, [](int i, capture::Frame& f) {
    if (i < 75 || i >= 100) return;
    for (std::size_t row = 300; row < 576; ++row) {
      const auto at = f.y.begin() + static_cast<std::ptrdiff_t>(720 * row);
      std::rotate(at, at + 706, at + 720);
    }
  });
  EXPECT_EQ(tears.losses(), 1);
  EXPECT_EQ(tears.count(Kind::Tear), 1);
}

TEST(PictureSoak, StallIsALossOfItsLength) {
  std::vector<double> stall(101);
  stall[100] = 12;
  const Seen r = soak(
      card(), 8 * rate, [](int, capture::Frame&) {}, stall);
  EXPECT_EQ(r.losses(), 1);
  ASSERT_EQ(r.count(Kind::Stall), 1);
  EXPECT_NEAR(r.events.front().amount, 12.04, 0.01);
}

TEST(PictureSoak, ColourThatGoesAway) {
  const Seen r = soak(card(), 6 * rate, [](int i, capture::Frame& f) {
    if (i < 75 || i >= 101) return;
    std::fill(f.cb.begin(), f.cb.end(), std::uint8_t{128});
    std::fill(f.cr.begin(), f.cr.end(), std::uint8_t{128});
  });
  EXPECT_EQ(find_reading(r.readings, "picture.colour")->text(), "none");
  EXPECT_EQ(r.count(Kind::ColourGone), 1);
  EXPECT_EQ(r.losses(), 0);
}

TEST(PictureSoak, APlainPictureShowsNoJump) {
  frame_synth::Scene plain;
  plain.noise = 1;
  plain.picture = [](double, double) { return 0.5; };
  const Seen r = soak(plain, 4 * rate);
  EXPECT_FALSE(find_reading(r.readings, "picture.sync.loss.count")->measured());
  capture::Frame none;
  check::PictureSoak s(plain.format());
  EXPECT_THROW((void)s.finish(), Error);
}

// Narrow pictures, for a minute; LINEBENCH_TEST_LONG: for a day.
TEST(PictureSoak, MemoryDoesNotGrow) {
  const auto peak_kb = [] {
    rusage use{};
    getrusage(RUSAGE_SELF, &use);
    return use.ru_maxrss;
  };
  const bool whole_day = std::getenv("LINEBENCH_TEST_LONG") != nullptr;
  auto scene = card();
  scene.width = 96;
  const int per_second = whole_day ? 5 : rate;
  const Frames source(scene);
  capture::FrameFormat format = scene.format();
  format.frame_rate_hz = per_second;
  check::PictureSoak s(format);
  capture::Frame f;
  const auto feed = [&](int from, int to) {
    for (int i = from; i < to; ++i) {
      f = source.at(i);
      if (i % 50 == 20) move_down(f, 70, static_cast<std::size_t>(scene.width));
      s.push(f, static_cast<double>(i) / per_second);
    }
  };
  const int settled = whole_day ? 3600 : 4;
  feed(0, settled * per_second);
  const long before = peak_kb();
  feed(settled * per_second, (whole_day ? 24 * 3600 : 40) * per_second);
  EXPECT_EQ(s.finish().size() > 3, true);
  std::printf("  grown by %ld kB, to %ld kB\n", peak_kb() - before, peak_kb());
  EXPECT_LT(peak_kb() - before, 4096);
}

}  // namespace
