// The waveform view: timing and levels of colour bars, and all test pictures of one capture, spoilt by known
// amounts.
#include <cmath>

#include "accuracy/card.hpp"
#include "video/measuring.hpp"
#include "video/measuring_frame.hpp"

namespace accuracy {
namespace {

using namespace video_synth;
using video_test::measured;

double rate_of(Draw& d) { return d.one_of({13.5e6, 315e6 / 22, 17734475.0, 20e6, 27e6}); }

// Sync, burst and blanking of bars: each within what real sources differ by.
std::vector<Found> bars_timing(unsigned seed) {
  Draw d(seed);
  const bool is_525 = d.coin();
  Wave w = is_525 ? wave_525() : wave_625();
  w.sync_us += d.between(-0.1, 0.1);
  w.sync_rise_ns += d.between(-10, 40);
  w.front_porch_us += d.between(-0.1, 0.2);
  w.equalising_us += d.between(-0.1, 0.1);
  w.broad_us += d.between(-0.2, 0.2);
  w.burst_from_us += d.between(-0.1, 0.1);
  w.burst_cycles += d.between(-1, 1);
  w.burst_pp_mv *= d.between(0.8, 1.2);
  w.sc_h_deg = d.between(-40, 40);
  w.gain = d.octaves(0.5, 1.5);
  w.offset_mv = d.between(-200, 200);
  w.clock_ppm = d.between(-50, 50);
  w = video_test::with_bars(w);
  w.start_line = d.between(1, w.lines);
  w.noise_mv = d.octaves(1, 15) * w.gain;
  Trial t(measured(w, rate_of(d), 0.06, seed));
  const double faster = 1 + w.clock_ppm * 1e-6;
  t.expect("video.line.frequency", w.line_hz * faster);
  t.expect("video.field.frequency", 2 * w.line_hz / w.lines * faster);
  t.expect("video.sync.amplitude", w.gain * w.sync_mv);
  t.expect("video.sync.width", w.sync_us / faster);
  t.expect("video.sync.rise", w.sync_rise_ns);
  t.expect("video.front_porch", w.front_porch_us / faster);
  t.expect("video.back_porch", (w.active_from_us - w.sync_us) / faster);
  t.expect("video.breezeway", (w.burst_from_us - w.sync_us) / faster);
  t.expect("video.blanking.level", w.offset_mv);
  t.expect("video.burst.amplitude", w.gain * w.burst_pp_mv);
  t.expect("video.burst.start", w.burst_from_us / faster);
  t.expect("video.burst.cycles", w.burst_cycles);
  t.expect("video.burst.frequency", w.subcarrier_hz * faster);
  t.expect("video.sc_h", w.sc_h_deg);
  t.expect("video.equalising.width", w.equalising_us / faster);
  t.expect("video.broad.width", w.broad_us / faster);
  if (is_525) t.expect("video.setup", w.gain * 375.0 / 7);
  t.expect("video.gain", 100 * w.gain * w.sync_mv / (is_525 ? 40000.0 / 140 : 300));
  return std::move(t).found();
}

std::vector<Found> jitter(unsigned seed) {
  Draw d(seed);
  Wave w = video_test::with_bars(d.coin() ? wave_525() : wave_625());
  w.jitter_ns = d.octaves(3, 60);
  w.noise_mv = d.octaves(1, 10);
  Trial t(measured(w, rate_of(d), 0.06, seed));
  t.expect("video.sync.jitter", w.jitter_ns);
  return std::move(t).found();
}

std::vector<Found> pictures(unsigned seed) {
  Draw d(seed);
  video_test::MeasuringOptions o;
  o.gain = d.octaves(0.6, 1.3);
  o.differential_gain = d.between(0.01, 0.15);
  o.differential_phase_deg = d.between(1, 10);
  o.chroma_delay_us = d.between(-0.1, 0.2);
  o.chroma_gain = d.between(0.8, 1.15);
  o.start_line = d.between(1, 500);
  const double rate = rate_of(d);
  video_test::MeasuringFrame frame = video_test::measuring_frame(d.coin(), rate, 0.07, o);
  add_noise(frame.samples, d.octaves(3, 25) * o.gain, seed);
  Trial t(measured(rate, std::move(frame.samples)));
  for (const auto& [id, truth] : frame.truth) t.expect(id, truth);
  for (const double hz : {1.3e6, 2.4e6, 3.1e6, 4.0e6})
    t.expect_point("video.multiburst", hz, [](double) { return 0.0; });
  return std::move(t).found();
}

// Staircases of unequal steps: y = x + c x^2.
std::vector<Found> staircase(unsigned seed) {
  Draw d(seed);
  Wave w = d.coin() ? wave_525() : wave_625();
  const double rate = rate_of(d);
  const double c = d.between(-2e-4, -3e-5);
  const int risers = d.coin() ? 5 : 10;
  const double top = 600;
  video_lines::Path path;
  path.curve = [c](double v) { return v + c * v * v; };
  const video_lines::Line line = video_lines::stairs(11.3, 60.7, risers, top, 0, 0.2);
  std::vector<float> x = clean(w, rate, 0.05);
  video_lines::add(
      x, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; }, path);
  add_noise(x, d.octaves(2, 20), seed);
  Trial t(measured(rate, std::move(x)));
  const double riser = top / risers;
  const double first = riser + c * riser * riser;
  const double last = riser + c * (top * top - (top - riser) * (top - riser));
  t.expect("video.nonlinearity", 100 * (first - last) / first);
  return std::move(t).found();
}

}  // namespace

void add_waveform_cases(std::vector<Case>& to) {
  to.push_back(
      {"waveform",
       "colour bars in 525 and 625 lines, pulses within the standards' tolerances, level 0.5 to 1.5, noise "
       "of 1 to 15 mV at full level, clock +-50 ppm, 13.5 to 27 MS/s, 60 ms",
       60, bars_timing});
  to.push_back({"waveform", "bars with line jitter of 3 to 60 ns, noise of 1 to 10 mV", 40, jitter});
  to.push_back(
      {"waveform",
       "bars, 2T pulse, staircase, modulated pulse and multiburst in one picture, level 0.6 to 1.3, known "
       "distortions, noise of 3 to 25 mV at full level, 70 ms",
       60, pictures});
  to.push_back(
      {"waveform", "staircases of 5 and 10 risers through a square law, noise of 2 to 20 mV", 40, staircase});
}

}  // namespace accuracy
