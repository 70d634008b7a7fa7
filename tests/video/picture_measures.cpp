// The picture measures against waveforms written out in closed form (support/video_lines.hpp) with known
// distortion. Positions, durations and order are not those of the program's own pictures. Bounds are the
// issue's.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <linebench/measure/video.hpp>

#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace linebench;
using namespace video_lines;
using video_synth::add_noise;
using video_synth::clean;
using video_synth::MemoryVideo;
using video_synth::wave_525;
using video_synth::wave_625;
using video_test::get;

const std::vector<double> rates = {13.5e6, 315e6 / 22, 17734475.0, 20e6, 25e6, 27e6, 40e6};

void expect(const Readings& r, const std::string& id, double truth, double within) {
  const Reading& x = get(r, id);
  if (!x.measured()) {
    ADD_FAILURE() << id << ": " << x.reason;
    return;
  }
  std::printf("    %-26s %10.4f  error %+8.4f  claimed %.4f (allowed %.3f) %s\n", id.c_str(), x.number(),
              x.number() - truth, x.uncertainty.value_or(0), within, x.unit.c_str());
  EXPECT_NEAR(x.number(), truth, within) << id;
  EXPECT_LE(std::abs(x.number() - truth), 2 * x.uncertainty.value_or(1e9)) << id << ": claimed too little";
}

Readings measured(std::vector<float> x, double rate, double noise_mv, unsigned seed = 5) {
  add_noise(x, noise_mv, seed);
  MemoryVideo source(rate, std::move(x));
  return measure::measure_video(source, {});
}

bool in_picture(const Wave& w, int line) { return video_synth::has_picture(w, line); }

double white_of(const Wave& w) { return w.lines == 525 ? 5000.0 / 7 : 700.0; }

// Bar, 2T pulse, modulated pulse and staircase with subcarrier; not where any insertion line has them.
Line measuring_line(const Wave& w, int risers) {
  const double t = w.lines == 525 ? 0.125 : 0.1;
  const double white = white_of(w);
  const double top = w.lines == 525 ? 0.9 * white : white;
  return together({pulse_at(14.6, 2 * t, white),
                   modulated_at(20.3, w.lines == 525 ? 12.5 * t : 20 * t, white),
                   bar_from(24.1, 33.9, 2 * t, white),
                   stairs(37.2, 61.3, risers, top, w.lines == 525 ? 0.4 * white : 280, 2 * t)});
}

TEST(VideoPictureMeasures, MeasuringLineAtEveryRate) {
  for (const double rate : rates) {
    for (const bool is_525 : {true, false}) {
      Wave w = is_525 ? wave_525() : wave_625();
      w.start_line = 41.3;
      Path path;
      path.white_mv = white_of(w);
      path.chroma_delay_us = 0.083;
      path.chroma_gain = 0.92;
      path.dg = 0.06;
      path.dp_deg = 4.2;
      const Line line = measuring_line(w, is_525 ? 5 : 10);
      std::vector<float> x = clean(w, rate, 0.05);
      add(
          x, w, rate, [&](int n) { return in_picture(w, n) ? &line : nullptr; }, path);
      std::printf("  %s at %.3f MS/s\n", is_525 ? "525" : "625", rate * 1e-6);
      const Readings r = measured(std::move(x), rate, 7);
      const double top = is_525 ? 0.9 : 1.0;
      expect(r, "video.differential_gain", 100 * path.dg * top, 0.4);
      expect(r, "video.differential_phase", path.dp_deg * top, 0.4);
      expect(r, "video.nonlinearity", 0, 0.5);
      // The modulated pulse goes through the same differential gain, by a luminance that is early: that
      // moves its chrominance by a nanosecond.
      EXPECT_NEAR(get(r, "video.chroma_delay").number(), 83, 10);
      expect(r, "video.k2t", 0, 0.3);
      expect(r, "video.pulse_bar", 100, 0.5);
      expect(r, "video.line_tilt", 0, 0.2);
      expect(r, "video.white", white_of(w), 0.005 * white_of(w));
      EXPECT_NE(get(r, "video.pattern").text().find("2T pulse"), std::string::npos)
          << get(r, "video.pattern").text();
    }
  }
}

