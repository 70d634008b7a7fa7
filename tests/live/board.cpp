// Hold, marks, comparison, history: what all views look at.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/live/board.hpp>
#include <linebench/live/pitch.hpp>
#include <linebench/live/screen.hpp>
#include <linebench/report/format.hpp>
#include <nlohmann/json.hpp>

namespace {

using namespace linebench;

live::AudioView view_at(double t, double hum_dbfs, double u = 0.1) {
  live::AudioView v;
  v.time_s = t;
  v.readings = {text_reading("audio.signal", "present"), number_reading("audio.level.rms", -20.0, 0.02),
                number_reading("audio.hum.level", hum_dbfs, u)};
  return v;
}

CaptureFacts facts() {
  CaptureFacts f;
  f.source = "counter 2";
  f.kind = "audio file";
  f.channels = 1;
  f.sample_rate_hz = 48000;
  return f;
}

double shown_hum(const live::Board& b) {
  return find_reading(b.look().readings, "audio.hum.level")->number();
}

TEST(LiveBoard, HoldKeepsWhatIsShownWhileMeasuringGoesOn) {
  live::Board b;
  b.begin(facts());
  b.publish(view_at(1, -40));
  b.hold(true);
  b.publish(view_at(2, -60));
  EXPECT_EQ(shown_hum(b), -40);
  EXPECT_TRUE(b.look().held);
  EXPECT_EQ(b.look().time_s, 1);
  EXPECT_EQ(find_reading(b.newest().readings, "audio.hum.level")->number(), -60);
  b.hold(false);
  EXPECT_EQ(shown_hum(b), -60);
  EXPECT_FALSE(b.look().held);
}

TEST(LiveBoard, AMarkKeepsItsReadingsAndIsComparedWith) {
  live::Board b;
  b.begin(facts());
  b.publish(view_at(1, -40));
  const live::Mark m = b.mark("pulled shield at counter 2");
  EXPECT_EQ(m.number, 1);
  b.publish(view_at(3, -40.1));
  auto s = b.look();
  auto hum = std::ranges::find(s.differences, "audio.hum.level", &live::Difference::id);
  ASSERT_NE(hum, s.differences.end());
  EXPECT_FALSE(hum->certain) << "0.1 dB with 0.14 dB of uncertainty";
  b.publish(view_at(4, -52));
  s = b.look();
  hum = std::ranges::find(s.differences, "audio.hum.level", &live::Difference::id);
  EXPECT_NEAR(hum->difference, -12, 1e-9);
  EXPECT_NEAR(hum->uncertainty, std::hypot(0.1, 0.1), 1e-9);
  EXPECT_TRUE(hum->certain);
  ASSERT_EQ(s.marks.size(), 1U);
  EXPECT_EQ(find_reading(s.marks[0]->readings, "audio.hum.level")->number(), -40);
}

TEST(LiveBoard, WhatIsHeldIsWhatIsMarked) {
  live::Board b;
  b.begin(facts());
  b.publish(view_at(1, -40));
  b.hold(true);
  b.publish(view_at(2, -60));
  EXPECT_EQ(find_reading(b.mark("x").readings, "audio.hum.level")->number(), -40);
  EXPECT_EQ(b.look().marks.size(), 1U) << "and the held screen shows the mark";
}

TEST(LiveBoard, WordsAndVanishedReadingsAreDifferencesToo) {
  const Readings before = {text_reading("audio.signal", "present"),
                           number_reading("audio.hum.level", -40.0, 0.1)};
  const Readings now = {text_reading("audio.signal", "none", "all samples are zero"),
                        unmeasurable("audio.hum.level", "no hum", -100)};
  const auto d = live::differences(before, now);
  ASSERT_EQ(d.size(), 2U);
  EXPECT_EQ(d[0].words, "present -> none");
  EXPECT_EQ(d[1].words, "-40.00 -> < -100.0");
  EXPECT_TRUE(d[1].certain);
  EXPECT_TRUE(live::differences(before, before)[0].words.empty());
}

// Below a bound that lies above what was there, it may be there still.
TEST(LiveBoard, ABoundAboveWhatWasMeasuredHidesIt) {
  const Readings before = {number_reading("audio.hum.level", -70.0, 0.1)};
  const Readings now = {unmeasurable("audio.hum.level", "no hum", -60)};
  for (const auto& d : {live::differences(before, now), live::differences(now, before)}) {
    ASSERT_EQ(d.size(), 1U);
    EXPECT_FALSE(d[0].certain) << d[0].words;
  }
  EXPECT_TRUE(live::differences(now, {unmeasurable("audio.hum.level", "no hum", -61)}).empty());
  const Readings louder = {number_reading("audio.hum.level", -50.0, 0.1)};
  EXPECT_EQ(live::differences(before, louder).at(0).unit, "dB");
}

TEST(LiveBoard, APeakIsOfItsMomentAndNeverACertainChange) {
  const Readings before = {number_reading("audio.level.peak.left", -60.0, 0.001)};
  const Readings now = {number_reading("audio.level.peak.left", -58.0, 0.001)};
  EXPECT_FALSE(live::differences(before, now).at(0).certain);
}

TEST(LiveBoard, MarksAreTidyBoundedAndTheirKeepingIsSaid) {
  int kept = 0;
  live::Board b([&](const live::Mark&, const CaptureFacts& f) -> std::string {
    EXPECT_EQ(f.source, "counter 2");
    if (++kept == 2) throw unusable("the store: disk full");
    return "kept";
  });
  b.begin(facts());
  b.publish(view_at(1, -40));
  EXPECT_EQ(b.mark("a\x1b[2J\nb").text, "a [2J b") << "no escapes reach a terminal";
  EXPECT_EQ(b.mark("two").stored, "not stored: the store: disk full");
  // 199 bytes, then a letter of two bytes that does not fit: not cut in half.
  EXPECT_EQ(b.mark(std::string(199, 'x') + "\u00e4").text, std::string(199, 'x'));
  EXPECT_EQ(b.mark("").text, "mark 4");
  for (int i = 4; i < 200; ++i) (void)b.mark("again");
  EXPECT_THROW((void)b.mark("one too many"), Error);
}

TEST(LiveBoard, HistoryIsFiveMinutesInHalfSeconds) {
  live::Board b;
  b.begin(facts());
  for (int i = 0; i < 10000; ++i) b.publish(view_at(i * 0.05, -40 - i * 0.001));
  const auto tracks = b.history();
  ASSERT_EQ(tracks.size(), 2U);
  for (const live::Track& t : tracks) {
    ASSERT_EQ(t.values.size(), live::history_points);
    EXPECT_TRUE(std::isfinite(t.values.front()) && std::isfinite(t.values.back()));
    if (t.id == "audio.hum.level") {
      EXPECT_NEAR(t.values.back() - t.values.front(), -0.01 * 599, 0.02) << "0.01 dB each half second";
    }
  }
  const auto spans = b.spans();
  const auto hum = std::ranges::find(spans, "audio.hum.level", &live::Span::id);
  EXPECT_NEAR(hum->highest - hum->lowest, 9.999, 1e-6);
}

TEST(LiveBoard, JsonHasNoNanAndShowsWhatAPersonSees) {
  live::Board b;
  b.begin(facts());
  b.publish(view_at(1, -41.2345, 0.07));
  const auto j = live::snapshot_to_json(b.look());
  EXPECT_EQ(j["schema"], "linebench/1");
  EXPECT_EQ(j["command"], "watch");
  const auto& hum = j["readings"][2];
  EXPECT_EQ(hum["value"], -41.2345);
  EXPECT_EQ(hum["shown"]["value"], "-41.23");
  EXPECT_EQ(hum["shown"]["unit"], "dBFS");
  const auto traces = live::traces_to_json(b.look(), b.history());
  EXPECT_EQ(traces["history"]["tracks"]["audio.hum.level"].size(), live::history_points);
  EXPECT_TRUE(traces["history"]["tracks"]["audio.hum.level"][0].is_null());
  EXPECT_EQ(traces.dump().find("nan"), std::string::npos);
}

TEST(LiveScreen, FitsEveryWidthAndNeedsNoColour) {
  live::Board b;
  b.begin(facts());
  for (int i = 0; i < 200; ++i) b.publish(view_at(i * 0.5, -40 - 10 * std::sin(i * 0.1)));
  (void)b.mark("pulled shield at counter 2, \u6e2f");
  b.publish(view_at(120, -60));
  for (const std::size_t width : {10U, 20U, 31U, 40U, 60U, 80U, 200U}) {
    for (const bool unicode : {true, false}) {
      const auto lines = live::screen_lines(b.look(), b.history(), {width, 24, unicode}, "");
      EXPECT_LE(lines.size(), 24U);
      for (const std::string& line : lines) {
        EXPECT_LE(report::text_width(line), std::max<std::size_t>(width, 20)) << line;
        EXPECT_EQ(line.find('\x1b'), std::string::npos);
        if (!unicode) {
          EXPECT_TRUE(std::ranges::all_of(line, [](char c) { return static_cast<unsigned char>(c) < 0x80; }))
              << line;
        }
      }
    }
  }
  const auto narrow = live::screen_lines(b.look(), b.history(), {30, 24, false}, "");
  EXPECT_TRUE(std::ranges::any_of(
      narrow, [](const std::string& l) { return l.find("Hum: -60.00") != std::string::npos; }));
  const auto low = live::screen_lines(b.look(), b.history(), {80, 3, true}, "");
  EXPECT_EQ(low.size(), 3U) << "a low terminal loses the end, not the keys";
  EXPECT_NE(low.back().find("q end"), std::string::npos);
}

TEST(LiveScreen, NamesFromOutsideCannotSteerTheTerminal) {
  CaptureFacts f = facts();
  f.source = "evil\x1b]0;owned\x07.wav";
  live::Board b;
  b.begin(f);
  b.publish(view_at(1, -40));
  for (const std::string& line : live::screen_lines(b.look(), {}, {80, 24, true}, ""))
    EXPECT_EQ(line.find('\x1b'), std::string::npos) << line;
  EXPECT_EQ(live::summary_text(b, 80, true).find('\x1b'), std::string::npos);
}

// Higher is more, three octaves, never a jump: the pitch's scale is monotonous and bounded.
TEST(LivePitch, FollowsTheReading) {
  EXPECT_NEAR(*live::pitch_hz(number_reading("audio.hum.level", -100.0, 0.1)), 220, 1e-9);
  EXPECT_NEAR(*live::pitch_hz(number_reading("audio.hum.level", 0.0, 0.1)), 1760, 1e-9);
  EXPECT_NEAR(*live::pitch_hz(number_reading("audio.hum.level", -300.0, 0.1)), 220, 1e-9);
  double before = 0;
  for (double v = -100; v <= 0; v += 1) {
    const double hz = *live::pitch_hz(number_reading("audio.hum.level", v, 0.1));
    EXPECT_GT(hz, before);
    before = hz;
  }
  EXPECT_FALSE(live::pitch_hz(unmeasurable("audio.hum.level", "none"))) << "silence, not the last pitch";
  EXPECT_FALSE(live::pitch_hz(text_reading("audio.signal", "none")));
}

TEST(LivePitch, NeverComesOutOfWhatIsMeasured) {
  using capture::SoundDevice;
  const SoundDevice card{"ALSA", "USB Audio (hw:1,0)", 2, 2, 48000};
  const SoundDevice same_card{"ALSA", "USB Audio (hw:1,1)", 0, 2, 48000};
  const SoundDevice other{"ALSA", "Built in (hw:0,0)", 2, 2, 48000};
  const SoundDevice mixer{"ALSA", "default", 2, 2, 48000};
  EXPECT_FALSE(live::pitch_refusal(card, card, true).empty()) << "not even when checked";
  EXPECT_FALSE(live::pitch_refusal(same_card, card, true).empty());
  EXPECT_TRUE(live::pitch_refusal(other, card, false).empty());
  EXPECT_FALSE(live::pitch_refusal(mixer, card, false).empty()) << "it may lead anywhere";
  EXPECT_TRUE(live::pitch_refusal(mixer, card, true).empty());
  EXPECT_TRUE(live::pitch_refusal(mixer, std::nullopt, false).empty()) << "a file hangs on no card";
}

}  // namespace
