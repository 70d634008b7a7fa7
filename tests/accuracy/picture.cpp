// Frames of a grabber.
#include <cmath>
#include <numbers>

#include "accuracy/card.hpp"
#include "support/frame_synth.hpp"

namespace accuracy {
namespace {

using frame_synth::measure;
using frame_synth::Scene;

// Bars with edges as sharp as grabbers' filters leave them: rms width 0.5 to 1.1 px.
frame_synth::Line bars_with_edges(double width_px, double white) {
  return [=](double x) {
    double v = frame_synth::bar_luma(0, white, 0.75);
    for (int b = 1; b < 8; ++b)
      v += (frame_synth::bar_luma(b, white, 0.75) - frame_synth::bar_luma(b - 1, white, 0.75)) * 0.5 *
           (1 + std::erf((x - b * 90) / (std::numbers::sqrt2 * width_px)));
    return v;
  };
}

std::vector<Found> hum(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.lines = d.coin() ? 625 : 525;
  s.line = frame_synth::flat(d.between(0.3, 0.7));
  s.noise = d.octaves(1, 5);
  s.hum_percent = d.octaves(0.4, 5);
  s.hum_hz = d.between(49.5, 50.5);
  s.hum_phase = d.between(0, 6);
  const int frames = d.coin() ? 10 : 25;
  const double field_hz = s.lines == 625 ? 50 : 60000.0 / 1001;
  // Noise of so many codes and the rounding of a code, over all pixels; amplitude in codes.
  const double variance = s.noise * s.noise + 1.0 / 12;
  const double n = static_cast<double>(frames) * s.width * s.height();
  const double a = 2.19 * s.hum_percent / 2;
  const double seconds = frames / s.format().frame_rate_hz;
  Trial t(measure(s, frames, seed));
  t.expect("picture.hum.level", s.hum_percent, 2 * std::sqrt(2 * variance / n) / 2.19);
  const double hz_bound = std::sqrt(24 * variance / (a * a * n)) / (2 * std::numbers::pi * seconds);
  t.expect("picture.hum.frequency", s.hum_hz, hz_bound);
  t.expect("picture.hum.bar_rate", s.hum_hz - field_hz, hz_bound);
  return std::move(t).found();
}

std::vector<Found> noise_and_jitter(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.noise = d.octaves(1, 4);
  s.line = bars_with_edges(d.between(0.5, 1.1), 1);
  Trial t(measure(s, 4, seed));
  const double n = 4.0 * s.width * s.height();
  t.expect("picture.noise", s.noise, s.noise / std::sqrt(2 * n));
  t.expect("picture.snr", 20 * std::log10(219 / s.noise));
  s.jitter = d.octaves(0.05, 0.5);
  Trial moved(measure(s, 6, seed));
  moved.expect("picture.jitter", s.jitter);
  std::vector<Found> all = std::move(t).found();
  for (Found& f : std::move(moved).found()) all.push_back(std::move(f));
  return all;
}

std::vector<Found> levels(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.coloured_bars = true;
  s.noise = d.one_of({0, 1, 2});
  s.gain = d.between(0.85, 1.05);
  s.offset = d.between(0, 4);
  const double sent_saturation = d.between(0.8, 1.2);
  const double sent_hue = d.between(-10, 10);
  // Sources keep their colours rounded to codes: by table, bars of 75 % [BT.601] turn by 0.2 degrees so.
  std::mt19937 random(seed);
  s.saturation = sent_saturation + std::normal_distribution<double>(0, 0.002)(random);
  s.hue_deg = sent_hue + std::normal_distribution<double>(0, 0.12)(random);
  Trial t(measure(s, 2, seed));
  t.expect("picture.luma.gain", 100 * s.gain);
  t.expect("picture.luma.black", 16 + s.offset);
  t.expect("picture.luma.black_mv", 700 * s.offset / 219);
  t.expect("picture.luma.white", 16 + s.offset + 219 * s.gain);
  t.expect("picture.luma.white_mv", 700 * (219 * s.gain + s.offset) / 219);
  t.expect("picture.saturation", sent_saturation);
  t.expect("picture.hue", sent_hue);
  t.expect("picture.bars.green.luma", 16 + s.offset + 219 * s.gain * 0.75 * 0.587);
  t.expect("picture.bars.red.luma", 16 + s.offset + 219 * s.gain * 0.75 * 0.299);
  t.expect("picture.bars.red.luma_mv", 700 * (219 * s.gain * 0.75 * 0.299 + s.offset) / 219);
  return std::move(t).found();
}

std::vector<Found> echo(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.line = d.coin() ? frame_synth::window() : bars_with_edges(d.between(0.45, 1.1), 1);
  s.noise = d.octaves(1, 4);
  s.gain = 0.9;
  s.offset = 4;
  s.echo_px = d.between(9, 59);
  s.echo_gain = d.octaves(0.02, 0.1) * (d.coin() ? 1 : -1);
  Trial t(measure(s, 3, seed));
  const double us = s.echo_px / 13.5;
  t.expect("picture.echo.delay", 1e3 * us);
  t.expect("picture.echo.level", 20 * std::log10(std::abs(s.echo_gain)));
  t.expect("picture.echo.distance", 0.5 * us * 0.66 * 299.792458);
  return std::move(t).found();
}

std::vector<Found> moved(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.noise = d.octaves(1, 3);
  s.picture = frame_synth::landscape;
  s.roll = d.between(-6, 6);
  Trial rolled(measure(s, 8, seed));
  rolled.expect("picture.roll", s.roll);
  Scene torn;
  torn.noise = d.octaves(1, 3);
  torn.tear_px = d.between(1, 15) * (d.coin() ? 1 : -1);
  Trial tear(measure(torn, 6, seed));
  tear.expect("picture.tear", std::abs(torn.tear_px));
  Scene bent;
  bent.noise = d.octaves(1, 3);
  bent.flag_px = d.between(1, 12) * (d.coin() ? 1 : -1);
  Trial flag(measure(bent, 6, seed));
  flag.expect("picture.flagging", bent.flag_px);
  std::vector<Found> all = std::move(rolled).found();
  for (Trial* t : {&tear, &flag}) {
    for (Found& f : std::move(*t).found()) all.push_back(std::move(f));
  }
  return all;
}

// Packets of 420 mV with a known loss.
std::vector<Found> multiburst(unsigned seed) {
  Draw d(seed);
  const double hz[] = {0.5e6, 1e6, 2e6, 4e6, 4.8e6, 5.8e6};
  double loss[6] = {};
  for (int i = 1; i < 6; ++i) loss[i] = loss[i - 1] - d.between(0, 1.5);
  Scene s;
  s.noise = d.octaves(1, 3);
  s.line = [&](double x) {
    double v = 0.5 + 0.3 * (frame_synth::step(x, 20) - frame_synth::step(x, 60)) -
               0.3 * (frame_synth::step(x, 60) - frame_synth::step(x, 100));
    for (int i = 0; i < 6; ++i) {
      const double from = 110 + i * 100;
      const double gate = frame_synth::step(x, from) - frame_synth::step(x, from + 80);
      v += 0.3 * std::pow(10, loss[i] / 20) * gate *
           std::sin(2 * std::numbers::pi * hz[i] * (x - from) / 13.5e6);
    }
    return v;
  };
  Trial t(measure(s, 4, seed));
  for (int i = 1; i < 6; ++i) t.expect_point("picture.multiburst", hz[i], [&](double) { return loss[i]; });
  return std::move(t).found();
}

// Of whole rows, and what is the same in each frame.
std::vector<Found> shared_noise(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.lines = d.coin() ? 625 : 525;
  s.line = frame_synth::flat(d.between(0.3, 0.7));
  s.noise = d.octaves(0.7, 3);
  s.row_noise = d.octaves(0.5, 4);
  s.stands = d.octaves(0.5, 4);
  Trial t(measure(s, 8, seed));
  t.expect("picture.noise.rows", s.row_noise);
  t.expect("picture.noise.fixed", s.stands);
  return std::move(t).found();
}

// A carrier or a supply on a flat field or on bars.
std::vector<Found> periodic(unsigned seed) {
  Draw d(seed);
  Scene s;
  s.lines = d.coin() ? 625 : 525;
  s.coloured_bars = d.coin();
  s.line = s.coloured_bars ? frame_synth::bars(0.75, 0.75) : frame_synth::flat(d.between(0.3, 0.7));
  s.noise = d.octaves(1, 3);
  s.tone_percent = d.octaves(0.3, 3);
  s.tone_hz = d.octaves(50e3, 3.4e6);
  const int frames = 12;
  Trial t(measure(s, frames, seed));
  // Of what is taken of it: six fields.
  const double variance = s.noise * s.noise + 1.0 / 12;
  const double n = 6.0 * s.width * s.height() / 2;
  t.expect("picture.noise.periodic.level", s.tone_percent, 2 * std::sqrt(2 * variance / n) / 2.19);
  t.expect("picture.noise.periodic.frequency", s.tone_hz);
  return std::move(t).found();
}

}  // namespace

void add_picture_cases(std::vector<Case>& to) {
  to.push_back({"picture",
                "hum of 0.4 to 5 % on grey, 525 and 625 lines, noise of 1 to 5 codes, 10 or 25 frames", 60,
                hum});
  to.push_back({"picture", "bars, noise of 1 to 4 codes, line jitter of 0.05 to 0.5 px, 4 and 6 frames", 60,
                noise_and_jitter});
  to.push_back({"picture",
                "coloured bars, gain 0.85 to 1.05, hue +-10 degrees, noise of 0 to 2 codes, 2 frames", 80,
                levels});
  to.push_back({"picture",
                "one echo of 2 to 10 % at 0.7 to 4.4 us, either sign, noise of 1 to 4 codes, 3 frames", 60,
                echo});
  to.push_back({"picture",
                "rolling by up to 6 lines a frame, torn by 1 to 15 px, bent by 1 to 12 px, noise of 1 to 3 "
                "codes",
                40, moved});
  to.push_back({"picture",
                "a steady tone of 0.3 to 3 % at 50 kHz to 3.4 MHz on grey or bars, 525 and 625 lines, noise "
                "of 1 to 3 codes, 12 frames",
                40, periodic});
  to.push_back(
      {"picture", "multiburst that falls by up to 7.5 dB, noise of 1 to 3 codes, 4 frames", 40, multiburst});
  to.push_back({"picture",
                "noise of whole rows and noise that stands still, 0.5 to 4 codes each, beside 0.7 to 3 "
                "codes, 8 frames",
                40, shared_noise});
}

}  // namespace accuracy
