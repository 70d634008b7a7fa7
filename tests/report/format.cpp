#include <gtest/gtest.h>

#include <linebench/base/catalogue.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/words.hpp>

namespace {

using namespace linebench;
using report::show_limit;
using report::show_value;

TEST(ShowValue, DecimalsFollowTheUncertainty) {
  const auto shown = [](double v, std::optional<double> u) {
    const auto s = show_value(number_reading("audio.hum.level", v, u));
    return s.value + "|" + s.uncertainty;
  };
  EXPECT_EQ(shown(-41.2345, 0.004), "-41.23|0.01");  // rounded up, never to nothing
  EXPECT_EQ(shown(-41.2345, 0.12), "-41.23|0.12");
  EXPECT_EQ(shown(-41.2345, 1.234), "-41.2|1.3");
  EXPECT_EQ(shown(-41.2345, 23.4), "-41|24");
  EXPECT_EQ(shown(-0.001, 0.2), "0.00|0.20");
  EXPECT_EQ(shown(-41.2345, std::nullopt), "-41.23|");
}

TEST(ShowValue, UnitsAPersonReads) {
  const auto delay = show_value(number_reading("audio.pair.delay", 0.00043217, 0.0000012));
  EXPECT_EQ(delay.value + " " + delay.unit, "0.4322 ms");
  const auto dc = show_value(number_reading("audio.level.dc", -0.0123, 0.0001));
  EXPECT_EQ(dc.value + " " + dc.unit, "-1.230 % FS");
  EXPECT_EQ(show_value(number_reading("audio.pair.polarity", -1, std::nullopt)).value, "reversed");
  EXPECT_EQ(show_value(number_reading("audio.response.polarity", 1, std::nullopt)).value, "normal");
  EXPECT_EQ(show_value(unmeasurable("audio.hum.level", "none", -98.76)).value, "< -98.8");
  EXPECT_EQ(show_value(unmeasurable("audio.hum.level", "none")).value, "-");
}

TEST(ShowLimit, AsItsAuthorWroteIt) {
  Reading r = number_reading("audio.hum.level", -40, 0.1);
  EXPECT_EQ(show_limit(r), "");
  r.limit = Limit{std::nullopt, -58.0, {}, {}, "x"};
  EXPECT_EQ(show_limit(r), "max -58");
  r.limit = Limit{-24.0, -12.0, {}, {}, "x"};
  EXPECT_EQ(show_limit(r), "-24 to -12");
  Reading dc = number_reading("audio.level.dc", 0, 0.1);
  dc.limit = Limit{-0.01, 0.01, {}, {}, "x"};
  EXPECT_EQ(show_limit(dc), "\u00b11");
  Reading response = curve_reading("audio.response", {{300, 3400}, {0, 0}, "Hz", "dB", {}}, 0.1);
  response.limit = Limit{std::nullopt, std::nullopt, {}, {{300, -3.0, 3.0}, {3400, -3.0, 3.0}}, "x"};
  EXPECT_EQ(show_limit(response), "mask 300 Hz\u20133.4 kHz");
}

TEST(Printable, EscapesWhatSteersATerminal) {
  EXPECT_EQ(report::printable("a\nb\x1b[31mc\td"), "a\\nb\\x1b[31mc\\td");
  EXPECT_EQ(report::printable("\u009b\u202e\u2028"), "\\x9b\\u202e\\u2028");
  EXPECT_EQ(report::printable("\xff\xc3"), "\\xff\\xc3");  // not UTF-8
  EXPECT_EQ(report::printable("F\u00e4hre \u5ba2\u8239 \u00b1"), "F\u00e4hre \u5ba2\u8239 \u00b1");
}

// East Asian Width [Unicode UAX 11, from memory]: Han is wide; a combining acute accent takes no column.
TEST(TextWidth, IsInColumns) {
  EXPECT_EQ(report::text_width("abc"), 3u);
  EXPECT_EQ(report::text_width("\u00b15 dB"), 5u);
  EXPECT_EQ(report::text_width("\u5ba2\u8239"), 4u);
  EXPECT_EQ(report::text_width("e\u0301"), 1u);
  EXPECT_EQ(report::text_width("\xff"), 1u);
  EXPECT_EQ(report::character_length("e\u0301x"), 3u);
  EXPECT_EQ(report::to_ascii("\u5ba2e\u0301"), "??e");
}

TEST(ShowDuration, InWordsOfItsSize) {
  EXPECT_EQ(report::show_duration(3), "3.00 s");
  EXPECT_EQ(report::show_duration(61.25), "61.2 s");
  EXPECT_EQ(report::show_duration(754), "12 min 34 s");
  EXPECT_EQ(report::show_duration(3660), "1 h 1 min");
}

TEST(Words, EveryShippedLimitHasWordsOfItsOwn) {
  const std::string general(report::words_for("no.such.id", judge::Side::High).fault);
  for (const std::string& name : judge::limit_set_names()) {
    for (const auto& e : judge::load_limit_set(name).entries) {
      std::vector<judge::Side> sides;
      if (e.limit.min) sides.push_back(judge::Side::Low);
      if (e.limit.max) sides.push_back(judge::Side::High);
      for (const auto& corner : e.limit.mask) {
        if (corner.min) sides.push_back(judge::Side::Low);
        if (corner.max) sides.push_back(judge::Side::High);
      }
      for (const auto side : sides)
        EXPECT_NE(report::words_for(e.id, side).fault, general) << name << " " << e.id;
    }
  }
}

TEST(Words, HumAlwaysCarriesTheEarthCaution) {
  for (const char* id : {"audio.hum.level", "audio.hum.harmonic.3", "audio.hum.kind"}) {
    EXPECT_NE(report::words_for(id, judge::Side::High).next.find("Never lift a protective earth"),
              std::string_view::npos)
        << id;
  }
}

TEST(Groups, EveryAudioReadingHasOne) {
  for (const auto& kind : audio_reading_kinds())
    EXPECT_NE(report::group_of(kind.id).title, "Other readings") << kind.id;
}

}  // namespace
