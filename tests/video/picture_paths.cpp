// The picture measures on the program's own pictures, on filtered ones and in heavy noise. The filter is an
// all-pass put into the spectrum of the whole capture (FFTW), so that what is late is the chrominance of
// everything, burst included.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstdio>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/signals/video_encoder.hpp>
#include <linebench/standards/video_colour.hpp>

#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace linebench;
using namespace video_lines;
using video_synth::add_noise;
using video_synth::clean;
using video_synth::has_picture;
using video_synth::MemoryVideo;
using video_synth::wave_525;
using video_synth::wave_625;
using video_test::get;

void expect(const Readings& r, const std::string& id, double truth, double within) {
  const Reading& x = get(r, id);
  ASSERT_TRUE(x.measured()) << id << ": " << x.reason;
  std::printf("    %-26s %10.4f  error %+8.4f  claimed %.4f (allowed %.3f) %s\n", id.c_str(), x.number(),
              x.number() - truth, x.uncertainty.value_or(0), within, x.unit.c_str());
  EXPECT_NEAR(x.number(), truth, within) << id;
}
Readings measured(std::vector<float> x, double rate, double noise_mv) {
  add_noise(x, noise_mv, 11);
  MemoryVideo source(rate, std::move(x));
  return measure::measure_video(source, {});
}

std::vector<float> encoded(const signals::PictureSpec& spec, const standards::VideoStandard& s, double rate) {
  signals::EncoderOptions o;
  o.system = s.system;
  o.sample_rate_hz = signals::exact_sample_rate(rate, s);
  signals::CompositeEncoder encoder(signals::describe(spec, s), o);
  std::vector<float> x(static_cast<std::size_t>(0.07 * rate));
  encoder.read(x);
  return x;
}

// Later by `late_us` above 3 MHz, not at all below 1.5 MHz, straight in between.
void delay_chroma(std::vector<float>& x, double rate, double late_us) {
  dsp::RealFft fft(dsp::next_fast_size(x.size() + 1000));
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  std::copy(x.begin(), x.end(), fft.input().begin());
  fft.forward();
  const double step = rate / static_cast<double>(fft.size());
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    const double f = static_cast<double>(k) * step * 1e-6;
    // Phase is the integral of the delay over frequency.
    const double cycles = f < 1.5 ? 0 : f < 3 ? late_us * (f - 1.5) * (f - 1.5) / 3 : late_us * (f - 2.25);
    fft.output()[k] *= std::polar(1.0, -2 * pi * cycles);
  }
  fft.inverse();
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] = static_cast<float>(fft.input()[i] / static_cast<double>(fft.size()));
}

