// Colour bars, multiburst and test lines against closed forms (support/video_lines.hpp) in other makers'
// shapes, and against the tables of SMPTE 170M / BT.470 as computed by hand in the project's reference
// values.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/measure/video.hpp>

#include "support/coverage.hpp"
#include "support/video_lines.hpp"
#include "video/measuring.hpp"
#include "video/measuring_frame.hpp"

namespace {

using namespace linebench;
using namespace video_lines;
using video_synth::add_noise;
using video_synth::clean;
using video_synth::has_picture;
using video_synth::MemoryVideo;
using video_synth::wave_525;
using video_synth::wave_625;
using video_test::bar_colours;
using video_test::even_borders;
using video_test::get;

// `rounding`: half a step of the table the truth is from.
void expect(const Readings& r, const std::string& id, double truth, double within, double rounding = 0) {
  const Reading& x = get(r, id);
  if (!x.measured()) {
    ADD_FAILURE() << id << ": " << x.reason;
    return;
  }
  if (std::abs(x.number() - truth) > 0.3 * within) {
    std::printf("    %-26s %10.4f  error %+8.4f  claimed %.4f (allowed %.3f) %s\n", id.c_str(), x.number(),
                x.number() - truth, x.uncertainty.value_or(0), within, x.unit.c_str());
  }
  EXPECT_NEAR(x.number(), truth, within) << id;
  EXPECT_LE(std::abs(x.number() - truth), 2 * x.uncertainty.value_or(1e9) + rounding)
      << id << ": claimed too little";
}

Readings measured(std::vector<float> x, double rate, double noise_mv, unsigned seed = 5) {
  add_noise(x, noise_mv, seed);
  MemoryVideo source(rate, std::move(x));
  return measure::measure_video(source, {});
}

struct BarRow {
  const char* name;
  double luma_mv;
  double chroma_pp_mv;
  double phase_deg;
};
// Reference values 1.7: tables computed from the matrix of BT.601 and the levels of SMPTE 170M and BT.470.
const std::vector<BarRow> setup_75 = {{"white", 549.1, 0, 0},          {"yellow", 492.6, 443.3, 167.1},
                                      {"cyan", 400.9, 626.7, 283.5},   {"green", 344.5, 585.2, 240.7},
                                      {"magenta", 258.2, 585.2, 60.7}, {"red", 201.7, 626.7, 103.5},
                                      {"blue", 110.1, 443.3, 347.1},   {"black", 53.6, 0, 0}};
const std::vector<BarRow> no_setup_75 = {{"white", 535.7, 0, 0},          {"yellow", 474.6, 479.3, 167.1},
                                         {"cyan", 375.5, 677.5, 283.5},   {"green", 314.5, 632.6, 240.7},
                                         {"magenta", 221.3, 632.6, 60.7}, {"red", 160.2, 677.5, 103.5},
                                         {"blue", 61.1, 479.3, 347.1},    {"black", 0, 0, 0}};
const std::vector<BarRow> pal_75 = {{"white", 525.0, 0, 0},          {"yellow", 465.2, 469.7, 167.1},
                                    {"cyan", 368.0, 664.0, 283.5},   {"green", 308.2, 620.0, 240.7},
                                    {"magenta", 216.8, 620.0, 60.7}, {"red", 157.0, 664.0, 103.5},
                                    {"blue", 59.9, 469.7, 347.1},    {"black", 0, 0, 0}};
const std::vector<BarRow> pal_100 = {{"white", 700.0, 0, 0},          {"yellow", 620.2, 626.3, 167.1},
                                     {"cyan", 490.7, 885.3, 283.5},   {"green", 410.9, 826.6, 240.7},
                                     {"magenta", 289.1, 826.6, 60.7}, {"red", 209.3, 885.3, 103.5},
                                     {"blue", 79.8, 626.3, 347.1},    {"black", 0, 0, 0}};

void check(const Readings& r, const std::vector<BarRow>& table, double gain, double chroma_gain,
           double turn_deg, double white_mv) {
  for (const BarRow& b : table) {
    const std::string id = std::string("video.bars.") + b.name;
    const double luma = std::string(b.name) == "white" && white_mv > 0 ? white_mv : b.luma_mv;
    expect(r, id + ".luma", gain * luma, std::max(0.01 * gain * luma, 1.0), 0.05);
    if (b.chroma_pp_mv == 0) continue;
    expect(r, id + ".chroma", gain * chroma_gain * b.chroma_pp_mv, 0.02 * gain * chroma_gain * b.chroma_pp_mv,
           0.05);
    expect(r, id + ".phase", std::fmod(b.phase_deg + turn_deg + 360, 360), 1.0, 0.05);
  }
}

TEST(VideoPictureBars, EveryFormAtEveryRate) {
  for (const double rate : {10.7e6, 13.5e6, 315e6 / 22, 17734475.0, 20e6, 27e6, 40e6}) {
    std::printf("  %.3f MS/s\n", rate * 1e-6);
    for (const bool setup : {true, false}) {
      Wave w = wave_525();
      w.start_line = 12.4;
      const Line line =
          colours(even_borders(w, 8), bar_colours(0.75, 0.75), 5000.0 / 7, setup ? 375.0 / 7 : 0);
      std::vector<float> x = clean(w, rate, 0.04);
      add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      const Readings r = measured(std::move(x), rate, 7);
      EXPECT_EQ(get(r, "video.bars.kind").text(), "75");
      check(r, setup ? setup_75 : no_setup_75, 1, 1, 0, 0);
    }
    for (const auto& [white, colour] : {std::pair{1.0, 1.0}, {1.0, 0.75}, {0.75, 0.75}}) {
      Wave w = wave_625();
      const Line line = colours(even_borders(w, 8), bar_colours(white, colour), 700, 0);
      std::vector<float> x = clean(w, rate, 0.04);
      add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      const Readings r = measured(std::move(x), rate, 7);
      EXPECT_EQ(get(r, "video.bars.kind").text(), white < 1 ? "75" : colour < 1 ? "100-0-75-0" : "100");
      check(r, colour < 1 ? pal_75 : pal_100, 1, 1, 0, 700 * white);
    }
  }
}

// Seven bars without black, uneven widths, blue first; through a path with gain and chrominance errors.
TEST(VideoPictureBars, OtherShapesThroughABadPath) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    w.gain = 0.55;
    std::vector<Colour> list = bar_colours(0.75, 0.75);
    list.pop_back();
    std::vector<double> borders = even_borders(w, 7);
    for (std::size_t i = 1; i < 7; ++i) borders[i] += i % 2 == 0 ? 0.9 : -0.7;
    for (const bool reversed : {false, true}) {
      if (reversed) std::reverse(list.begin(), list.end());
      const Line line = colours(borders, list, is_525 ? 5000.0 / 7 : 700, 0);
      Path path;
      path.chroma_gain = 0.83;
      path.chroma_turn_deg = is_525 ? 11 : 0;
      std::vector<float> x = clean(w, 18e6, 0.06);
      add(
          x, w, 18e6, [&](int n) { return has_picture(w, n) ? &line : nullptr; }, path);
      std::vector<BarRow> table = is_525 ? no_setup_75 : pal_75;
      table.pop_back();
      const Readings r = measured(std::move(x), 18e6, 4);
      check(r, table, 0.55, 0.83, path.chroma_turn_deg, 0);
      EXPECT_EQ(get(r, "video.bars.black.luma").verdict, Verdict::Unmeasurable);
    }
  }
}

