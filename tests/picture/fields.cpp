// Which field was scanned first, before lamps whose light changes from field to field: 100 Hz lamps before a
// camera of 59.94 fields a second, which sees them change at 100 - 2 x 59.94 = -19.88 Hz (closed form).
#include <gtest/gtest.h>

#include <random>

#include "support/changed_frames.hpp"

namespace {
using namespace linebench;
using capture::Frame;
using frame_synth::Changed;
using frame_synth::Scene;

Readings night(double flicker, bool someone_walks, bool bottom_first) {
  Scene s;
  s.lines = 525;
  s.picture = [](double x, double row) { return 0.25 * frame_synth::landscape(x, row); };
  std::vector<double> lamps(480 * 720);  // what they throw on a place
  for (int r = 0; r < 480; ++r) {
    for (int x = 0; x < 720; ++x) {
      for (const auto& [row, column] : {std::pair{120, 80}, {140, 350}, {130, 610}})
        lamps[static_cast<std::size_t>(r * 720 + x)] +=
            150 * std::exp(-((r - row) * (r - row) + (x - column) * (x - column)) / 3200.0);
    }
  }
  std::mt19937 random(4);
  std::normal_distribution<double> normal(0, 3);
  Changed source(s, 60, [&](Frame& f, int n) {
    for (int r = 0; r < 480; ++r) {
      const bool second = (r % 2 == 0) == bottom_first;
      const double t = (2 * n + (second ? 1 : 0)) * 1001.0 / 60000;
      const double light = 1 + flicker * std::sin(2 * std::numbers::pi * 100 * t);
      const double walker = std::fmod(40 + 300 * t, 720);  // 5 px a field
      for (int x = 0; x < 720; ++x) {
        const auto at = static_cast<std::size_t>(r * 720 + x);
        std::uint8_t& y = f.y[at];
        double v = y + light * lamps[at];
        if (someone_walks && r > 260 && std::abs(x - walker) < 25) v = 160;
        y = static_cast<std::uint8_t>(std::clamp(std::lround(v + normal(random)), 0L, 255L));
      }
    }
  });
  source.format().top_field_first = !bottom_first;
  return measure::measure_picture(source, {});
}
const Reading& get(const Readings& r, const char* id) { return *find_reading(r, id); }

TEST(PictureFields, LampsThatFlickerAreNoMotion) {
  for (const bool bottom_first : {true, false}) {
    const Readings r = night(0.25, false, bottom_first);
    EXPECT_FALSE(get(r, "picture.field_order").measured());
    EXPECT_FALSE(get(r, "picture.field_order.kept").measured());
    EXPECT_NE(get(r, "picture.field_order").reason.find("light"), std::string::npos)
        << get(r, "picture.field_order").reason;
  }
}

TEST(PictureFields, WhoWalksThroughTellsTheOrder) {
  for (const double flicker : {0.0, 0.25}) {
    for (const bool bottom_first : {true, false}) {
      const Readings r = night(flicker, true, bottom_first);
      ASSERT_TRUE(get(r, "picture.field_order").measured())
          << flicker << ' ' << get(r, "picture.field_order").reason;
      EXPECT_EQ(get(r, "picture.field_order").text(), bottom_first ? "bottom" : "top") << flicker;
    }
  }
}

// Noise of whole rows and a dimmer's spikes change rows of a picture that stands still.
TEST(PictureFields, RowsThatChangeAsOneAreNoMotion) {
  for (const int lines : {525, 625}) {
    for (const bool spikes : {false, true}) {
      Scene s;
      s.lines = lines;
      s.coloured_bars = spikes;
      if (!spikes) s.line = frame_synth::flat(0.5);
      s.noise = 0.7;
      s.row_noise = spikes ? 0 : 2;
      if (spikes) {  // at each half of a mains period, 0.2 ms long
        s.other = [](double t, int, int) { return std::fmod(t * 100.06, 1.0) < 0.02 ? 12.0 : 0.0; };
      }
      const Readings r = frame_synth::measure(s, 50);
      for (const char* id : {"picture.field_order", "picture.field_order.kept", "picture.fields.swapped"})
        EXPECT_FALSE(get(r, id).measured()) << id;
    }
  }
}

// Bright lines of a grid on both rows of a pair look the same with the pair's rows swapped; on the second row
// of one pair and the first of the next they do not.
TEST(PictureFields, SwappedRowsOfAGrid) {
  for (const int first : {10, 11}) {
    for (const bool swap : {false, true}) {
      Scene s;
      s.noise = 1;
      s.picture = [first](double x, double row) {
        const auto r = static_cast<int>(std::lround(row)) % 48;
        const double at = std::fmod(x + 24, 48.0);
        const double upright = frame_synth::step(at, 22) - frame_synth::step(at, 25);
        return r == first || r == first + 1 ? 0.8 : 0.8 * upright;
      };
      Changed source(s, 8, [&](Frame& f, int) {
        if (!swap) return;
        for (std::size_t r = 0; r < 576; r += 2)
          std::swap_ranges(f.y.begin() + static_cast<std::ptrdiff_t>(720 * r),
                           f.y.begin() + static_cast<std::ptrdiff_t>(720 * (r + 1)),
                           f.y.begin() + static_cast<std::ptrdiff_t>(720 * (r + 1)));
      });
      const Readings readings = measure::measure_picture(source, {});
      const Reading& r = get(readings, "picture.fields.swapped");
      if (first == 10) {
        EXPECT_FALSE(r.measured());
      } else {
        ASSERT_TRUE(r.measured()) << r.reason;
        EXPECT_EQ(r.text(), swap ? "yes" : "no");
      }
    }
  }
}

}  // namespace
