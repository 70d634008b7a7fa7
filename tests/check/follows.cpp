// One wrong thing is said once. The levels are a divider's: a 75 ohm source into two loads gives 2/3, into
// none twice the level (CCITT N.60 levels, EBU/BT.470 burst).
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/check/words.hpp>

#include "../../src/check/readings.hpp"

namespace {

using namespace linebench;
using namespace linebench::check;

Reading judged(const char* id, double value, std::optional<double> least, double most) {
  Reading r = number_reading(id, value, 0.1);
  r.limit = Limit{.min = least, .max = most, .allowed = {}, .mask = {}, .source = "test"};
  r.verdict = (least && value < *least) || value > most ? Verdict::Fail : Verdict::Pass;
  return r;
}

Reading word(const char* id, const char* value, const char* allowed) {
  Reading r = text_reading(id, value);
  r.limit = Limit{.min = {}, .max = {}, .allowed = {allowed}, .mask = {}, .source = "test"};
  r.verdict = std::string(value) == allowed ? Verdict::Pass : Verdict::Fail;
  return r;
}

job::Capture picture(const char* termination, double sync, double white, double burst) {
  job::Capture c;
  c.view = "waveform";
  c.readings = {
      word("video.termination", termination, "correct"), judged("video.sync.amplitude", sync, 291, 309),
      judged("video.white", white, std::nullopt, 720), judged("video.burst.amplitude", burst, 270, 330)};
  return c;
}

std::string ids(const job::Capture& c) {
  std::string out;
  for (const Trouble& t : troubles(c)) out += t.id + " ";
  return out;
}

TEST(Follows, LevelsOfALineThatIsNotTerminatedOnce) {
  EXPECT_EQ(ids(picture("missing", 600, 1400, 600)), "video.termination ");
  EXPECT_EQ(ids(picture("double", 200, 467, 200)), "video.termination ");
  // What stays out when the line is put right is to be put right too, by what stays.
  const auto left = troubles(picture("missing", 600, 1600, 600));
  ASSERT_EQ(left.size(), 2u);
  for (const Trouble& t : left) {
    if (t.id == "video.white") {
      EXPECT_NEAR(t.beyond, 80, 1e-9);
    }
  }
  // Out on the other side then: nothing is to be raised now.
  EXPECT_EQ(ids(picture("double", 220, 500, 220)), "video.termination ");
}

// With burst and white low by the same factor it is no sync that is low, and they stand beside it.
TEST(Follows, LevelsThatAreLowAlikeAreSaidSo) {
  const auto low = troubles(picture("correct", 200, 467, 200));
  ASSERT_EQ(low.size(), 1u);
  EXPECT_TRUE(low[0].all_levels);
  EXPECT_NE(low[0].text.find("Burst amplitude: 200.0 mV"), std::string::npos) << low[0].text;
  EXPECT_EQ(words_of(low[0]).fault, "the whole signal is too small");
  const auto alone = troubles(picture("correct", 200, 700, 300));
  ASSERT_EQ(alone.size(), 1u);
  EXPECT_FALSE(alone[0].all_levels);
  EXPECT_EQ(words_of(alone[0]).fault, "sync is too small");
  const auto high = troubles(picture("correct", 420, 980, 420));
  ASSERT_EQ(high.size(), 1u);
  EXPECT_EQ(words_of(high[0]).fault, "the whole signal is too large");
}

TEST(Follows, OfWhatDoesNotArriveNothingElseIsSaid) {
  job::Capture c;
  c.readings = {word("audio.signal", "none", "present"), judged("audio.sti", 0, 0.6, 1)};
  EXPECT_EQ(ids(c), "audio.signal ");
  // The other side is judged as ever.
  c.readings = {word("audio.signal.left", "none", "present"),
                word("audio.signal.right", "present", "present"), judged("audio.sti.right", 0.2, 0.6, 1)};
  EXPECT_EQ(ids(c), "audio.signal audio.sti ");
}

// A loose plug of one side: its times are not the other's.
TEST(Follows, TimesOfEachSide) {
  const Words words = Words::load("en");
  job::Capture c;
  const auto times = [](const char* id, std::vector<double> at) {
    std::vector<double> y(at.size(), 1.0);
    return curve_reading(id, Curve{.x = std::move(at), .y = std::move(y), .x_unit = "s", .y_unit = ""},
                         std::nullopt);
  };
  c.readings = {judged("audio.dropout.count.left", 1, {}, 0), judged("audio.dropout.count.right", 2, {}, 0),
                times("audio.dropout.times.left", {4.3}), times("audio.dropout.times.right", {4.3, 15.3})};
  const auto found = troubles(c);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(times_of(c, found[0], words), "left 00:00:04.3; right 00:00:04.3, 00:00:15.3");
  c.readings[3] = times("audio.dropout.times.right", {4.3});
  EXPECT_EQ(times_of(c, found[0], words), "00:00:04.3") << "alike: said once";
}

// What could be either way is weighed so, a curve by its worst point as a number by itself.
TEST(Follows, WorstPointWithinItsUncertaintyIsDoubtful) {
  const auto response = [](double worst_db, double uncertainty) {
    job::Capture c;
    Reading r = curve_reading("audio.response",
                              Curve{.x = {100, 300, 1000, 3400, 8000},
                                    .y = {-20, 0, worst_db, 0, -30},
                                    .x_unit = "Hz",
                                    .y_unit = "dB",
                                    .uncertainty = std::vector<double>(5, uncertainty)},
                              std::nullopt);
    r.limit =
        Limit{.min = {}, .max = {}, .allowed = {}, .mask = {{300, -3, 3}, {3400, -3, 3}}, .source = "test"};
    r.verdict = Verdict::Fail;
    c.readings = {r};
    return troubles(c).at(0);
  };
  EXPECT_TRUE(response(4, 2).doubtful);
  EXPECT_FALSE(response(4, 0.5).doubtful);
  EXPECT_NE(response(4, 2).text.find("0.0 to 4.0 dB"), std::string::npos)
      << "beside a mask, what it is about: " << response(4, 2).text;
}

// All of it 1.4 times: one control at the source sets it. White that is higher still is white's own.
TEST(Follows, LevelsOfASourceThatIsTooLarge) {
  EXPECT_EQ(ids(picture("correct", 420, 980, 420)), "video.sync.amplitude ");
  const auto hot = troubles(picture("correct", 420, 1120, 420));
  ASSERT_EQ(hot.size(), 2u);
  for (const Trouble& t : hot) {
    if (t.id == "video.white") {
      EXPECT_NEAR(t.beyond, 80, 1e-9);
    }
  }
  EXPECT_EQ(ids(picture("correct", 420, 980, 560)).find("video.burst") != std::string::npos, true);
  EXPECT_EQ(ids(picture("correct", 250, 583, 250)), "video.sync.amplitude ");
}

// The line and its late copy add: on a flat part 0.6 us and more behind an edge a copy of share a leaves 1 +
// a of the level. Sync of 300 mV is 255 mV under a copy of -15 %, white of 700 mV is 805 mV under one of +15
// %.
TEST(Follows, LevelsUnderAnEcho) {
  const auto under = [](double echo_db, double sync, double white) {
    job::Capture c = picture("correct", sync, white, 300);
    c.readings.push_back(judged("video.echo.level", echo_db, std::nullopt, -26));
    return ids(c);
  };
  const double of_15_percent = 20 * std::log10(0.15);
  EXPECT_EQ(under(of_15_percent, 255, 595), "video.echo.level ");
  EXPECT_EQ(under(of_15_percent, 345, 805), "video.echo.level ");
  // More than the echo can do is wrong by itself, on either side.
  EXPECT_NE(under(of_15_percent, 200, 595).find("video.sync.amplitude"), std::string::npos);
  EXPECT_NE(under(of_15_percent, 345, 900).find("video.white"), std::string::npos);
  // An echo within its limit (2.5 % = -32 dB) makes nothing of it.
  EXPECT_NE(under(-32, 255, 595).find("video.sync.amplitude"), std::string::npos);
  // Nor is it to blame for what is no level.
  job::Capture c = picture("correct", 255, 595, 300);
  c.readings.push_back(judged("video.echo.level", of_15_percent, std::nullopt, -26));
  c.readings.push_back(judged("video.noise.periodic.level", -30, std::nullopt, -40));
  EXPECT_NE(ids(c).find("video.noise.periodic"), std::string::npos);
}

// 600 ppm off in both: one clock makes line and subcarrier (BT.470: 283.75 and a quarter cycle to the line).
TEST(Follows, SubcarrierOfAClockThatIsOff) {
  job::Capture c;
  c.readings = {judged("video.line.frequency", 15625 * 1.0006, 15621.9, 15628.1),
                judged("video.burst.frequency", 4433618.75 * 1.0006, 4433397, 4433840)};
  EXPECT_EQ(ids(c), "video.line.frequency ");
  c.readings[1] = judged("video.burst.frequency", 4433618.75 * 0.9998, 4433397, 4433840);
  EXPECT_NE(ids(c).find("video.burst.frequency"), std::string::npos) << "off by itself as well";
}

TEST(Follows, SyncAloneIsSaidApart) {
  const auto low = troubles(picture("correct", 200, 700, 300));
  ASSERT_EQ(low.size(), 1u);
  EXPECT_EQ(low[0].direction, "low-alone");
  EXPECT_EQ(troubles(picture("correct", 250, 580, 250)).front().direction, "low");
}

TEST(Follows, FieldRateOfAnotherNumberOfLinesOrOfAClockThatIsOff) {
  job::Capture c;
  // 15625 Hz over 312 lines.
  c.readings = {judged("video.lines_per_frame", 312, 625, 625),
                judged("video.line.frequency", 15625, 15621, 15629),
                judged("video.field.frequency", 50.08, 49.99, 50.01)};
  EXPECT_EQ(ids(c), "video.lines_per_frame ");
  c.readings = {judged("video.lines_per_frame", 625, 625, 625),
                judged("video.line.frequency", 15700, 15621, 15629),
                judged("video.field.frequency", 50.24, 49.99, 50.01)};
  EXPECT_EQ(ids(c), "video.line.frequency ");
}

// Odd multiples of 50 Hz at -58, -66 and -72 dBFS weigh, by the A curve (-30.2 dB at 50 Hz, -13.4 at 150 and
// -8.6 at 250: IEC 61672-1, interpolated in its table from memory), -88.2, -79.4 and -80.6 dB: together
// -76.6.
TEST(Follows, NoiseThatIsTheHumInIt) {
  const auto quiet = [](double noise_dbfs) {
    job::Capture c;
    c.readings = {judged("audio.hum.level.left", -57.2, std::nullopt, -80),
                  number_reading("audio.hum.frequency.left", 50, 0.001),
                  number_reading("audio.hum.harmonic.1.left", -58, 0.1),
                  number_reading("audio.hum.harmonic.3.left", -66, 0.1),
                  number_reading("audio.hum.harmonic.5.left", -72, 0.1),
                  number_reading("audio.hum.harmonic.1.right", -20, 0.1),
                  judged("audio.noise.a.left", noise_dbfs, std::nullopt, -80)};
    return c;
  };
  EXPECT_EQ(ids(quiet(-76.4)), "audio.hum.level ");
  EXPECT_NE(ids(quiet(-73.0)).find("audio.noise.a"), std::string::npos) << "hiss of -75.5 dB beside it";
  job::Capture within = quiet(-73.0);
  within.readings[0].verdict = Verdict::Pass;
  EXPECT_EQ(ids(within), "audio.noise.a ");
}

TEST(Follows, AnotherSystemIsOneTrouble) {
  job::Capture c = picture("correct", 285.7, 714, 285.7);
  c.readings.push_back(word("video.system", "525", "625"));
  EXPECT_EQ(ids(c), "video.system ");
}

}  // namespace