// A turn of the chrominance against the burst: in 625 it is opposite on the two kinds of line, and the mean
// stays.
TEST(VideoPictureBars, ATurnIn625LeavesTheMean) {
  Wave w = wave_625();
  const Line line = colours(even_borders(w, 8), bar_colours(1, 0.75), 700, 0);
  Path path;
  path.chroma_turn_deg = 8;
  std::vector<float> x = clean(w, 20e6, 0.05);
  add(
      x, w, 20e6, [&](int n) { return has_picture(w, n) ? &line : nullptr; }, path);
  const Readings r = measured(std::move(x), 20e6, 7);
  check(r, pal_75, 1, 1, 0, 700);
  EXPECT_NE(get(r, "video.bars.red.phase").reason.find("+8.0"), std::string::npos)
      << get(r, "video.bars.red.phase").reason;
}

void check_curve(const Readings& r, const std::vector<double>& mhz, const std::vector<double>& db,
                 double within) {
  const Reading& x = get(r, "video.multiburst");
  ASSERT_TRUE(x.measured()) << x.reason;
  const Curve& c = x.curve();
  ASSERT_EQ(c.x.size(), mhz.size()) << x.reason;
  for (std::size_t i = 0; i < mhz.size(); ++i) {
    std::printf("    %.3f MHz %+.3f dB (%+.3f, claimed %.3f)\n", c.x[i] * 1e-6, c.y[i], c.y[i] - db[i],
                c.uncertainty[i]);
    EXPECT_NEAR(c.x[i], mhz[i] * 1e6, 0.03e6);
    EXPECT_NEAR(c.y[i], db[i], within);
  }
}

