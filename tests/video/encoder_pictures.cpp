// What the test pictures show, measured on the samples at stated instants.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "encoder_probe.hpp"

namespace {
using namespace linebench;
using namespace linebench::standards;
using probe::Signal;
using probe::us;

// sin^2 pulse: cos^2(pi t / (2 HAD)); 50 % width = HAD = 2T: 250 ns (525), 200 ns (625); peak = bar.
TEST(EncoderPictures, PulseAndBar) {
  for (const bool is_525 : {true, false}) {
    const VideoStandard& s = is_525 ? video_525 : video_625;
    const double white = is_525 ? 714.286 : 700;
    const double had = is_525 ? 250e-9 : 200e-9;
    const double centre = is_525 ? 36 : 26;
    for (const double rate : {20e6, 27e6, 31.7e6}) {
      const Signal x({.picture = "pulse-bar"}, s, rate, 0.01);
      const double t0 = x.line_start(100);
      const double tp = t0 + centre * us;
      // Up to half the rate or 13.5 MHz only: of the spectrum's side lobes beyond 5 MHz a little is lost.
      EXPECT_NEAR(x.at(tp) / white, 1.0, rate > 21e6 ? 0.001 : 0.003);
      for (const double d : {-1.0, -0.75, -0.5, -0.25, 0.25, 0.5, 0.75, 1.0}) {
        const double c = std::cos(d * std::numbers::pi / 2);
        EXPECT_NEAR(x.at(tp + d * had) / white, c * c, 0.002) << rate << " " << d;
      }
      const double up = x.crossing(tp - had, tp, white / 2);
      const double down = x.crossing(tp, tp + had, white / 2);
      EXPECT_NEAR((down - up) / had, 1.0, 0.003);
      const double on = x.crossing(t0 + 11.5 * us, t0 + 12.5 * us, white / 2);
      const double off =
          x.crossing(t0 + (is_525 ? 29.5 : 21.5) * us, t0 + (is_525 ? 30.5 : 22.5) * us, white / 2);
      EXPECT_NEAR((off - on) / us, is_525 ? 18 : 10, 0.001);
      EXPECT_NEAR(x.mean(on + 1 * us, off - 1 * us), white, 0.05);
      // 10 to 90 % of an integrated sin^2 step: 0.9644 of its half-amplitude duration.
      const double rise =
          x.crossing(on - had, on + had, 0.9 * white) - x.crossing(on - had, on + had, 0.1 * white);
      EXPECT_NEAR(rise / had, 0.9644, 0.004);
    }
  }
}

// Modulated pulse: luma and chroma with one envelope, so that its baseline is flat and its peak white: 12.5T,
// 20T.
TEST(EncoderPictures, ModulatedPulse) {
  for (const bool is_525 : {true, false}) {
    const VideoStandard& s = is_525 ? video_525 : video_625;
    const double white = is_525 ? 714.286 : 700;
    const double had = is_525 ? 1562.5e-9 : 2000e-9;
    const Signal x({.picture = "modulated-pulse"}, s, 27e6, 0.01);
    for (const int line : {98, 99}) {
      const double t0 = x.line_start(line);
      const double tp = t0 + (is_525 ? 37 : 32) * us;
      const double fsc = is_525 ? 315e6 / 88 : 4433618.75;
      const double phase = std::fmod((is_525 ? 227.5 : 283.7516) * line, 1.0);
      for (const double d : {-0.8, -0.5, -0.3, 0.0, 0.1, 0.4, 0.7}) {
        const double c = std::cos(d * std::numbers::pi / 2);
        const double envelope = c * c * white / 2;
        const double t = tp + d * had;
        // Subcarrier along -U on lines of both V senses.
        const double carrier = -std::sin(2 * std::numbers::pi * (phase + fsc * (t - t0)));
        EXPECT_NEAR(x.at(t), envelope * (1 + carrier), 1.5) << s.name << " " << d;
      }
    }
  }
}

TEST(EncoderPictures, Staircases) {
  struct Case {
    const VideoStandard* s;
    int risers;
    bool subcarrier;
    double top, pp;
  };
  const Case cases[] = {{&video_525, 5, false, 714.286, 0},       {&video_525, 5, true, 642.857, 285.714},
                        {&video_625, 5, false, 700, 0},           {&video_625, 5, true, 700, 280},
                        {&video_525, 10, true, 642.857, 285.714}, {&video_625, 10, false, 700, 0}};
  for (const Case& c : cases) {
    const Signal x({.picture = "staircase", .risers = c.risers, .subcarrier = c.subcarrier}, *c.s, 20e6,
                   0.01);
    const auto& line = x.picture.line_at(0, 100);
    ASSERT_EQ(static_cast<int>(line.elements.size()), c.risers + 1);
    const double fsc = c.s->subcarrier_hz.value();
    for (const int count : {97, 100}) {
      const double t0 = x.line_start(count);
      for (int i = 0; i <= c.risers; ++i) {
        const auto& e = line.elements[static_cast<std::size_t>(i)];
        const auto f = x.fit(t0 + (e.start_us + 0.9) * us, t0 + (e.end_us - 0.9) * us, fsc, t0);
        EXPECT_NEAR(f.mean, c.top * i / c.risers, 0.4) << i;
        EXPECT_NEAR(f.pp(), c.pp, 0.5) << i;
        if (c.subcarrier) {
          const double expected = 180 + 360 * std::fmod(c.s->subcarrier_cycles_per_line.value() * count, 1.0);
          EXPECT_NEAR(std::remainder(f.deg() - expected, 360), 0, 0.1);
        }
      }
    }
  }
}

TEST(EncoderPictures, RampIsStraight) {
  for (const bool subcarrier : {false, true}) {
    const Signal x({.picture = "ramp", .subcarrier = subcarrier}, video_625, 20e6, 0.01);
    const auto& e = x.picture.line_at(0, 100).elements.at(1);
    const double t0 = x.line_start(100);
    for (double share = 0.05; share < 0.96; share += 0.1) {
      const double t = e.start_us + share * (e.end_us - e.start_us);
      const double half = 2 / 4.43361875;  // four cycles of subcarrier, whole: the mean is the ramp's
      const auto f = x.fit(t0 + (t - half) * us, t0 + (t + half) * us, 4433618.75, t0);
      EXPECT_NEAR(f.mean, 700 * share, 1.0) << share;
      EXPECT_NEAR(f.pp(), subcarrier ? 280 : 0, 5) << share;
      if (!subcarrier) {
        EXPECT_NEAR(x.at(t0 + t * us), 700 * share, 0.1);
      }
    }
  }
}

// Packets: frequency, amplitude and pedestal of every one. 525: 50 IRE p-p on 50 IRE; 625: 420 mV p-p on 350
// mV.
TEST(EncoderPictures, Multiburst) {
  const double f525[] = {0.5e6, 1e6, 2e6, 3e6, 3.58e6, 4.2e6};
  const double f625[] = {0.5e6, 1e6, 2e6, 4e6, 4.8e6, 5.8e6};
  for (const bool is_525 : {true, false}) {
    for (const double rate : {13.5e6, 27e6}) {
      const Signal x({.picture = "multiburst"}, is_525 ? video_525 : video_625, rate, 0.01);
      const auto& line = x.picture.line_at(0, 100);
      int packets = 0;
      for (const auto& e : line.elements) {
        if (e.shape != signals::ElementShape::Packet) continue;
        const double hz = is_525 ? f525[packets] : f625[packets];
        ++packets;
        EXPECT_DOUBLE_EQ(e.frequency_hz, hz);
        for (const int count : {99, 100}) {
          const double t0 = x.line_start(count);
          const double from = t0 + (e.start_us + 0.9) * us;
          const double cycles = std::floor((e.end_us - e.start_us - 1.8) * us * hz);
          const double to = hz < 1e6 ? t0 + (e.end_us - 0.9) * us : from + cycles / hz;
          const auto f = x.fit(from, to, hz, t0 + e.start_us * us);
          EXPECT_NEAR(f.pp() / (is_525 ? 357.14 : 420), 1, 0.01) << hz << " at " << rate;
          EXPECT_NEAR(f.mean, is_525 ? 357.14 : 350, 3) << hz;
          EXPECT_NEAR(std::remainder(f.deg(), 360), 0, 1.0) << hz;  // sine from the packet's start
        }
      }
      EXPECT_EQ(packets, 6);
    }
  }
}

TEST(EncoderPictures, FieldsOverTime) {
  // Field square wave: black, white, black down the field; both fields alike.
  const Signal x({.picture = "field-square"}, video_625, 13.5e6, 0.0401);
  const auto mid = [&](int line) { return x.at(x.line_start(line - 1) + 35 * us); };
  for (const int line : {40, 80, 270, 300, 350, 390, 580, 610}) EXPECT_NEAR(mid(line), 0, 0.1) << line;
  for (const int line : {110, 200, 230, 420, 500, 540}) EXPECT_NEAR(mid(line), 700, 0.1) << line;
  // Window: the middle half of the middle half.
  const Signal w({.picture = "window", .level_percent = 80}, video_525, 13.5e6, 0.034);
  EXPECT_NEAR(w.at(w.line_start(139) + 35.7 * us), 7.142857 * (7.5 + 92.5 * 0.8), 0.3);
  EXPECT_NEAR(w.at(w.line_start(139) + 15 * us), 53.57, 0.1);
  EXPECT_NEAR(w.at(w.line_start(39) + 35.7 * us), 53.57, 0.1);
  // Bounce: two levels in turn, each for its time.
  const Signal b({.picture = "bounce", .low_percent = 10, .high_percent = 90, .seconds = 0.1}, video_625,
                 10e6, 0.24);
  const auto level = [&](double seconds) {
    return b.at(b.line_start(static_cast<std::int64_t>(seconds * 15625)) + 35 * us);
  };
  EXPECT_NEAR(level(0.03), 70, 0.2);  // frame 0, and 2 or 3 frames of 40 ms make 0.1 s
  EXPECT_NEAR(level(0.21), 630, 0.2);
}

// A filter of 5 MHz asked for is the same filter at every rate that holds it: samples at common instants
// agree.
TEST(EncoderPictures, OneWaveformWhateverTheRate) {
  for (const char* picture : {"bars", "bands", "multiburst", "crosshatch", "red"}) {
    const Signal a({.picture = picture}, video_625, 13.5e6, 0.03, 5e6);
    const Signal b({.picture = picture}, video_625, 40.5e6, 0.03, 5e6);
    double worst = 0;
    for (std::size_t i = 0; i < a.v.size(); ++i) {
      worst = std::max(worst, static_cast<double>(std::abs(a.v[i] - b.v[3 * i])));
    }
    EXPECT_LT(worst, 10e-6) << picture;
    EXPECT_GT(*std::max_element(a.v.begin(), a.v.end()), 0.1F) << picture;
  }
}

// Composite sync for a sound card: at 48, 96 and 192 kHz, 625: field rate and the mean level of sync are
// right.
TEST(EncoderPictures, SyncForASoundCard) {
  for (const double rate : {48e3, 96e3, 192e3}) {
    const Signal x({.picture = "sync"}, video_625, rate, 2.0);
    // Mean of composite sync: (610 line syncs of 4.7, 20 of 2.35, 10 of 27.3 us) x 0.3 V in 40 ms.
    const double mean = -300 * (610 * 4.7 + 20 * 2.35 + 10 * 27.3) / 40000;
    EXPECT_NEAR(x.mean(0.02, 1.98), mean, 0.05) << rate;
    // The 50 Hz component by the Fourier sum over one frame's pulses, and nothing beside it.
    std::complex<double> sum = 0;
    const double w = 2 * std::numbers::pi * 50e-6;  // per us
    for (int half = 0; half < 1250; ++half) {
      const int h = half % 625;  // both fields alike but for the line syncs, which stand on whole lines
      const bool broad = h < 5;
      const bool equalising = (h >= 5 && h < 10) || h >= 620;
      if (!broad && !equalising && half % 2 != 0) continue;
      const double a = 32.0 * half;
      const double b = a + (broad ? 27.3 : equalising ? 2.35 : 4.7);
      sum += -300.0 * (std::polar(1.0, -w * b) - std::polar(1.0, -w * a)) / std::complex<double>(0, -w) /
             40000.0;
    }
    const auto at = [&](double hz) { return x.fit(0.5, 1.5 - 1 / rate, hz, 0).pp(); };
    EXPECT_NEAR(at(50), 4 * std::abs(sum), 0.02) << rate;
    EXPECT_GT(at(50), 5) << rate;
    EXPECT_LT(at(51), 0.02 * at(50)) << rate;
    // Line rate is there wherever the card carries it.
    EXPECT_GT(at(15625), 10) << rate;
    // The broad pulses' plateau: deeper than anything else.
    const auto lowest = std::min_element(x.v.begin() + 2000, x.v.end()) - x.v.begin();
    const double field = std::fmod(static_cast<double>(lowest) / rate, 0.02);
    EXPECT_LT(std::min(field, 0.02 - field), 250e-6) << rate;
  }
}

// What describe() says fits what the system allows: inside the active line, sorted, rows covered once.
TEST(EncoderPictures, DescriptionsAreSound) {
  for (const VideoStandard* s : video_standards()) {
    for (const auto name : signals::picture_names()) {
      const auto p = signals::describe({.picture = std::string(name)}, *s);
      int next = 0;
      for (const auto& band : p.bands) {
        EXPECT_EQ(band.first_row, next) << name;
        EXPECT_GE(band.last_row, band.first_row) << name;
        next = band.last_row + 1;
        double last = 0;
        for (const auto& e : band.line.elements) {
          EXPECT_GE(e.start_us, last) << name << " " << e.name;
          EXPECT_GE(e.start_us, s->active_start_us.nominal - 1e-9) << name << " " << e.name;
          EXPECT_LE(e.end_us, s->active_end_us() + 1e-9) << name << " " << e.name;
          EXPECT_GT(e.end_us, e.start_us) << name << " " << e.name;
          EXPECT_FALSE(e.name.empty());
          last = e.start_us;
        }
      }
      EXPECT_EQ(next, s->active_rows) << name;
    }
  }
}

}  // namespace