// A ramp counts from its dark end to its bright one, however long it holds either and wherever its subcarrier
// begins and stops; falling ones too.
TEST(VideoPictureMeasures, RampToItsVeryEnds) {
  struct Ramp {
    double from, to;        // where it leaves black and reaches white, us
    double on_from, on_to;  // its subcarrier
    bool falling;
  };
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    w.start_line = 41.3;
    const double a = w.active_from_us;
    const double b = 1e6 / w.line_hz - w.front_porch_us;
    Path path;
    path.white_mv = white_of(w);
    path.dg = -0.1;
    path.dp_deg = 5;
    for (const Ramp& r :
         {Ramp{a, b, a, b, false}, Ramp{a + 1, b - 1, a + 1, b - 1.6, false}, Ramp{a + 6, b - 5, a, b, false},
          Ramp{a + 3, b, a + 5, b - 4, false}, Ramp{a + 2, b - 2, a, b, true}}) {
      for (const double rate : {13.5e6, 27e6}) {
        const Line line = [&](double t, Point& p) {
          const double x = std::clamp((t - r.from) / (r.to - r.from), 0.0, 1.0);
          p.y += white_of(w) * (r.falling ? 1 - x : x) * bar(t, a, b, 0.2);
          p.u -= 140 * bar(t, r.on_from, r.on_to, 0.4);
          p.v_fixed = true;
        };
        std::vector<float> x = clean(w, rate, 0.06);
        add(
            x, w, rate, [&](int n) { return in_picture(w, n) ? &line : nullptr; }, path);
        const Readings got = measured(std::move(x), rate, 5);
        expect(got, "video.differential_gain", 100 * (1 / 0.9 - 1), 0.4);
        expect(got, "video.differential_phase", 5, 0.2);
      }
    }
  }
}

TEST(VideoPictureMeasures, ChromaGainAndDelayOfEitherSign) {
  for (const bool is_525 : {true, false}) {
    for (const double delay_ns : {-120.0, 0.0, 35.0, 240.0}) {
      Wave w = is_525 ? wave_525() : wave_625();
      Path path;
      path.chroma_delay_us = delay_ns * 1e-3;
      path.chroma_gain = delay_ns < 0 ? 1.15 : 0.8;
      const Line line = measuring_line(w, 5);
      std::vector<float> x = clean(w, 20e6, 0.05);
      add(
          x, w, 20e6, [&](int n) { return in_picture(w, n) ? &line : nullptr; }, path);
      const Readings r = measured(std::move(x), 20e6, 7);
      expect(r, "video.chroma_delay", delay_ns, 10);
      expect(r, "video.chroma_gain", 100 * (path.chroma_gain - 1), 0.5);
    }
  }
}

// y = x + c x^2 on levels L_i, each with subcarrier of amplitude A: luminance L + c L^2 + c A^2 / 2,
// chrominance A (1 + 2 c L).
TEST(VideoPictureMeasures, SquareLawOnStaircases) {
  for (const bool is_525 : {true, false}) {
    for (const int risers : {5, 10}) {
      for (const double chroma_pp : {0.0, 200.0}) {
        Wave w = is_525 ? wave_525() : wave_625();
        const double c = -1.3e-4;  // per mV
        const double top = 600;
        Path path;
        path.curve = [c](double v) { return v + c * v * v; };
        const Line line = stairs(11.3, 60.7, risers, top, chroma_pp, 0.2);
        std::vector<float> x = clean(w, 17e6, 0.05);
        add(
            x, w, 17e6, [&](int n) { return in_picture(w, n) ? &line : nullptr; }, path);
        const Readings r = measured(std::move(x), 17e6, 7);
        std::printf("  %s %d risers, %.0f mV\n", is_525 ? "525" : "625", risers, chroma_pp);
        const double riser = top / risers;
        const double first = riser + c * riser * riser;
        const double last = riser + c * (top * top - (top - riser) * (top - riser));
        expect(r, "video.nonlinearity", 100 * (first - last) / first, 0.5);
        if (chroma_pp > 0) {
          expect(r, "video.differential_gain", 100 * (1 / (1 + 2 * c * top) - 1), 0.4);
          expect(r, "video.differential_phase", 0, 0.4);
        } else {
          EXPECT_EQ(get(r, "video.differential_gain").verdict, Verdict::Unmeasurable);
        }
      }
    }
  }
}