// First-order low-pass of 5 MHz: 20 lg 1 / sqrt(1 + (f / fc)^2). Lists of several makers.
TEST(VideoPictureMultiburst, ResponseOfAFirstOrderLowPass) {
  struct List {
    bool is_525;
    double pp_share;  // of white
    std::vector<double> mhz;
    double flag_to;
  };
  const std::vector<List> lists = {{true, 0.5, {0.5, 1.25, 2.0, 3.0, 3.58, 4.1}, 14},
                                   {true, 0.6, {0.5, 1.0, 2.0, 3.0, 3.58, 4.2}, 13.5},
                                   {false, 0.6, {0.5, 1.0, 2.0, 4.0, 4.8, 5.8}, 15},
                                   {false, 1.0, {0.8, 1.8, 2.8, 3.8, 4.8, 5.5}, 15}};
  for (const List& list : lists) {
    for (const double rate : {17.2e6, 27e6}) {
      Wave w = list.is_525 ? wave_525() : wave_625();
      const double white = list.is_525 ? 5000.0 / 7 : 700;
      std::vector<Burst> bursts;
      std::vector<double> db;
      for (const double f : list.mhz) {
        const double h = 1 / std::sqrt(1 + f * f / 25);
        db.push_back(20 * std::log10(h));
        bursts.push_back({f, std::floor(5.4 * f), list.pp_share * white * h});
      }
      const double end = list.is_525 ? 61 : 61.5;
      const Line line = together(
          {bar_from(11.2, list.flag_to, 0.2, white), packets(17.5, 1.2, 16, end, white / 2, bursts)});
      std::vector<float> x = clean(w, rate, 0.04);
      add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      const Readings r = measured(std::move(x), rate, 7);
      std::printf("  %s, packets of %.0f %%: %s\n", list.is_525 ? "525" : "625", 100 * list.pp_share,
                  get(r, "video.multiburst").reason.c_str());
      check_curve(r, list.mhz, db, 0.15);
      EXPECT_NE(get(r, "video.pattern").text().find("multiburst"), std::string::npos);
    }
  }
}

