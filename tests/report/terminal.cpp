#include <gtest/gtest.h>

#include <algorithm>
#include <linebench/report/format.hpp>
#include <linebench/report/summary.hpp>
#include <linebench/report/terminal.hpp>
#include <sstream>

#include "sample_document.hpp"

namespace {

using namespace linebench;
using report::terminal_table;

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

TEST(Terminal, VerdictStandsFirstAndWorstFirst) {
  const std::string text = terminal_table(sample::judged(), {});
  // Clipping is an event and so the cause; right hum -38.5 is 19.5 dB over -58: 6.5 notches; polarity
  // counts 4.
  EXPECT_TRUE(text.starts_with("FAIL: signal is clipped")) << text.substr(0, 100);
  const auto hum =
      text.find("FAIL  Hum: left -41.22 \u00b10.06 dBFS, right -38.50 \u00b10.06 dBFS (limit max -58");
  const auto polarity = text.find("FAIL  Left/right polarity: reversed");
  const auto level = text.find("\nLevel\n");
  EXPECT_NE(hum, std::string::npos) << text;
  EXPECT_LT(hum, polarity);
  EXPECT_LT(polarity, level);
  EXPECT_NE(text.find("Never lift a protective"), std::string::npos);
  EXPECT_LT(text.find("\nLevel\n"), text.find("\nCould not be measured\n"));
}

TEST(Terminal, NoLineIsWiderThanTheTerminal) {
  auto d = sample::judged();
  d.input.source = std::string(150, 'w') + "\u5ba2\u8239\u5ba2\u8239e\u0301.wav";
  d.input.xruns = 3;
  for (const bool unicode : {true, false}) {
    for (const std::size_t width : {40u, 47u, 60u, 71u, 72u, 80u, 100u}) {
      for (const bool all : {false, true}) {
        for (const auto& line : lines_of(terminal_table(d, {width, false, unicode, all}))) {
          EXPECT_LE(report::text_width(line), width) << line;
        }
      }
    }
  }
}

TEST(Terminal, ColourOnlyWhenAskedAndNeverAlone) {
  const std::string plain = terminal_table(sample::judged(), {});
  EXPECT_EQ(plain.find('\x1b'), std::string::npos);
  std::string coloured = terminal_table(sample::judged(), {80, true, true, false});
  EXPECT_NE(coloured.find("\x1b[1;31mFAIL\x1b[0m"), std::string::npos);
  // With the codes taken out it is the same text: nothing is said by colour only.
  std::string stripped;
  for (std::size_t i = 0; i < coloured.size(); ++i) {
    if (coloured[i] == '\x1b') {
      i = coloured.find('m', i);
    } else {
      stripped += coloured[i];
    }
  }
  EXPECT_EQ(stripped, plain);
}

TEST(Terminal, AsciiHasNoOtherBytes) {
  const std::string text = terminal_table(sample::judged(), {80, false, false, false});
  EXPECT_TRUE(
      std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; }));
  EXPECT_NE(text.find("+/-0.06"), std::string::npos);
}

TEST(Terminal, HostileNamesCannotSteerTheTerminal) {
  auto d = sample::judged();
  d.input.source = "a\x1b]0;owned\x07\x1b[2J\nPASS: all is well\xff\xe2\x80\xae.wav";
  d.input.notes = {"\x1b[31mred"};
  const std::string text = terminal_table(d, {});
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
  EXPECT_EQ(text.find('\x07'), std::string::npos);
  EXPECT_EQ(text.find("\nPASS"), std::string::npos);
  EXPECT_EQ(text.find("\xe2\x80\xae"), std::string::npos);
}

TEST(Terminal, HarmonicsInOneLineUnlessAll) {
  const std::string text = terminal_table(sample::judged(), {});
  EXPECT_NE(text.find("Harmonics: left: 2 found, strongest 1 -41.9, 3 -50.2 dBFS"), std::string::npos)
      << text;
  EXPECT_EQ(text.find("Hum harmonic 3"), std::string::npos);
  const std::string all = terminal_table(sample::judged(), {80, false, true, true});
  EXPECT_NE(all.find("Hum harmonic 3"), std::string::npos);
}

TEST(Terminal, UnjudgedSaysSo) {
  const std::string text = terminal_table(sample::stereo(), {});
  EXPECT_TRUE(text.starts_with("MEASURED: no limit set applied; --limits NAME judges"));
  EXPECT_EQ(text.find("FAIL"), std::string::npos);
}

TEST(Terminal, IncompleteNamesWhatIsMissing) {
  report::Document d;
  d.input.channels = 1;
  d.readings = {unmeasurable("audio.hum.level", "too short; take 2 s")};
  sample::judge_by(d, {"s", "t", {{"audio.hum.level", {std::nullopt, -58.0, {}, {}, "x"}, true}}});
  const std::string text = terminal_table(d, {});
  EXPECT_TRUE(text.starts_with("INCOMPLETE: Hum could not be measured")) << text;
  EXPECT_NE(text.find("Hum (required): too short; take 2 s"), std::string::npos);
}

TEST(Terminal, SummaryFitsAndNamesEachCapture) {
  report::PageSection good, bad;
  good.document = sample::stereo();
  good.title = "Ticket counter 1";
  bad.document = sample::judged();
  bad.title = "Vehicle lane 2";
  for (const std::size_t width : {40u, 80u}) {
    const std::string text =
        report::terminal_summary("Ferry terminal", {good, bad}, {width, false, true, false});
    EXPECT_NE(text.find("1 of 2"), std::string::npos);
    EXPECT_NE(text.find("Vehicle lane 2"), std::string::npos);
    for (const auto& line : lines_of(text)) EXPECT_LE(report::text_width(line), width) << line;
  }
}

TEST(Wrapped, KeepsEveryWordAndTheWidth) {
  EXPECT_EQ(report::wrapped("one two three", 9, 2, ""), "one two\n  three\n");
  EXPECT_EQ(report::wrapped("", 9, 2, "x:"), "x:\n");
  EXPECT_EQ(report::wrapped("abcdefghijkl", 6, 2, "- "), "- abcd\n  efgh\n  ijkl\n");
}

}  // namespace
