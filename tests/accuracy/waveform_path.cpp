// The waveform view: what the path adds, noise, tones, hum, echoes, loss of cable.
#include <cmath>
#include <numbers>

#include "accuracy/bounds.hpp"
#include "accuracy/card.hpp"
#include "video/measuring.hpp"

namespace accuracy {
namespace {

using namespace video_synth;
using video_test::measured;

double white_mv(const Wave& w) { return w.lines == 525 ? 5000.0 / 7 : 700.0; }
double band_hz(const Wave& w) { return w.lines == 525 ? 4.2e6 : 5e6; }

// Loss of the unified weighting for white noise, dB [J.61, formula from memory; 7.4 dB in 5 MHz is known from
// outside, and tests/video/noise.cpp holds the reading to scipy's integral].
double weighting_db(double top_hz) {
  constexpr double tau = 245e-9;
  constexpr double a = 4.5;
  double all = 0;
  double weighted = 0;
  for (double hz = 500; hz < top_hz; hz += 1000) {
    const double w = 2 * pi * hz;
    all += 1;
    weighted += (1 + std::pow(w * tau / a, 2)) / (1 + std::pow((1 + 1 / a) * w * tau, 2));
  }
  return 10 * std::log10(all / weighted);
}

std::vector<Found> noise(unsigned seed) {
  Draw d(seed);
  Wave w = video_test::with_bars(d.coin() ? wave_525() : wave_625());
  if (d.coin()) w.picture = flat(350);
  const double rate = d.one_of({13.5e6, 17734475.0, 20e6});
  w.noise_mv = d.octaves(0.5, 60);
  w.start_line = d.between(1, 500);
  const double rms = w.noise_mv * std::sqrt(band_hz(w) / (rate / 2));
  const double n = 0.06 * rate * band_hz(w) / (rate / 2);
  Trial t(measured(w, rate, 0.06, seed));
  t.expect("video.noise", rms, rms / std::sqrt(2 * n));
  const double ratio = 20 * std::log10(white_mv(w) / rms);
  t.expect("video.snr.unweighted", ratio);
  t.expect("video.snr.weighted", ratio + weighting_db(band_hz(w)));
  return std::move(t).found();
}

std::vector<Found> tone(unsigned seed) {
  Draw d(seed);
  Wave w = d.coin() ? wave_525() : wave_625();
  w.picture = flat(350);
  const double rate = 13.5e6;
  w.noise_mv = d.octaves(2, 20);
  const double hz = d.octaves(70e3, 3e6);
  const double pp = d.octaves(3, 30);
  std::vector<float> v = make(w, rate, 0.1, seed);
  video_test::add_tone(v, rate, hz, pp, d.between(0, 6));
  Trial t(measured(rate, std::move(v)));
  t.expect("video.noise.periodic.frequency", hz);
  t.expect("video.noise.periodic.level", pp);
  return std::move(t).found();
}

std::vector<Found> hum(unsigned seed) {
  Draw d(seed);
  Wave w = video_test::with_bars(d.coin() ? wave_525() : wave_625());
  w.hum_hz = d.one_of({49.5, 50.5, 59.4, 60.5}) + d.between(-0.2, 0.2);
  w.hum_pp_mv = d.octaves(10, 300);
  w.noise_mv = d.octaves(1, 10);
  const double rate = 13.5e6;
  Trial t(measured(w, rate, 0.2, seed));
  t.expect("video.hum.level", w.hum_pp_mv);
  t.expect("video.hum.harmonic.1", w.hum_pp_mv);
  t.expect("video.hum.frequency", w.hum_hz);
  return std::move(t).found();
}

std::vector<Found> echo(unsigned seed) {
  Draw d(seed);
  Wave w = d.coin() ? wave_525() : wave_625();
  w = d.coin() ? video_test::with_bars(w) : video_test::with_white(w);
  const double rate = d.one_of({13.5e6, 17734475.0, 27e6});
  const double db = d.between(-28, -18);
  const double sign = d.coin() ? 1 : -1;
  const double us = d.octaves(0.4, 6);
  std::vector<float> v = clean(w, rate, 0.08);
  video_test::filter(v, rate, [&](double hz) {
    return 1.0 + sign * std::pow(10, db / 20) * std::polar(1.0, -2 * pi * hz * us * 1e-6);
  });
  add_noise(v, d.octaves(2, 10), seed);
  Trial t(measured(rate, std::move(v)));
  t.expect("video.echo.delay", us * 1e3);
  t.expect("video.echo.level", db);
  t.expect("video.echo.distance", 0.5 * us * 0.66 * 299.792458);
  t.expect("video.echo.1.delay", us * 1e3);
  t.expect("video.echo.1.level", db);
  t.expect("video.echo.1.distance", 0.5 * us * 0.66 * 299.792458);
  return std::move(t).found();
}

// Skin effect: loss over the square root of frequency, minimum phase.
std::vector<Found> cable(unsigned seed) {
  Draw d(seed);
  const Wave w = video_test::with_bars(d.coin() ? wave_525() : wave_625());
  const double rate = d.one_of({13.5e6, 20e6});
  const double db = d.between(1, 8);
  std::vector<float> v = clean(w, rate, 0.08);
  video_test::filter(v, rate, [&](double hz) {
    const double nepers = db / bounds::db_of_relative * std::sqrt(hz / 5e6);
    return std::polar(std::exp(-nepers), -nepers);
  });
  add_noise(v, d.octaves(2, 7), seed);
  Trial t(measured(rate, std::move(v)));
  t.expect("video.cable.loss", db);
  return std::move(t).found();
}

// White fields and field square waves through a coupling capacitor.
std::vector<Found> apl(unsigned seed) {
  Draw d(seed);
  Wave w = d.coin() ? wave_525() : wave_625();
  const double level = d.between(100, 700);
  w.picture = flat(level);
  w.noise_mv = d.octaves(1, 10);
  w.start_line = d.between(1, 500);
  Trial t(measured(w, 13.5e6, 0.06, seed));
  t.expect("video.apl", 100 * level / white_mv(w));
  return std::move(t).found();
}

// Half the rate little above the subcarrier: a steep filter ends there, as a recorder's does.
std::vector<Found> near_the_limit(unsigned seed) {
  Draw d(seed);
  Wave w = video_test::with_bars(d.coin() ? wave_525() : wave_625());
  w.burst_pp_mv *= d.between(0.8, 1.2);
  w.start_line = d.between(1, w.lines);
  const double rate = d.between(10e6, 12.5e6);
  std::vector<float> fine = clean(w, 2 * rate, 0.06);
  video_test::filter(fine, 2 * rate, [&](double hz) {
    const double x = std::clamp((hz / rate - 0.48) / 0.02, 0.0, 1.0);
    return std::complex<double>(0.5 + 0.5 * std::cos(pi * x), 0);
  });
  std::vector<float> v(fine.size() / 2);
  for (std::size_t i = 0; i < v.size(); ++i) v[i] = fine[2 * i];
  add_noise(v, d.octaves(1, 10), seed);
  Trial t(measured(rate, std::move(v)));
  t.expect("video.burst.amplitude", w.burst_pp_mv);
  t.expect("video.burst.start", w.burst_from_us);
  t.expect("video.burst.cycles", w.burst_cycles);
  t.expect("video.breezeway", w.burst_from_us - w.sync_us);
  const char* const names[] = {"yellow", "cyan", "green", "magenta", "red", "blue"};
  const std::vector<Piece> bars = w.picture(100);
  for (std::size_t i = 0; i < 6; ++i) {
    const Piece& bar = bars[i + 1];
    const std::string id = std::string("video.bars.") + names[i];
    t.expect(id + ".chroma", 2 * std::hypot(bar.u_mv, bar.v_mv));
    const double degrees = std::atan2(bar.v_mv, bar.u_mv) * 180 / pi;
    t.expect(id + ".phase", degrees < 0 ? degrees + 360 : degrees);
  }
  return std::move(t).found();
}

// A live picture whose darkest parts a source or camera cut off at black: every line another.
std::vector<Found> clipped_black(unsigned seed) {
  Draw d(seed);
  Wave w = wave_525();
  const double black = d.coin() ? 375.0 / 7 : 0.0;
  const double share = d.between(0.2, 0.4);  // of the range below black
  const double across = d.between(0.08, 0.15);
  const double down = d.between(0.015, 0.04);
  const double turn = d.between(0, 6);
  w.picture = [=](int line) {
    const double y = line % 263;
    std::vector<Piece> out;
    for (int k = 0; k < 40; ++k) {
      const double t = 9.6 + 1.3 * k;
      const double a =
          0.5 + 0.3 * std::sin(across * t + down * y) + 0.2 * std::sin(0.37 * t - 0.043 * y + turn);
      const double level = std::max(0.0, (a - share) / (1 - share));
      out.push_back({k == 0 ? 0.0 : t, black + level * (5000.0 / 7 - black)});
    }
    return out;
  };
  w.start_line = d.between(1, 500);
  w.noise_mv = d.octaves(1, 30);
  Trial t(measured(w, d.one_of({13.5e6, 18e6}), 0.06, seed));
  t.expect("video.setup", black);
  return std::move(t).found();
}

}  // namespace

void add_waveform_path_cases(std::vector<Case>& to) {
  to.push_back(
      {"waveform", "white noise of 0.5 to 60 mV on bars and grey, 13.5 to 20 MS/s, 60 ms", 60, noise});
  to.push_back(
      {"waveform", "tone of 3 to 30 mV, 70 kHz to 3 MHz, in noise of 2 to 20 mV on grey, 100 ms", 40, tone});
  to.push_back({"waveform", "hum of 10 to 300 mV beside the field rate, on bars, 200 ms", 40, hum});
  to.push_back({"waveform",
                "one echo of -28 to -18 dB at 0.4 to 6 us, either sign, noise of 2 to 10 mV, 80 ms", 40,
                echo});
  to.push_back({"waveform", "cable that loses 1 to 8 dB at 5 MHz, noise of 2 to 7 mV, 80 ms", 30, cable});
  to.push_back({"waveform", "flat fields of 100 to 700 mV, noise of 1 to 10 mV, 60 ms", 30, apl});
  to.push_back(
      {"waveform",
       "bars as a recorder of 10 to 12.5 MS/s with a steep filter takes them, noise of 1 to 10 mV, 60 ms", 40,
       near_the_limit});
  to.push_back(
      {"waveform",
       "live pictures of 525 lines cut off at black, with setup and without, noise of 1 to 30 mV, 60 ms", 40,
       clipped_black});
}

}  // namespace accuracy