TEST(VideoPicturePaths, AnAllPassDelaysChrominance) {
  for (const bool is_525 : {true, false}) {
    for (const double late_us : {-0.09, 0.17}) {
      const Wave w = is_525 ? wave_525() : wave_625();
      const double rate = 20e6;
      const Line line = modulated_at(27.7, is_525 ? 1.5625 : 2.0, 700);
      std::vector<float> x = clean(w, rate, 0.05);
      add(x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
      delay_chroma(x, rate, late_us);
      const Readings r = measured(std::move(x), rate, 7);
      expect(r, "video.chroma_delay", 1e3 * late_us, 10);
      expect(r, "video.chroma_gain", 0, 0.5);
    }
  }
}

TEST(VideoPicturePaths, TheProgramsOwnPictures) {
  for (const standards::VideoStandard* s :
       {&standards::video_525, &standards::video_525_no_setup, &standards::video_625}) {
    std::printf("  %s\n", std::string(s->name).c_str());
    const double rate = 27e6;
    for (const char* form : {"75", "100", "100-0-75-0"}) {
      signals::PictureSpec bars;
      bars.form = form;
      const Readings r = measured(encoded(bars, *s, rate), rate, 7);
      EXPECT_EQ(get(r, "video.bars.kind").text(), form);
      const double level = form[0] == '7' || form[3] == '-' ? 0.75 : 1.0;
      const auto red = standards::composite_colour(*s, {level, 0, 0});
      expect(r, "video.bars.red.luma", red.luma_mv, 0.01 * red.luma_mv);
      expect(r, "video.bars.red.chroma", red.chroma_pp_mv, 0.02 * red.chroma_pp_mv);
      expect(r, "video.bars.red.phase", red.phase_deg, 1);
    }
    signals::PictureSpec spec;
    spec.picture = "composite-line";
    Readings r = measured(encoded(spec, *s, rate), rate, 7);
    expect(r, "video.k2t", 0, 0.3);
    expect(r, "video.pulse_bar", 100, 0.5);
    expect(r, "video.line_tilt", 0, 0.2);
    expect(r, "video.differential_gain", 0, 0.4);
    expect(r, "video.differential_phase", 0, 0.4);
    expect(r, "video.chroma_delay", 0, 10);
    expect(r, "video.chroma_gain", 0, 0.5);
    spec.picture = "multiburst";
    r = measured(encoded(spec, *s, rate), rate, 7);
    ASSERT_TRUE(get(r, "video.multiburst").measured());
    EXPECT_EQ(get(r, "video.multiburst").curve().y.size(), 6U);
    for (const double db : get(r, "video.multiburst").curve().y) EXPECT_NEAR(db, 0, 0.1);
    for (const int risers : {5, 10}) {
      spec.picture = "staircase";
      spec.risers = risers;
      r = measured(encoded(spec, *s, rate), rate, 7);
      expect(r, "video.nonlinearity", 0, 0.5);
      EXPECT_EQ(get(r, "video.pattern").text(), "staircase of " + std::to_string(risers) + " risers");
    }
    spec.picture = "ramp";
    spec.subcarrier = true;
    r = measured(encoded(spec, *s, rate), rate, 7);
    expect(r, "video.differential_gain", 0, 0.5);
    expect(r, "video.differential_phase", 0, 0.5);
    // Ramps and staircases one above another are no square wave, whatever their means.
    spec = {};
    spec.picture = "bands";
    r = measured(encoded(spec, *s, 13.5e6), 13.5e6, 2);
    EXPECT_EQ(get(r, "video.field_tilt").verdict, Verdict::Unmeasurable);
    EXPECT_EQ(get(r, "video.pattern").text(), "several test lines, one above another");
    // Half of the bands end before blanking begins.
    expect(r, "video.front_porch", 1.5, 0.03);
    for (const auto& [picture, name] : {std::pair{"window", "window"},
                                        {"field-square", "field square wave"},
                                        {"crosshatch", "crosshatch"},
                                        {"red", "flat colour field"},
                                        {"flat", "white field"},
                                        {"pulse-bar", "bar and 2T pulse"}}) {
      spec.picture = picture;
      r = measured(encoded(spec, *s, 13.5e6), 13.5e6, 7);
      EXPECT_EQ(get(r, "video.pattern").text(), name) << get(r, "video.pattern").reason;
    }
  }
}

// 20 dB SNR: 70 mV rms. What is read is still right within what is claimed.
TEST(VideoPicturePaths, TwentyDecibels) {
  for (const bool is_525 : {true, false}) {
    Wave w = is_525 ? wave_525() : wave_625();
    const double rate = 17e6;
    const double white = is_525 ? 5000.0 / 7 : 700;
    const double t = is_525 ? 0.125 : 0.1;
    const Line line =
        together({pulse_at(13.5, 2 * t, white), pulse_at(15.3, 2 * t, 0.1 * white),
                  modulated_at(19.4, is_525 ? 1.5625 : 2, white), bar_from(23.3, 33.6, 2 * t, white),
                  stairs(36.8, 60.9, 5, 0.9 * white, 0.4 * white, 2 * t)});
    Path path;
    path.white_mv = white;
    path.dp_deg = 8;
    std::vector<float> x = clean(w, rate, 0.1);
    add(
        x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; }, path);
    const Readings r = measured(std::move(x), rate, 70);
    std::printf("  %s: %s\n", is_525 ? "525" : "625", get(r, "video.pattern").text().c_str());
    expect(r, "video.white", white, 0.01 * white);
    expect(r, "video.differential_phase", 7.2, 1.0);
    expect(r, "video.differential_gain", 0, 2.0);
    expect(r, "video.k2t", 10, 1.0);
    expect(r, "video.pulse_bar", 100, 2.0);
    expect(r, "video.nonlinearity", 0, 2.0);
    for (const char* id : {"video.white", "video.differential_phase", "video.k2t", "video.pulse_bar"})
      EXPECT_LE(get(r, id).uncertainty.value_or(1e9), 3) << id;
  }
}

}  // namespace
