// The encoder's waveform at stated instants against the standards' tables [170M, BT.470], at several rates.
// Expected figures are typed in from the tables.
#include <gtest/gtest.h>

#include <algorithm>
#include <linebench/base/error.hpp>
#include <map>
#include <set>
#include <vector>

#include "encoder_probe.hpp"

namespace {
using namespace linebench;
using namespace linebench::standards;
using probe::Signal;
using probe::us;

struct Table {
  const VideoStandard* s;
  double sync_mv, burst_pp_mv, white_mv, sync_us, porch_us, active_us, line_us, rise_ns, burst_us,
      burst_len_us;
};
const Table tables[] = {
    {&video_525, -285.714, 285.714, 714.286, 4.7, 1.5, 9.4, 572.0 / 9, 140, 5.3079, 2.5143},
    {&video_525_no_setup, -285.714, 285.714, 714.286, 4.7, 1.5, 9.4, 572.0 / 9, 140, 5.3079, 2.5143},
    {&video_625, -300, 300, 700, 4.7, 1.5, 10.5, 64, 200, 5.6, 2.2555},
    {&video_625_i, -300, 300, 700, 4.7, 1.65, 10.4, 64, 250, 5.6, 2.2555},
};

TEST(EncoderWaveform, LevelsAndTimesAreTheTables) {
  for (const Table& t : tables) {
    for (const double rate : probe::rates) {
      SCOPED_TRACE(std::string(t.s->name) + " at " + std::to_string(rate));
      const Signal x({.picture = "flat", .level_percent = 100}, *t.s, rate, 101 * t.line_us * us);
      const double t0 = 98 * t.line_us * us;
      // The narrow filter of low rates rings near edges by up to 0.3 % of the step.
      const double near = rate >= 13e6 ? 0.2 : 1.5;
      EXPECT_NEAR(x.mean(t0 + 1.2 * us, t0 + 3.6 * us), t.sync_mv, near);
      EXPECT_NEAR(x.mean(t0 - 1.1 * us, t0 - 0.4 * us), 0, near);
      EXPECT_NEAR(x.mean(t0 + 20 * us, t0 + 50 * us), t.white_mv, 0.05);

      const double fall = x.crossing(t0 - 0.4 * us, t0 + 0.4 * us, t.sync_mv / 2);
      const double rise = x.crossing(t0 + (t.sync_us - 0.4) * us, t0 + (t.sync_us + 0.4) * us, t.sync_mv / 2);
      EXPECT_NEAR((fall - t0) * 1e9, 0, rate >= 13e6 ? 0.5 : 2);
      EXPECT_NEAR((rise - t0) / us, t.sync_us, rate >= 13e6 ? 0.001 : 0.005);
      const double end =
          x.crossing(t0 - (t.porch_us + 0.4) * us, t0 - (t.porch_us - 0.4) * us, t.white_mv / 2);
      const double begin =
          x.crossing(t0 + (t.active_us - 0.4) * us, t0 + (t.active_us + 0.4) * us, t.white_mv / 2);
      EXPECT_NEAR((t0 - end) / us, t.porch_us, 0.004);
      EXPECT_NEAR((begin - t0) / us, t.active_us, 0.004);
      if (rate >= 17e6) {  // below, the band limit slows a 140 ns edge
        const double a = x.crossing(t0 - 0.4 * us, t0 + 0.4 * us, 0.1 * t.sync_mv);
        const double b = x.crossing(t0 - 0.4 * us, t0 + 0.4 * us, 0.9 * t.sync_mv);
        EXPECT_NEAR((b - a) * 1e9, t.rise_ns, 3);
      }
    }
  }
}

// Pulses of a whole sequence, by width: 12 broad, 24 equalising (525), 10 and 20 (625) in a frame; the rest
// line syncs, one for each 0H without a field pulse. Their starts stand on half lines exactly.
TEST(EncoderWaveform, PulsesOfAFrame) {
  for (const Table& t : tables) {
    for (const double rate : {10.7e6, 13.5e6}) {
      const double half = t.line_us / 2;
      const Signal x({.picture = "sync"}, *t.s, rate, (t.s->lines_per_frame + 1) * t.line_us * us);
      const auto mid = static_cast<float>(0.4e-3 * t.sync_mv);  // sample 0 lies at 50 %
      std::map<int, int> count;
      for (std::size_t i = 1; i < x.v.size(); ++i) {
        if (!(x.v[i - 1] >= mid && x.v[i] < mid)) continue;
        const double begin = static_cast<double>(i - 1) / x.rate;
        const double fall = x.crossing(begin - 1 / x.rate, begin + 2 / x.rate, t.sync_mv / 2);
        std::size_t k = i;
        while (k < x.v.size() && x.v[k] < mid) ++k;
        if (k == x.v.size()) break;
        const double last = static_cast<double>(k) / x.rate;
        const double width = (x.crossing(last - 2 / x.rate, last + 1 / x.rate, t.sync_mv / 2) - fall) / us;
        const double halves = fall / us / half;
        if (halves > 2 * t.s->lines_per_frame - 0.5) break;
        EXPECT_NEAR((halves - std::round(halves)) * half, 0, 0.004) << i;
        const double broad = half - 4.7;
        const double equalising = t.s->is_525() ? 2.3 : 2.35;
        const int kind = std::abs(width - broad) < 0.02        ? 3
                         : std::abs(width - equalising) < 0.01 ? 2
                         : std::abs(width - 4.7) < 0.01        ? 1
                                                               : 0;
        EXPECT_NE(kind, 0) << "width " << width << " at half line " << halves;
        ++count[kind];
      }
      // The pulse at time 0 begins before the first sample: one fewer of its kind.
      EXPECT_EQ(count[3], t.s->is_525() ? 12 : 9) << t.s->name;
      EXPECT_EQ(count[2], t.s->is_525() ? 23 : 20) << t.s->name;
      EXPECT_EQ(count[1], t.s->lines_per_frame - (t.s->is_525() ? 18 : 15)) << t.s->name;
    }
  }
}

// 525: burst along -U; with SC-H 0 its zero crossing falls on 0H, rising on even lines of field 1. 227.5
// cycles a line.
TEST(EncoderWaveform, Burst525) {
  for (const double rate : probe::rates) {
    const Signal x({.picture = "flat", .level_percent = 0}, video_525, rate, 0.07);
    const double fsc = 315e6 / 88;
    for (const int count : {9, 10, 99, 300, 400, 534, 535, 1000}) {  // lines since line 1 of colour field 1
      const double t0 = x.line_start(count);
      const auto f = x.fit(t0 + 5.8 * us, t0 + 7.3 * us, fsc, t0);
      EXPECT_NEAR(f.pp(), 285.714, rate > 13e6 ? 0.3 : 1.5) << rate << " " << count;
      // Line number = count % 525 + 1; the burst is sin(wt) where an odd number of half cycles has gone by.
      const double expected = count % 2 == 1 ? 0 : 180;
      EXPECT_NEAR(std::remainder(f.deg() - expected, 360), 0, rate > 13e6 ? 0.1 : 0.4)
          << rate << " " << count;
    }
    const double t0 = x.line_start(100);
    // Envelope: 50 % points 19 cycles after 0H and 9 cycles later, from amplitudes of single cycles round
    // them.
    const auto amplitude = [&](double t) {
      return x.fit(t0 + t - 0.5 / fsc, t0 + t + 0.5 / fsc, fsc, t0).pp();
    };
    if (rate > 19e6) {
      EXPECT_NEAR(amplitude(19 / fsc) / 285.714, 0.5, 0.02) << rate;
      EXPECT_NEAR(amplitude(28 / fsc) / 285.714, 0.5, 0.02) << rate;
    }
    EXPECT_NEAR(x.mean(t0 + 5.6 * us, t0 + 7.5 * us), 0, 8);
  }
  // SC-H is a parameter: +40 deg turns burst and picture alike.
  const Signal turned({.picture = "flat"}, video_525, 27e6, 0.01, 0, 40);
  const auto f = turned.fit(turned.line_start(99) + 5.8 * us, turned.line_start(99) + 7.3 * us, 315e6 / 88,
                            turned.line_start(99));
  EXPECT_NEAR(f.deg(), 40, 0.1);
}

// 625: burst at +-135 deg from +U, + on odd lines of fields 1 and 2, the subcarrier's phase growing by
// 283.7516 cycles a line from 0 at line 1; which lines have none is in four frames as tabled (Bruch
// blanking).
TEST(EncoderWaveform, Burst625OverEightFields) {
  const double fsc = 4433618.75;
  for (const double rate : {10.7e6, 17.734475e6}) {
    const Signal x({.picture = "flat", .level_percent = 0}, video_625, rate, 0.1601);
    for (int count = 0; count < 2500; ++count) {
      const int frame = count / 625;
      const int line = count % 625 + 1;
      const bool even = frame % 2 == 0;
      const bool blanked = even ? line <= 6 || (line >= 310 && line <= 318) || line >= 622
                                : line <= 5 || (line >= 311 && line <= 319) || line >= 623;
      const double t0 = x.line_start(count);
      const auto f = x.fit(t0 + 6.0 * us, t0 + 7.45 * us, fsc, t0);
      if (blanked) {
        ASSERT_LT(f.pp(), 20) << count;  // equalising and broad pulses' edges are not far
        continue;
      }
      ASSERT_NEAR(f.pp(), 300, rate > 12e6 ? 0.4 : 5) << count;
      const double v = count % 2 == 0 ? 135 : -135;
      const double expected = v + 360 * std::fmod(283.7516 * count, 1.0);
      ASSERT_NEAR(std::remainder(f.deg() - expected, 360), 0, rate > 12e6 ? 0.1 : 1) << count;
    }
  }
}

// Every bar's luma, chroma and phase as published (IRE or mV), on lines of both V senses.
TEST(EncoderWaveform, BarsAsPublished) {
  const double ntsc75[8][3] = {
      {76.88, 0, 0},        {68.97, 62.07, 167.1}, {56.13, 87.74, 283.5}, {48.22, 81.93, 240.7},
      {36.15, 81.93, 60.7}, {28.24, 87.74, 103.5}, {15.41, 62.07, 347.1}, {7.5, 0, 0}};
  const double ebu[8][3] = {
      {700, 0, 0},          {465.2, 469.7, 167.1}, {368.0, 664.0, 283.5}, {308.2, 620.0, 240.7},
      {216.8, 620.0, 60.7}, {157.0, 664.0, 103.5}, {59.9, 469.7, 347.1},  {0, 0, 0}};
  for (const bool is_525 : {true, false}) {
    const VideoStandard& s = is_525 ? video_525 : video_625;
    const double unit = is_525 ? 1000.0 / 140 : 1.0;
    const double fsc = is_525 ? 315e6 / 88 : 4433618.75;
    const double per_line = is_525 ? 227.5 : 283.7516;
    const double start = is_525 ? 9.4 : 10.5;
    const double width = is_525 ? (572.0 / 9 - 10.9) / 8 : 6.5;
    for (const double rate : {13.5e6, 14318181.8181818, 17.734475e6, 20e6, 27e6}) {
      const Signal x({.picture = "bars", .form = is_525 ? "75" : "100-0-75-0"}, s, rate, 0.03);
      for (const int count : {99, 100, 101, 400, 401}) {
        const double t0 = x.line_start(count);
        const double sense = !is_525 && count % 2 == 1 ? -1 : 1;
        for (int i = 0; i < 8; ++i) {
          const double* e = is_525 ? ntsc75[i] : ebu[i];
          const double a = t0 + (start + i * width + 1.8) * us;
          const auto f = x.fit(a, a + (width - 3.6) * us, fsc, t0);
          EXPECT_NEAR(f.mean / unit, e[0], is_525 ? 0.02 : 0.15) << rate << " " << count << " bar " << i;
          EXPECT_NEAR(f.pp() / unit, e[1], is_525 ? 0.04 : 0.25) << rate << " " << count << " bar " << i;
          if (e[1] == 0) continue;
          const double expected = sense * e[2] + 360 * std::fmod(per_line * count, 1.0);
          EXPECT_NEAR(std::remainder(f.deg() - expected, 360), 0, 0.15)
              << rate << " " << count << " bar " << i;
        }
      }
    }
  }
}

// Picture stands on 485 and 575 lines, half lines at the ends [170M, BT.470].
TEST(EncoderWaveform, HalfLinesOfThePicture) {
  const auto white = [](const Signal& x, int line, double at_us) {
    return x.at(x.line_start(line - 1) + at_us * us);
  };
  const Signal m({.picture = "flat", .level_percent = 100}, video_525, 13.5e6, 0.0335);
  EXPECT_NEAR(white(m, 20, 40), 0, 0.5);
  EXPECT_NEAR(white(m, 21, 15), 714.3, 0.5);
  EXPECT_NEAR(white(m, 263, 20), 714.3, 0.5);
  EXPECT_NEAR(white(m, 263, 45), 0, 0.5);
  EXPECT_NEAR(white(m, 282, 50), 0, 0.5);
  EXPECT_NEAR(white(m, 283, 20), 0, 0.5);
  EXPECT_NEAR(white(m, 283, 50), 714.3, 0.5);
  EXPECT_NEAR(white(m, 525, 50), 714.3, 0.5);
  const Signal b({.picture = "flat", .level_percent = 100}, video_625, 13.5e6, 0.0401);
  EXPECT_NEAR(white(b, 22, 40), 0, 0.5);
  EXPECT_NEAR(white(b, 23, 20), 0, 0.5);
  EXPECT_NEAR(white(b, 23, 50), 700, 0.5);
  EXPECT_NEAR(white(b, 310, 50), 700, 0.5);
  EXPECT_NEAR(white(b, 335, 40), 0, 0.5);
  EXPECT_NEAR(white(b, 336, 20), 700, 0.5);
  EXPECT_NEAR(white(b, 623, 20), 700, 0.5);
  EXPECT_NEAR(white(b, 623, 45), 0, 0.5);
}

TEST(EncoderWaveform, RefusesWhatItCannotDo) {
  const auto make = [](double rate, bool colour) {
    signals::EncoderOptions o;
    o.sample_rate_hz = signals::exact_sample_rate(rate, video_625);
    o.colour = colour;
    signals::CompositeEncoder e(signals::describe({}, video_625), o);
  };
  EXPECT_THROW(make(8e6, true), Error);
  EXPECT_THROW(make(100, false), Error);
  EXPECT_THROW((void)signals::exact_sample_rate(std::nan(""), video_625), Error);
  EXPECT_NO_THROW(make(48000, false));
  EXPECT_THROW((void)signals::describe({.picture = "barz"}, video_625), Error);
  EXPECT_THROW((void)signals::describe({.picture = "bars", .form = "60"}, video_625), Error);
  EXPECT_THROW((void)signals::describe({.picture = "staircase", .risers = 7}, video_625), Error);
  EXPECT_THROW((void)signals::describe({.picture = "flat", .level_percent = 101}, video_625), Error);
  EXPECT_THROW((void)signals::describe({.picture = "bounce", .seconds = 0}, video_625), Error);
}

}  // namespace
