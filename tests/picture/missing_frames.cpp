// Frames that are missing, or stand twice, in a file that does not count them: hum is that of the truth of
// the scene, a sine in time, whatever frames were kept of it.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <linebench/capture/lent_frames.hpp>
#include <optional>
#include <set>
#include <utility>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::Scene;

struct Kept {
  const char* name;
  std::set<int> missing;   // of the frames taken
  std::set<int> repeated;  // the one before stands in their place
  std::set<int> put_in;    // the one before stands there once more, and time goes on after it
};

class Some final : public capture::FrameSource {
 public:
  Some(const Scene& s, int taken, Kept kept)
      : from_(s, taken, 3), format_(s.format()), kept_(std::move(kept)) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return from_.facts(); }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& f) override {
    if (held_) {
      f = *std::exchange(held_, std::nullopt);
    } else {
      capture::Frame next;
      do {
        if (!from_.read(next)) return false;
      } while (kept_.missing.contains(taken_++));
      const int i = taken_ - 1;
      f = kept_.repeated.contains(i) || kept_.put_in.contains(i) ? before_ : next;
      if (kept_.put_in.contains(i)) held_ = next;
    }
    f.number = number_++;
    before_ = f;
    return true;
  }

 private:
  frame_synth::Source from_;
  capture::FrameFormat format_;
  Kept kept_;
  capture::Frame before_;
  std::optional<capture::Frame> held_;
  int taken_ = 0;
  std::uint64_t number_ = 0;
};

Readings measure_kept(const Scene& s, int taken, const Kept& kept) {
  Some source(s, taken, kept);
  return measure::measure_picture(source, {});
}

TEST(PictureMissingFrames, HumIsThatOfTheTimeTheyWereTakenAt) {
  const Kept all[] = {{"two missing", {7, 20}, {}, {}},
                      {"two in place of others", {}, {5, 14}, {}},
                      {"two put in", {}, {}, {8, 19}},
                      {"both", {9}, {16}, {}},
                      {"three at once", {11, 12, 13}, {}, {}}};
  for (const auto& [lines, hz] : {std::pair{625, 60.0}, {625, 50.4}, {525, 50.0}})
    for (const Kept& kept : all) {
      Scene s;
      s.lines = lines;
      s.noise = 1;
      s.hum_percent = 2;
      s.hum_hz = hz;
      const Readings r = measure_kept(s, 32, kept);
      const std::string what = fmt::format("{} lines, {} Hz, {}", lines, hz, kept.name);
      const Reading& level = *find_reading(r, "picture.hum.level");
      const Reading& f = *find_reading(r, "picture.hum.frequency");
      ASSERT_TRUE(level.measured() && f.measured()) << what << level.reason << f.reason;
      EXPECT_NEAR(level.number(), 2, 1.2 * level.uncertainty.value()) << what;
      EXPECT_LT(level.uncertainty.value(), 0.1) << what;
      EXPECT_NEAR(f.number(), hz, 1.2 * f.uncertainty.value()) << what << f.reason;
      EXPECT_LT(f.uncertainty.value(), 0.02) << what;
    }
}

// Two takes of the same hum joined anywhere: its depth is that of either, its frequency nobody's.
TEST(PictureMissingFrames, HumOfTwoTakesJoinedKeepsItsDepth) {
  for (const auto& [lines, hz] : {std::pair{625, 50.2}, {625, 100.3}, {525, 60.1}})
    for (const double turns : {0.2, 0.4, 0.5})
      for (const int at : {1, 2, 3, 5, 8, 9, 10, 11}) {
        Scene s;
        s.lines = lines;
        s.noise = 1;
        s.line = frame_synth::flat(0.4);
        s.hum_percent = 4;
        s.hum_hz = hz;
        Scene later = s;
        later.hum_phase += 2 * std::numbers::pi * turns;
        frame_synth::Source a(s, 12, 3), b(later, 12, 4);
        std::vector<capture::Frame> frames(12);
        for (int i = 0; i < 12; ++i) {
          capture::Frame skipped;
          auto& f = frames[static_cast<std::size_t>(i)];
          ASSERT_TRUE(a.read(i < at ? f : skipped) && b.read(i < at ? skipped : f));
        }
        capture::LentFrames joined(frames, s.format());
        const Readings r = measure::measure_picture(joined, {});
        const std::string what =
            fmt::format("{} lines, {} Hz, {} turns before frame {}", lines, hz, turns, at);
        const Reading& level = *find_reading(r, "picture.hum.level");
        ASSERT_TRUE(level.measured()) << what << level.reason;
        EXPECT_NEAR(level.number(), 4, 1.2 * level.uncertainty.value()) << what;
        EXPECT_LT(level.uncertainty.value(), 0.1) << what;
        const Reading& f = *find_reading(r, "picture.hum.frequency");
        if (f.measured()) {
          EXPECT_NEAR(f.number(), hz, 1.2 * f.uncertainty.value()) << what << f.reason;
        }
      }
}

// Nothing is missing, and nothing is said to be.
TEST(PictureMissingFrames, NoneAreFoundWhereNoneAre) {
  for (const double percent : {0.3, 3.0})
    for (const double hz : {49.7, 50.02, 60.0}) {
      Scene s;
      s.noise = 2;
      s.hum_percent = percent;
      s.hum_hz = hz;
      const Reading f = *find_reading(frame_synth::measure(s, 40), "picture.hum.frequency");
      EXPECT_EQ(f.reason.find("phase shows"), std::string::npos) << percent << " " << hz << f.reason;
    }
}

}  // namespace
