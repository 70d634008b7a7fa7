// The path from sent to returned, and intelligibility.
#include <algorithm>
#include <cmath>
#include <linebench/measure/response.hpp>
#include <linebench/measure/sti.hpp>

#include "accuracy/card.hpp"
#include "support/path_synth.hpp"
#include "support/stipa_synth.hpp"

namespace accuracy {
namespace {

using path_synth::Complex;
using synth::Samples;

double db_at(const std::function<Complex(double)>& h, double hz) { return 20 * std::log10(std::abs(h(hz))); }

// Frequency at which the path is 3.01 dB under 1 kHz, between two that enclose it.
double edge(const std::function<Complex(double)>& h, double out, double in) {
  const double wanted = db_at(h, 1000) - 3.0103;
  for (int i = 0; i < 60; ++i) {
    const double middle = std::sqrt(out * in);
    (db_at(h, middle) < wanted ? out : in) = middle;
  }
  return std::sqrt(out * in);
}

std::vector<Found> path(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000});
  const double low = d.octaves(60, 300);
  const double high = d.octaves(3400, 12000);
  const double gain = std::pow(10, d.between(-20, 6) / 20);
  const auto h = [&](double hz) { return gain * path_synth::high(hz, low) * path_synth::low(hz, high); };
  const Samples x = d.coin() ? path_synth::sweep(rate, 4, 20, 20000) : path_synth::white(rate, 4, -15, seed);
  const double late = d.between(100, 40000);
  const double echo = d.between(-25, -10);
  const double echo_s = d.octaves(2e-3, 0.2);
  const bool echoing = d.coin();
  Samples y = path_synth::through(x, rate, late, x.size() + 48000, [&](double hz) {
    return h(hz) *
           (1.0 + (echoing ? std::pow(10, echo / 20) * std::polar(1.0, -2 * std::numbers::pi * hz * echo_s)
                           : Complex(0)));
  });
  synth::add_noise(y, -20 + 20 * std::log10(gain) - d.between(40, 60), seed + 77);
  synth::MemorySource sent(rate, {x});
  synth::MemorySource returned(rate, {std::move(y)});
  Trial t(linebench::measure::measure_response(sent, returned));
  t.expect("audio.response.delay", late / rate);
  if (echoing) {
    t.expect("audio.response.echo.delay", echo_s);
    t.expect("audio.response.echo.level", echo);
  } else {  // an echo's comb is part of the response
    t.expect("audio.response.gain", db_at(h, 1000));
    t.expect("audio.response.band_low", edge(h, 5, 1000));
    t.expect("audio.response.band_high", edge(h, 20000, 1000));
    for (const double hz : {100.0, 250.0, 500.0, 2000.0, 4000.0, 8000.0})
      t.expect_point("audio.response", hz, [&](double at) { return db_at(h, at) - db_at(h, 1000); });
  }
  return std::move(t).found();
}

// Sent by a clock that differs: sines at places of their own, so that any offset is exact.
std::vector<Found> clock(unsigned seed) {
  Draw d(seed);
  const double rate = 48000;
  const double ppm = d.between(-300, 300);
  const double late = d.between(1000, 20000);
  std::vector<double> hz;
  std::vector<double> phase;
  for (int i = 0; i < 80; ++i) {
    hz.push_back(40 * std::pow(400.0, (i + d.between(0, 1)) / 80));
    phase.push_back(d.between(0, 6.28));
  }
  const auto samples = [&](std::size_t n, double delay, double slower) {
    Samples x(n);
    for (std::size_t k = 0; k < hz.size(); ++k) {
      const double w = 2 * std::numbers::pi * hz[k] / rate / slower;
      Complex z = std::polar(0.03, phase[k] - w * delay);
      const Complex turn = std::polar(1.0, w);
      for (std::size_t i = 0; i < n; ++i) {
        const double at = (static_cast<double>(i) - delay) / slower;
        if (at >= 0 && at <= 5 * rate) x[i] += static_cast<float>(z.imag());
        z *= turn;
      }
    }
    return x;
  };
  Samples y = samples(synth::count(6, rate), late, 1 + ppm * 1e-6);
  synth::add_noise(y, d.between(-80, -60), seed);
  synth::MemorySource sent(rate, {samples(synth::count(5, rate), 0, 1)});
  synth::MemorySource returned(rate, {std::move(y)});
  Trial t(linebench::measure::measure_response(sent, returned));
  t.expect("audio.response.clock", ppm);
  return std::move(t).found();
}

std::vector<Found> speech_index(unsigned seed) {
  Draw d(seed);
  const double m = d.between(0.2, 0.9);
  const Samples x = stipa_synth::stipa(24000, d.between(12, 20), seed, [&](int, int) { return m; });
  linebench::measure::StiAnalyser a(24000, true);
  a.push(x);
  const linebench::measure::StiResult r = a.finish();
  const double index = (std::clamp(10 * std::log10(m / (1 - m)), -15.0, 15.0) + 15) / 30;
  std::vector<Found> all(1);
  all[0] = {"audio.sti", r.sti.value_or(std::nan("")), r.uncertainty, index, 0};
  return all;
}

}  // namespace

void add_path_cases(std::vector<Case>& to) {
  to.push_back(
      {"audio",
       "sweep or noise of 4 s through a band from 60...300 Hz to 3.4...12 kHz, -20 to +6 dB, noise 40 to "
       "60 dB below, half of them with an echo of -25 to -10 dB at 2 to 200 ms",
       60, path});
  to.push_back({"audio",
                "80 tones returned by a clock that differs by up to 300 ppm, noise at -80 to -60 dBFS", 30,
                clock});
  to.push_back({"audio", "STIPA with modulation reduced to 0.2 to 0.9, 12 to 20 s", 30, speech_index});
}

}  // namespace accuracy
