// What follows from two captures when the signal itself went, or when the second could not show the fault.
#include <linebench/diagnose/compare.hpp>
#include <linebench/report/findings.hpp>
#include <nlohmann/json.hpp>

#include "job.hpp"

namespace {

using namespace diagnose_test;

Readings with(Readings base, const Readings& more) {
  base.insert(base.end(), more.begin(), more.end());
  return base;
}

const Readings hum = {number("audio.hum.level", -41.6, 0.1), number("audio.hum.frequency", 50.0, 0.01)};
const Readings no_hum = {unmeasurable("audio.hum.level", "no mains hum found", -110)};

Readings signal(double rms) { return {number("audio.level.rms", rms, 0.05)}; }

std::string said(const Readings& before, const Readings& after) {
  return compare(book(), of_readings(before, "before"), of_readings(after, "after"), "moved cable").summary;
}

bool holds(const std::string& text, const char* part) { return text.find(part) != std::string::npos; }

TEST(DiagnoseCompare, HumThatWentWithTheProgrammeIsNoCure) {
  const std::string pulled = said(with(signal(-22), hum), with(signal(-82), no_hum));
  EXPECT_TRUE(holds(pulled, "comes no more") && holds(pulled, "cannot be told")) << pulled;
  EXPECT_FALSE(holds(pulled, "is gone")) << pulled;
  const std::string cured = said(with(signal(-22), hum), with(signal(-22.4), no_hum));
  EXPECT_FALSE(holds(cured, "comes no more")) << cured;
  // Nothing but hum was there: a cure leaves nothing.
  const std::string idle = said(with(signal(-41.5), hum), with(signal(-82), no_hum));
  EXPECT_FALSE(holds(idle, "comes no more")) << idle;
}

TEST(DiagnoseCompare, HumThatWentWhileTheToneFellIsNoCure) {
  const auto tone_at = [](double dbfs) {
    return with(signal(dbfs), {number("audio.tone.level", dbfs, 0.01)});
  };
  const std::string fell = said(with(tone_at(-18), hum), with(tone_at(-30), no_hum));
  EXPECT_TRUE(holds(fell, "fell by 12.0 dB") && holds(fell, "cannot be told")) << fell;
  EXPECT_FALSE(holds(fell, "is gone")) << fell;
  const std::string stays = said(with(tone_at(-18), hum), with(tone_at(-18.4), no_hum));
  EXPECT_FALSE(holds(stays, "fell by")) << stays;
}

// A second termination leaves two thirds (75 ohm into 37.5 ohm, Ohm's law); a resistive splitter leaves half.
TEST(DiagnoseCompare, HumThatFellWithSyncIsNoCure) {
  const auto at = [](double part, double hum_mv) {
    return Readings{text_reading("video.signal", "present"), text_reading("video.system", "625"),
                    number("video.sync.amplitude", 300 * part, 1), number("video.hum.level", hum_mv, 0.2),
                    number("video.hum.frequency", 50.0, 0.01)};
  };
  for (const double part : {0.5, 2.0 / 3}) {
    const std::string fell = said(at(1, 54.8), at(part, 54.8 * part));
    EXPECT_TRUE(holds(fell, "Sync fell by") && holds(fell, "cannot be told")) << fell;
  }
  const std::string cured = said(at(1, 54.8), at(0.98, 2));
  EXPECT_FALSE(holds(cured, "Sync fell")) << cured;
  // Twice as much came without a termination: that it fell to nominal is the cure.
  const std::string ended = said(at(2, 5), at(1, 2.5));
  EXPECT_FALSE(holds(ended, "Sync fell")) << ended;
}

// Sync is 300 mV of 625 lines and 285.7 of 525 [BT.1700, SMPTE 170M]: of another system all is other.
TEST(DiagnoseCompare, AnotherScanningSystemComesFirst) {
  const auto of = [](const char* system, double lines, double sync, double field_hz) {
    return Readings{
        text_reading("video.signal", "present"),   text_reading("video.system", system),
        number("video.lines_per_frame", lines, 0), number("video.sync.amplitude", sync, 0.3),
        number("video.white", sync * 7 / 3, 0.3),  number("video.field.frequency", field_hz, 1e-4)};
  };
  const Comparison c = compare(book(), of_readings(of("625", 625, 300, 50), "before"),
                               of_readings(of("525", 525, 285.7, 59.94), "after"), "changed camera");
  EXPECT_TRUE(c.summary.starts_with("Scanning system: 625 -> 525")) << c.summary;
  for (const ReadingChange& x : c.changes) {
    if (x.id != "video.lines_per_frame") continue;
    EXPECT_EQ(x.difference, -100);
    EXPECT_EQ(x.uncertainty, 0);
    EXPECT_EQ(x.certainty, Certainty::Certain);
  }
}

TEST(DiagnoseCompare, ACaptureThatCouldNotShowTheFaultSaysNothingOfIt) {
  const Readings bars = {text_reading("picture.signal", "present"), number("picture.hum.level", 6.25, 0.03),
                         number("picture.hum.frequency", 49.7, 0.001)};
  const Readings brief = {text_reading("picture.signal", "present"),
                          unmeasurable("picture.hum.level", "none that moves in less than 1.6 s; take 20 s")};
  const std::string text = said(bars, brief);
  EXPECT_TRUE(holds(text, "6.25 % of white") && holds(text, "take 20 s") && holds(text, "cannot be told"))
      << text;
  EXPECT_FALSE(holds(text, "did not reach")) << text;
}

// 50 Hz at -42 dBFS at the hub; 0.1 s at the source shows no hum, whatever is there.
TEST(DiagnoseCompare, APointThatShowsTooLittleIsNotSound) {
  const SignalPath path{"Lane", {{"source", "s.wav"}, {"cable", ""}, {"hub", "h.wav"}}};
  synth::Samples x = tone(20, 71);
  synth::add_sine(x, rate, 49.98, -42);
  synth::add_sine(x, rate, 149.94, -54);
  const Capture hub = measured({x}, "h.wav");
  const Segment open = locate(book(), path, {measured({tone(0.1, 72)}, "s.wav"), hub});
  EXPECT_EQ(open.between, (std::vector<std::string>{"source", "cable", "hub"})) << open.text;
  EXPECT_TRUE(holds(open.text, "end of source shows too little")) << open.text;
  const Segment told = locate(book(), path, {measured({tone(20, 73)}, "s.wav"), hub});
  EXPECT_EQ(told.between, (std::vector<std::string>{"cable", "hub"})) << told.text;
  // Nor does it stand against what was found before it.
  const SignalPath turned{"Lane", {{"source", "h.wav"}, {"hub", "s.wav"}}};
  const Segment first_part = locate(book(), turned, {measured({tone(0.1, 74)}, "s.wav"), hub});
  EXPECT_FALSE(holds(first_part.text, "do not fit")) << first_part.text;
}

// Whoever makes hum go may have done it by lifting an earth: what becomes of it is said first.
TEST(DiagnoseCompare, HumThatWentHasACautionAboutEarths) {
  const auto said_of = [](const Readings& before, const Readings& after) {
    const auto c =
        compare(book(), of_readings(before, "before"), of_readings(after, "after"), "lifted the earth");
    return report::comparison_to_json(c).at("caution").get<std::string>();
  };
  EXPECT_TRUE(holds(said_of(with(signal(-22), hum), with(signal(-22), no_hum)), "put it back"));
  EXPECT_EQ(said_of(with(signal(-22), no_hum), with(signal(-22), no_hum)), "");
}

}  // namespace
