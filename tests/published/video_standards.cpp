// The tables of composite video against figures published elsewhere. Expected numbers are typed in here on
// purpose; the program computes them from the standards' primary figures.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/standards/video_colour.hpp>
#include <linebench/standards/video_lines.hpp>
#include <map>
#include <set>
#include <stdexcept>

namespace {
using namespace linebench::standards;

// [73.682](a)(5), (6): 5 MHz x 63/88 and 2/455 of it; [BT.470]: 283.75 + 1/625 cycles a line.
TEST(VideoStandards, FrequenciesAreExact) {
  for (const VideoStandard* s : video_standards()) {
    EXPECT_NEAR(s->subcarrier_hz.value(), s->line_rate_hz.value() * s->subcarrier_cycles_per_line.value(),
                1e-6);
    EXPECT_EQ(find_video_standard(s->name), s);
    EXPECT_NEAR(s->active_start_us.nominal + s->front_porch_us.nominal, s->line_blanking_us.nominal, 0.051)
        << s->name;
  }
  EXPECT_DOUBLE_EQ(video_525.subcarrier_hz.value(), 5e6 * 63 / 88);
  EXPECT_NEAR(video_525.line_rate_hz.value(), 15734.265734, 1e-6);
  EXPECT_NEAR(video_525.field_rate_hz(), 60000.0 / 1001, 1e-9);
  EXPECT_NEAR(video_525.line_period_us(), 63.555556, 1e-6);
  EXPECT_DOUBLE_EQ(video_625.subcarrier_hz.value(), 4433618.75);
  EXPECT_DOUBLE_EQ(video_625.field_rate_hz(), 50.0);
  EXPECT_EQ(find_video_standard("405"), nullptr);
}

// [N.60] levels in volts: 0.286/0.714 for M, 0.3/0.7 otherwise; burst 40 IRE p-p [170M], 3/7 of white
// [BT.470].
TEST(VideoStandards, LevelsAddUpToOneVolt) {
  for (const VideoStandard* s : video_standards()) {
    EXPECT_NEAR(s->white_mv.nominal - s->sync_mv.nominal, 1000.0, 1e-9) << s->name;
    EXPECT_NEAR(s->broad_width_us.nominal + s->serration_us.nominal, s->half_line_us(), 1e-3) << s->name;
  }
  EXPECT_NEAR(video_525.sync_mv.nominal, -285.714, 1e-3);
  EXPECT_NEAR(video_525.white_mv.nominal, 714.286, 1e-3);
  EXPECT_NEAR(video_525.black_mv.nominal, 53.571, 1e-3);
  EXPECT_DOUBLE_EQ(video_525.picture_mv(0), video_525.black_mv.nominal);
  EXPECT_NEAR(video_525.burst_start_us.nominal, 5.308, 1e-3);
  EXPECT_NEAR(video_525.burst_length_us(), 2.514, 1e-3);
  EXPECT_NEAR(video_625.burst_length_us(), 2.255, 1e-3);
  EXPECT_DOUBLE_EQ(video_625.burst_pp_mv.nominal, 300.0);
}

struct Bar {
  double luma, chroma, phase;
};
void expect_bars(const VideoStandard& s, const BarForm& form, const Bar (&expected)[8], double unit) {
  for (int i = 0; i < 8; ++i) {
    const CompositeColour c = composite_colour(s, bar_rgb(form, i));
    EXPECT_NEAR(c.luma_mv / unit, expected[i].luma, 0.051) << s.name << " " << bar_names[i];
    EXPECT_NEAR(c.chroma_pp_mv / unit, expected[i].chroma, 0.051) << s.name << " " << bar_names[i];
    if (expected[i].chroma > 0) {
      EXPECT_NEAR(c.phase_deg, expected[i].phase, 0.051) << bar_names[i];
    }
  }
}

// Bars' published levels: IRE for 525 with and without setup, mV for 625.
TEST(VideoStandards, BarsHaveTheirPublishedLevels) {
  const double ire = 1000.0 / 140;
  expect_bars(video_525, bars_75,
              {{76.88, 0, 0},
               {68.97, 62.07, 167.1},
               {56.13, 87.74, 283.5},
               {48.22, 81.93, 240.7},
               {36.15, 81.93, 60.7},
               {28.24, 87.74, 103.5},
               {15.41, 62.07, 347.1},
               {7.5, 0, 0}},
              ire);
  expect_bars(video_525, bars_100,
              {{100, 0, 0},
               {89.45, 82.76, 167.1},
               {72.34, 116.98, 283.5},
               {61.80, 109.23, 240.7},
               {45.70, 109.23, 60.7},
               {35.16, 116.98, 103.5},
               {18.05, 82.76, 347.1},
               {7.5, 0, 0}},
              ire);
  expect_bars(video_525_no_setup, bars_75,
              {{75, 0, 0},
               {66.45, 67.10, 167.1},
               {52.57, 94.85, 283.5},
               {44.02, 88.57, 240.7},
               {30.98, 88.57, 60.7},
               {22.43, 94.85, 103.5},
               {8.55, 67.10, 347.1},
               {0, 0, 0}},
              ire);
  expect_bars(video_625, bars_100_0_75_0,
              {{700, 0, 0},
               {465.2, 469.7, 167.1},
               {368.0, 664.0, 283.5},
               {308.2, 620.0, 240.7},
               {216.8, 620.0, 60.7},
               {157.0, 664.0, 103.5},
               {59.9, 469.7, 347.1},
               {0, 0, 0}},
              1);
  expect_bars(video_625, bars_100,
              {{700, 0, 0},
               {620.2, 626.3, 167.1},
               {490.7, 885.3, 283.5},
               {410.9, 826.6, 240.7},
               {289.1, 826.6, 60.7},
               {209.3, 885.3, 103.5},
               {79.8, 626.3, 347.1},
               {0, 0, 0}},
              1);
}

// [BT.601] code values of 75 % bars as commonly published.
TEST(VideoStandards, BarsHaveTheirPublishedCodes) {
  const int expected[8][3] = {{180, 128, 128}, {162, 44, 142}, {131, 156, 44}, {112, 72, 58},
                              {84, 184, 198},  {65, 100, 212}, {35, 212, 114}, {16, 128, 128}};
  for (int i = 0; i < 8; ++i) {
    const Code601 c = code601_from_rgb(bar_rgb(bars_75, i));
    EXPECT_EQ(std::lround(c.y), expected[i][0]) << bar_names[i];
    EXPECT_EQ(std::lround(c.cb), expected[i][1]) << bar_names[i];
    EXPECT_EQ(std::lround(c.cr), expected[i][2]) << bar_names[i];
  }
}

// [170M] field 1: lines 1-3 equalising, 4-6 broad, 7-9 equalising; field 2 half a line later from the middle
// of 263. [BT.470] field 1: 1-2 and half of 3 broad, then 2.5 lines equalising, 2.5 before from the middle of
// 623; field 2 from 311.
TEST(VideoLines, PulsesStandWhereTheStandardSays) {
  using enum LinePulse;
  const auto at = [](const VideoStandard& s, int line, LinePulse a, LinePulse b) {
    for (int frame = 0; frame < 4; ++frame) {
      const LineStructure l = line_structure_in_frame(s, frame, line);
      EXPECT_EQ(l.at_start, a) << s.name << " line " << line;
      EXPECT_EQ(l.at_middle, b) << s.name << " line " << line;
    }
  };
  for (const int n : {1, 2, 3, 7, 8, 9, 264, 265, 270, 271}) at(video_525, n, Equalising, Equalising);
  for (const int n : {4, 5, 6, 267, 268}) at(video_525, n, Broad, Broad);
  at(video_525, 263, LineSync, Equalising);
  at(video_525, 266, Equalising, Broad);
  at(video_525, 269, Broad, Equalising);
  at(video_525, 272, Equalising, None);
  for (const int n : {10, 262, 273, 525}) at(video_525, n, LineSync, None);
  for (const int n : {1, 2, 314, 315}) at(video_625, n, Broad, Broad);
  at(video_625, 3, Broad, Equalising);
  for (const int n : {4, 5, 624, 625, 311, 312, 316, 317}) at(video_625, n, Equalising, Equalising);
  at(video_625, 313, Equalising, Broad);
  at(video_625, 318, Equalising, None);
  at(video_625, 623, LineSync, Equalising);
  for (const int n : {6, 310, 319, 622}) at(video_625, n, LineSync, None);
}

TEST(VideoLines, CountsPerFrame) {
  for (const VideoStandard* s : video_standards()) {
    std::map<LinePulse, int> count;
    std::set<int> rows;
    double picture_lines = 0;
    for (int n = 1; n <= s->lines_per_frame; ++n) {
      const LineStructure l = line_structure_in_frame(*s, 0, n);
      ++count[l.at_start];
      ++count[l.at_middle];
      picture_lines += 0.5 * (l.picture_first_half ? 1 : 0) + 0.5 * (l.picture_second_half ? 1 : 0);
      if (l.picture_row >= 0) {
        rows.insert(l.picture_row);
        EXPECT_EQ(line_of_row(*s, l.picture_row), n);
      }
    }
    EXPECT_EQ(count[LinePulse::Broad], s->is_525() ? 12 : 10);
    EXPECT_EQ(count[LinePulse::Equalising], s->is_525() ? 24 : 20);
    EXPECT_EQ(count[LinePulse::LineSync], s->is_525() ? 525 - 18 : 625 - 15);
    EXPECT_EQ(static_cast<int>(rows.size()), s->active_rows);
    EXPECT_DOUBLE_EQ(picture_lines, s->active_rows - 1.0);  // 485 and 575 [170M, BT.470]
  }
  EXPECT_EQ(line_of_row(video_525, 0), 283);
  EXPECT_EQ(line_of_row(video_525, 485), 263);
  EXPECT_EQ(line_of_row(video_625, 0), 23);
  EXPECT_EQ(line_of_row(video_625, 575), 623);
}

// Bruch blanking as tabled: before fields 1, 5: 623-6; 2, 6: 310-318; 3, 7: 622-5; 4, 8: 311-319. What it is
// for: every field's first and last burst have the same phase.
TEST(VideoLines, BurstBlankingFollowsTheFourFrames) {
  const auto silent = [](const VideoStandard& s, int frame) {
    std::set<int> lines;
    for (int n = 1; n <= s.lines_per_frame; ++n) {
      if (!line_structure_in_frame(s, frame, n).burst) lines.insert(n);
    }
    return lines;
  };
  const std::set<int> even = {622, 623, 624, 625, 1,   2,   3,   4,   5,  6,
                              310, 311, 312, 313, 314, 315, 316, 317, 318};
  const std::set<int> odd = {623, 624, 625, 1, 2, 3, 4, 5, 311, 312, 313, 314, 315, 316, 317, 318, 319};
  EXPECT_EQ(silent(video_625, 0), even);
  EXPECT_EQ(silent(video_625, 1), odd);
  EXPECT_EQ(silent(video_625, 6), even);
  EXPECT_EQ(silent(video_625, 7), odd);
  EXPECT_EQ(silent(video_525, 3),
            (std::set<int>{1, 2, 3, 4, 5, 6, 7, 8, 9, 264, 265, 266, 267, 268, 269, 270, 271, 272}));

  int last = 0;
  bool in_gap = true;
  int fields = 0;
  for (int n = 0; n < 4 * 625; ++n) {
    const LineStructure l = line_structure_in_frame(video_625, n / 625, n % 625 + 1);
    if (l.burst && in_gap) {
      ++fields;
      EXPECT_EQ(l.v_sign, +1) << "first burst of field " << fields;
    } else if (!l.burst && !in_gap) {
      EXPECT_EQ(last, +1) << "last burst before line " << l.line;
    }
    if (l.burst && !in_gap) {
      EXPECT_EQ(l.v_sign, -last) << l.line;
    }
    in_gap = !l.burst;
    last = l.v_sign;
  }
  EXPECT_EQ(fields, 8);
}

TEST(VideoLines, ColourFieldsAndErrors) {
  EXPECT_EQ(line_structure(video_525, 3, 10).colour_field, 3);
  EXPECT_EQ(line_structure(video_625, 8, 623).v_sign, line_structure_in_frame(video_625, 3, 623).v_sign);
  EXPECT_EQ(line_structure(video_625, 1, 313).at_middle, LinePulse::Broad);
  EXPECT_THROW((void)line_structure(video_525, 5, 10), std::out_of_range);
  EXPECT_THROW((void)line_structure(video_525, 1, 300), std::out_of_range);
  EXPECT_THROW((void)line_structure_in_frame(video_525, 0, 0), std::out_of_range);
  EXPECT_THROW((void)line_structure_in_frame(video_525, 0, 526), std::out_of_range);
  EXPECT_THROW((void)line_of_row(video_625, 576), std::out_of_range);
}

// 525: half a cycle a line, back after 4 fields; 625: -90 deg a frame (177 344.75 cycles), back after 8
// fields.
TEST(VideoLines, SubcarrierKeepsItsPlaceForDays) {
  EXPECT_DOUBLE_EQ(subcarrier_turns_at_line(video_525, 1), 0.5);
  EXPECT_DOUBLE_EQ(subcarrier_turns_at_line(video_525, 525), 0.5);
  EXPECT_DOUBLE_EQ(subcarrier_turns_at_line(video_525, 1050), 0.0);
  EXPECT_DOUBLE_EQ(subcarrier_turns_at_line(video_625, 625), 0.75);
  EXPECT_DOUBLE_EQ(subcarrier_turns_at_line(video_625, 2500), 0.0);
  EXPECT_NEAR(subcarrier_turns_at_line(video_625, 1), 0.7516, 1e-12);
  EXPECT_NEAR(subcarrier_turns_at_line(video_625, 2500LL * 4'000'000'000 + 1), 0.7516, 1e-12);
}

}  // namespace