// Test lines on single lines of the field interval over a picture that is something else.
TEST(VideoPictureTestLines, OnSingleLinesOfTheFieldInterval) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    const double t = is_525 ? 0.125 : 0.1;
    const double white = is_525 ? 5000.0 / 7 : 700;
    const double rate = 20e6;
    const Line bar_line = together({bar_from(13, 24, 2 * t, white), pulse_at(28, 2 * t, 0.93 * white),
                                    modulated_at(34.5, is_525 ? 12.5 * t : 20 * t, white)});
    const Line stair_line = stairs(36, 61, 5, 0.9 * white, 0.4 * white, 2 * t);
    // A picture of no known kind: levels that differ from line to line.
    std::vector<Line> picture;
    for (int i = 0; i < 97; ++i) {
      picture.push_back([i](double us, Point& p) {
        p.y += (300 + 200 * std::sin(us * (0.2 + 0.01 * i) + i)) * bar(us, 11, 60, 0.3);
        p.u += 60 * std::sin(us * 0.3 + 0.1 * i) * bar(us, 12, 59, 0.5);
      });
    }
    const int first = is_525 ? 17 : 17;
    const int second = is_525 ? 280 : 330;
    Path path;
    path.white_mv = white;
    path.dg = 0.05;
    path.dp_deg = 3;
    path.chroma_delay_us = 0.06;
    std::vector<float> x = clean(w, rate, 0.8);
    add(
        x, w, rate,
        [&](int n) -> const Line* {
          if (n == first) return &bar_line;
          if (n == second) return &stair_line;
          return has_picture(w, n) ? &picture[static_cast<std::size_t>(n) % picture.size()] : nullptr;
        },
        path);
    const Readings r = measured(std::move(x), rate, 4);
    std::printf("  %s: %s (%s)\n", is_525 ? "525" : "625", get(r, "video.pattern").text().c_str(),
                get(r, "video.pattern").reason.c_str());
    expect(r, "video.pulse_bar", 93, 1.5);
    expect(r, "video.differential_gain", 100 * 0.05 * 0.9, 1.0);
    expect(r, "video.differential_phase", 3 * 0.9, 0.8);
    expect(r, "video.chroma_delay", 60, 12);
    expect(r, "video.white", white, 0.01 * white);
    EXPECT_NE(get(r, "video.pattern").reason.find(is_525 ? "17" : "17"), std::string::npos);
    EXPECT_NE(get(r, "video.differential_gain").reason.find("test line"), std::string::npos);
  }
}

TEST(VideoPictureBars, WhatIsNotThereIsSaidByName) {
  Wave w = wave_625();
  w.picture = video_synth::flat(350);
  const Readings r = measured(clean(w, 13.5e6, 0.06), 13.5e6, 7);
  const std::vector<std::pair<const char*, const char*>> wanted = {
      {"video.bars.kind", "bars"},
      {"video.bars.red.phase", "bars"},
      {"video.multiburst", "multiburst"},
      {"video.k2t", "2T pulse"},
      {"video.pulse_bar", "2T pulse"},
      {"video.line_tilt", "bar"},
      {"video.field_tilt", "square wave"},
      {"video.nonlinearity", "staircase"},
      {"video.differential_gain", "staircase with subcarrier"},
      {"video.differential_phase", "staircase with subcarrier"},
      {"video.chroma_delay", "modulated"},
      {"video.chroma_gain", "modulated"}};
  for (const auto& [id, word] : wanted) {
    EXPECT_EQ(get(r, id).verdict, Verdict::Unmeasurable) << id;
    EXPECT_NE(get(r, id).reason.find(word), std::string::npos) << id << ": " << get(r, id).reason;
  }
  EXPECT_EQ(get(r, "video.pattern").text(), "flat grey field");
}

// Claimed uncertainty against the truth, over seeded noise; one capture holds all the pictures.
void uncertainty_is_true(bool is_525, double noise_mv) {
  const double rate = 15.1e6;
  const video_test::MeasuringFrame frame = video_test::measuring_frame(is_525, rate, 0.07);
  std::map<std::string, std::vector<coverage::Trial>> seen;
  constexpr int trials = 120;
  for (unsigned i = 0; i < coverage::trials(trials); ++i) {
    const Readings r = measured(frame.samples, rate, noise_mv, 2000 + i);
    for (const auto& [id, value] : frame.truth) {
      const Reading& x = get(r, id);
      ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
      seen[id].push_back({x.number(), x.uncertainty.value_or(0), value});
    }
    const Reading& m = get(r, "video.multiburst");
    ASSERT_TRUE(m.measured()) << m.reason;
    ASSERT_EQ(m.curve().y.size(), frame.packets);
    seen["video.multiburst at 3.1 MHz"].push_back({m.curve().y[3], m.curve().uncertainty[3], 0});
  }
  for (const auto& [id, all] : seen)
    coverage::expect_coverage(id.c_str(), trials, [&](unsigned seed) { return all[seed - 1]; });
}
TEST(VideoPictureUncertainty, IsTrueIn525) { uncertainty_is_true(true, 35); }
TEST(VideoPictureUncertainty, IsTrueIn625) { uncertainty_is_true(false, 35); }

}  // namespace