// One echo: its lobe is the pulse again, a times as high, weighted by the graticule: away / 8T, at most 1.
TEST(VideoPictureMeasures, EchoInTheRatingOfThePulse) {
  for (const bool is_525 : {true, false}) {
    const double t = is_525 ? 0.125 : 0.1;
    const double rate = 20e6;  // 50 ns a sample
    for (const int delay : {9, 14, 22, 33}) {
      for (const double a : {0.05, -0.12}) {
        Wave w = is_525 ? wave_525() : wave_625();
        const Line line =
            together({pulse_at(20.45, 2 * t, white_of(w)), bar_from(30.2, 44.7, 2 * t, white_of(w))});
        std::vector<float> x = clean(w, rate, 0.05);
        add(x, w, rate, [&](int n) { return in_picture(w, n) ? &line : nullptr; });
        for (std::size_t k = x.size(); k-- > static_cast<std::size_t>(delay);)
          x[k] += static_cast<float>(a) * x[k - static_cast<std::size_t>(delay)];
        const double d_us = delay / 20.0;
        std::printf("  %s, echo %+.2f at %.2f us\n", is_525 ? "525" : "625", a, d_us);
        double lobe = 0;
        for (double away = 2 * t; away < d_us + 2 * t; away += 0.001)
          lobe = std::max(lobe, std::abs(a) * pulse(away - d_us, 2 * t) * std::min(1.0, away / (8 * t)));
        expect(measured(std::move(x), rate, 7), "video.k2t", 100 * lobe, 0.3);
      }
    }
  }
}

TEST(VideoPictureMeasures, PulseToBarOfAPathThatLosesTheTop) {
  for (const bool is_525 : {true, false}) {
    const double t = is_525 ? 0.125 : 0.1;
    for (const double height : {0.85, 1.1}) {
      Wave w = is_525 ? wave_525() : wave_625();
      const double white = white_of(w);
      const Line line = together({pulse_at(47.2, 2 * t, height * white), bar_from(15, 38, 2 * t, white)});
      std::vector<float> x = clean(w, 25e6, 0.05);
      add(x, w, 25e6, [&](int n) { return in_picture(w, n) ? &line : nullptr; });
      expect(measured(std::move(x), 25e6, 7), "video.pulse_bar", 100 * height, 0.5);
    }
  }
}

// First-order high-pass of long time constant: a level L over the mean M falls by (L - M) (1 - e^(-t / tau)).
TEST(VideoPictureMeasures, LineTilt) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    const double rate = 13.5e6;
    const double tau_us = 300;
    const double from = 18.2;
    const double to = 36.6;
    const Line line = bar_from(from, to, 0.2, white_of(w));
    std::vector<float> x = clean(w, rate, 0.06);
    add(x, w, rate, [&](int n) { return in_picture(w, n) ? &line : nullptr; });
    double z = 0;
    const double part = 1 - std::exp(-1e6 / rate / tau_us);
    double mean = 0;
    for (float& v : x) {
      z += part * (static_cast<double>(v) - z);
      v -= static_cast<float>(z);
    }
    // Mean over the line, mV: bar and sync.
    const double h = 1e6 / w.line_hz;
    mean = (white_of(w) * (to - from) - w.sync_mv * w.sync_us) / h;
    // z swings round the mean by what the line's own shape makes of it: at the bar it rises through the mean.
    const double fall = (white_of(w) - mean) * (1 - std::exp(-(to - from - 2) / tau_us));
    expect(measured(std::move(x), rate, 7), "video.line_tilt", 100 * fall / white_of(w), 0.3);
  }
}

TEST(VideoPictureMeasures, FieldTilt) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    const double rate = 13.5e6;
    const double tau_us = 60e3;
    const Line line = bar_from(w.active_from_us + 3, 1e6 / w.line_hz - 6, 0.2, white_of(w));
    const int half = w.lines / 2 + 1;
    const int from = 70;
    const int to = 201;
    // Whole frames, so that the mean is that of one.
    std::vector<float> x = clean(w, rate, 9 * w.lines / w.line_hz);
    add(x, w, rate, [&](int n) {
      const int in_field = n > half ? n - half : n;
      return in_field >= from && in_field <= to ? &line : nullptr;
    });
    double z = 0;  // as after a long time: the mean
    for (const float v : x) z += static_cast<double>(v) / static_cast<double>(x.size());
    const double part = 1 - std::exp(-1e6 / rate / tau_us);
    for (float& v : x) {
      z += part * (static_cast<double>(v) - z);
      v -= static_cast<float>(z);
    }
    // Read off the samples themselves: the middle of the bright lines, 250 us from either end, eighth frame.
    const double h = 1e6 / w.line_hz;
    const auto at = [&](int n) {
      const double us = (7.0 * w.lines + n - 1) * h + 36;
      return static_cast<double>(x[static_cast<std::size_t>(us * rate * 1e-6)]) * 1e3;
    };
    const int margin = 4;
    const double fall = at(from + margin) - at(to - margin);
    expect(measured(std::move(x), rate, 7), "video.field_tilt", 100 * fall / white_of(w), 0.3);
  }
}

}  // namespace
