#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/measure/video_receiver.hpp>

#include "support/video_synth.hpp"

namespace {

using namespace linebench::measure;
using namespace video_synth;

struct Tally : LineMeter {
  std::uint64_t lines = 0;
  std::uint64_t bursts = 0;
  double worst_edge_ns = 0;
  double angle_sum = 0;
  int numbers_wrong = 0;
  int v_wrong = 0;
  const Wave& w;
  double rate;
  Tally(const Wave& wave, double r) : w(wave), rate(r) {}
  void line(const LineView& v) override {
    ++lines;
    const double us = rate * 1e-6 / (1 + w.clock_ppm * 1e-6);
    const double h = 1e6 / w.line_hz;
    const double t = v.t0 / us;                       // us from the start
    const double count = t / h + (w.start_line - 1);  // lines from line 1 of frame 0
    const double whole = std::round(count);
    worst_edge_ns = std::max(worst_edge_ns, std::abs(count - whole) * h * 1e3);
    const int per_frame = w.interlaced ? w.lines : w.lines / 2;
    const int number = static_cast<int>(static_cast<std::int64_t>(whole) % per_frame) + 1;
    numbers_wrong += v.line != number ? 1 : 0;
    if (v.colour_burst) {
      ++bursts;
      const double should = w.alternating ? 135 : 180;
      angle_sum += std::remainder(std::arg(v.burst) * 180 / pi - should, 360.0);
      if (w.alternating)
        v_wrong += v.v_switch != (static_cast<std::int64_t>(whole) % 2 == 0 ? 1 : -1) ? 1 : 0;
    }
  }
  void finish(const VideoSetup&, linebench::Readings&) override {}
};

struct Case {
  const char* name;
  Wave w;
  double rate;
};

void run_case(const Case& c) {
  SCOPED_TRACE(c.name);
  MemoryVideo source(c.rate, make(c.w, c.rate, 0.13));
  VideoReceiver receiver(source, {});
  ASSERT_TRUE(receiver.acquire()) << receiver.reason();
  Tally tally(c.w, c.rate);
  LineMeter* const meters[] = {&tally};
  receiver.run(meters);
  const VideoSetup& s = receiver.setup();
  std::printf(
      "  %-34s sync %.1f mV noise %.2f mV, worst 0H %.1f ns, lines %llu bursts %llu angle %.2f deg, fsc "
      "%+.2f Hz\n",
      c.name, s.sync_mv, s.noise_mv, tally.worst_edge_ns, static_cast<unsigned long long>(tally.lines),
      static_cast<unsigned long long>(tally.bursts),
      tally.bursts > 0 ? tally.angle_sum / static_cast<double>(tally.bursts) : 0.0,
      s.colour ? s.subcarrier_true_hz - c.w.subcarrier_hz * (1 + c.w.clock_ppm * 1e-6) : 0.0);
  EXPECT_EQ(s.lines, c.w.lines);
  EXPECT_EQ(s.inverted, c.w.inverted);
  EXPECT_EQ(s.interlaced, c.w.interlaced);
  EXPECT_EQ(s.lines_per_frame, c.w.interlaced ? c.w.lines : c.w.lines / 2);
  EXPECT_EQ(tally.numbers_wrong, 0);
  EXPECT_EQ(tally.v_wrong, 0);
  EXPECT_EQ(receiver.counts().missing, c.w.missing.size());
  EXPECT_NEAR(s.sync_mv, c.w.sync_mv * c.w.gain, 0.02 * c.w.sync_mv * c.w.gain + 0.1 * c.w.noise_mv);
  EXPECT_LT(tally.worst_edge_ns, 20 + 4 * c.w.noise_mv / c.w.gain + 5 * c.w.jitter_ns);
  EXPECT_EQ(s.colour, c.w.subcarrier_hz > 0 && c.w.subcarrier_hz < 0.45 * c.rate);
  if (s.colour) {
    EXPECT_EQ(s.v_alternates, c.w.alternating);
    EXPECT_NEAR(tally.angle_sum / static_cast<double>(tally.bursts), 0, 0.5 + 0.02 * c.w.noise_mv);
  }
}

Wave with_bars(Wave w) {
  w.picture = w.lines == 525 ? bars(w, 5000.0 / 7, 0.75, 0.75, 375.0 / 7) : bars(w, 700, 1.0, 0.75, 0);
  w.start_line = 100.3;
  return w;
}

TEST(Receiver, LocksToEverySystemAtManyRates) {
  for (const double rate : {10.0e6, 10.7e6, 13.5e6, 315e6 / 22, 17734475.0, 20e6, 27e6}) {
    run_case({"525 bars", with_bars(wave_525()), rate});
    run_case({"625 bars", with_bars(wave_625()), rate});
  }
}

TEST(Receiver, LocksThroughWhatGoesWrong) {
  for (const bool is_525 : {true, false}) {
    const Wave base = with_bars(is_525 ? wave_525() : wave_625());
    Wave w = base;
    w.noise_mv = 70;
    run_case({"20 dB SNR", w, 13.5e6});
    w = base;
    w.gain = 0.3;
    w.offset_mv = 900;
    run_case({"0.3 x level, dc", w, 20e6});
    w = base;
    w.gain = 3;
    w.inverted = true;
    run_case({"3 x level, inverted", w, 17e6});
    w = base;
    w.hum_pp_mv = 1000;
    w.noise_mv = 7;
    run_case({"hum 1 V pp", w, 13.5e6});
    w = base;
    w.hum_pp_mv = 600;
    w.hum_hz = 60.04;
    w.gain = 0.5;
    w.inverted = true;
    run_case({"hum over half level, inverted", w, 20e6});
    w = base;
    w.missing = {300, 301, 302, 700, 1100};
    run_case({"missing syncs", w, 13.5e6});
    w = base;
    w.clock_ppm = 500;
    run_case({"+500 ppm", w, 10.7e6});
    w.clock_ppm = -500;
    run_case({"-500 ppm", w, 27e6});
    w = base;
    w.jitter_ns = 100;
    w.noise_mv = 2;
    run_case({"jitter 100 ns", w, 20e6});
    w = base;
    w.interlaced = false;
    run_case({"not interlaced", w, 13.5e6});
    w = base;
    w.subcarrier_hz = 0;
    w.picture = flat(300);
    run_case({"no colour, grey", w, 13.5e6});
    w.picture = flat(700);
    run_case({"no colour, white", w, 13.5e6});
    w.picture = nullptr;
    run_case({"no colour, black", w, 13.5e6});
    w = base;
    run_case({"luma only, 6 MS/s", w, 6e6});
  }
}

TEST(Receiver, SaysWhenThereIsNothing) {
  std::vector<float> noise(2'000'000);
  add_noise(noise, 300, 5);
  for (const auto& samples : {noise, std::vector<float>(1'000'000, 0.2F), std::vector<float>(20000, 0.0F)}) {
    MemoryVideo source(13.5e6, samples);
    VideoReceiver receiver(source, {});
    EXPECT_FALSE(receiver.acquire());
    EXPECT_FALSE(receiver.reason().empty());
    std::printf("  %s\n", receiver.reason().c_str());
  }
}

}  // namespace
