// White noise, hum, line whistle, mobile-phone bursts, loudness, clipping.
#include <algorithm>
#include <cmath>
#include <linebench/measure/audio.hpp>
#include <linebench/standards/weighting.hpp>

#include "accuracy/bounds.hpp"
#include "accuracy/card.hpp"
#include "support/disturbance_synth.hpp"
#include "support/synth.hpp"

namespace accuracy {
namespace {

using synth::Samples;

Trial measured(double rate, Samples x, const linebench::measure::AudioOptions& options = {}) {
  synth::MemorySource source(rate, {std::move(x)});
  source.edit_facts().full_scale_v = 2.0;
  return Trial(linebench::measure::measure_audio(source, options));
}

// Level of white noise in the audio band [AES17] through a weighting, by the rectangle rule; the curves are
// held to the standards' tables in tests/published/weighting.cpp.
double weighted(double dbfs, double rate, double (*curve_db)(double)) {
  double sum = 0;
  constexpr double step = 2;
  for (double hz = 20 + step / 2; hz < linebench::standards::audio_band_top_hz(rate); hz += step)
    sum += step * std::pow(10, curve_db(hz) / 10);
  return dbfs + 10 * std::log10(sum / (rate / 2));
}

std::vector<Found> white(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({16000, 44100, 48000, 96000, 192000});
  const double dbfs = d.between(-100, -15);
  const double dc = d.between(-0.01, 0.01);
  Samples x(synth::count(d.octaves(0.3, rate > 50000 ? 2 : 5), rate), static_cast<float>(dc));
  synth::add_noise(x, dbfs, seed);
  const double n = static_cast<double>(x.size());
  const double top = linebench::standards::audio_band_top_hz(rate);
  Trial t = measured(rate, std::move(x));
  t.expect("audio.level.rms", dbfs, bounds::noise_db(n));
  t.expect("audio.level.dc", dc, bounds::mean(dbfs, n));
  t.expect("audio.noise.unweighted", synth::noise_in_band(dbfs, rate, 20, top),
           bounds::noise_db(n * (top - 20) / (rate / 2)));
  if (rate > 44000) {  // below, the weightings' own bands are cut
    t.expect("audio.noise.a", weighted(dbfs, rate, linebench::standards::a_weighting_db));
    t.expect("audio.noise.bs468", weighted(dbfs, rate, linebench::standards::bs468_weighting_db));
  }
  return std::move(t).found();
}

std::vector<Found> hum(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({8000, 16000, 44100, 48000, 96000});
  const double seconds = d.octaves(1, rate > 50000 ? 4 : 10);
  const double f0 = d.coin() ? 50 * (1 + d.between(-2e-3, 2e-3)) : 60 * (1 + d.between(-2e-3, 2e-3));
  const double noise = d.between(-85, -50);
  const auto comb = disturbance_synth::at_total(disturbance_synth::plain, noise + d.between(0, 30));
  Samples x(synth::count(seconds, rate));
  synth::add_noise(x, noise, seed);
  const double total = disturbance_synth::add_comb(x, rate, f0, comb, d.between(0, 6));
  const double n = static_cast<double>(x.size());
  Trial t = measured(rate, std::move(x));
  t.expect("audio.level.dc", 0);
  double k2a2 = 0;  // information of each multiple about the fundamental adds up
  for (const auto& [k, db] : comb) k2a2 += k * k * std::pow(10, db / 10);
  t.expect("audio.hum.frequency", f0, bounds::sine_hz(10 * std::log10(k2a2), noise, n, rate));
  t.expect("audio.hum.level", total, bounds::sine_db(total, noise, n));
  for (const auto& [k, db] : comb)
    t.expect("audio.hum.harmonic." + std::to_string(k), db, bounds::sine_db(db, noise, n));
  return std::move(t).found();
}

std::vector<Found> whistle(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000, 96000});
  const double hz = d.one_of({15625, 15734.266}) * (1 + d.between(-5e-4, 5e-4));
  const double noise = d.between(-80, -50);
  const double dbfs = noise - d.between(-10, 12);
  Samples x(synth::count(d.octaves(1, 6), rate));
  synth::add_noise(x, noise, seed);
  synth::add_sine(x, rate, hz, dbfs, d.between(0, 6));
  const double n = static_cast<double>(x.size());
  Trial t = measured(rate, std::move(x));
  t.expect("audio.whistle.frequency", hz, bounds::sine_hz(dbfs, noise, n, rate));
  t.expect("audio.whistle.level", dbfs, bounds::sine_db(dbfs, noise, n));
  return std::move(t).found();
}

// What sounds over it comes and goes: noise in bursts of a tenth to a half second, pauses of as much.
std::vector<Found> whine(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000});
  const double hz = d.octaves(1013, 15000);
  const double noise = d.between(-80, -65);
  const double dbfs = noise + d.between(0, 30);
  Samples x(synth::count(d.octaves(5, 20), rate));
  synth::add_noise(x, -25, seed);
  for (std::size_t at = 0; at < x.size();) {
    at += synth::count(d.between(0.1, 0.5), rate);
    const std::size_t end = std::min(x.size(), at + synth::count(d.between(0.1, 0.5), rate));
    for (; at < end; ++at) x[at] = 0;
  }
  synth::add_noise(x, noise, seed + 1);
  synth::add_sine(x, rate, hz, dbfs, d.between(0, 6));
  Trial t = measured(rate, std::move(x));
  t.expect("audio.whine.frequency", hz);
  t.expect("audio.whine.level", dbfs);
  return std::move(t).found();
}

// Pulses of 1/8 of the frame: line k of the comb has amplitude 2 d sinc(k d) x height.
std::vector<Found> phone(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000});
  const double ppm = d.between(-100, 100);
  const double height = d.octaves(0.01, 0.2);
  Samples x(synth::count(8, rate));
  synth::add_noise(x, d.between(-80, -65), seed);
  disturbance_synth::add_bursts(x, rate, height, d.between(0.5, 3), d.octaves(1, 4), ppm);
  double power = 0;
  for (int k = 1; k <= 10; ++k) {
    const double a = k * std::numbers::pi / 8;
    power += 0.5 * std::pow(2.0 / 8 * std::sin(a) / a * height * 25 / 26, 2);
  }
  Trial t = measured(rate, std::move(x));
  t.expect("audio.phone_burst.rate", 26 / 0.12 * (1 + ppm * 1e-6));
  t.expect("audio.phone_burst.level", linebench::dbfs_from_power(power));
  return std::move(t).found();
}

// A sine at 997 Hz reads 3.01 LU below its level in one channel [BS.1770-4]; two levels in turn have their
// difference as range [EBU Tech 3342, secondary].
std::vector<Found> loudness(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000, 96000});
  const double dbfs = d.between(-35, -10);
  const double range = d.between(3, 15);
  Samples steady(synth::count(d.between(4, 8), rate));
  synth::add_sine(steady, rate, 997, dbfs, d.between(0, 6));
  Trial one = measured(rate, std::move(steady));
  one.expect("audio.loudness.integrated", dbfs - 3.01);
  // A full-scale sine of 2 V peak is 1.414 V rms; 0 dBu is 0.7746 V.
  const double dbu = dbfs + 20 * std::log10(std::sqrt(2.0) / std::sqrt(0.6));
  one.expect("audio.programme.level", dbfs);
  one.expect("audio.programme.voltage", dbu);
  Samples two(synth::count(40, rate));
  synth::add_sine(two, rate, 997, dbfs);
  for (std::size_t i = two.size() / 2; i < two.size(); ++i)
    two[i] *= std::pow(10.0F, -static_cast<float>(range) / 20);
  Trial steps = measured(rate, std::move(two));
  steps.expect("audio.loudness.range", range);
  // A tone whose samples miss its crests; faded, so that no edge overshoots.
  Samples peaky(synth::count(0.5, rate));
  synth::add_sine(peaky, rate, rate / 4 * (1 + d.between(-0.3, 0.2)), dbfs, d.between(0, 6));
  const auto fade = static_cast<double>(peaky.size()) / 8;
  for (std::size_t i = 0; i < peaky.size(); ++i) {
    const double edge =
        std::min({1.0, static_cast<double>(i) / fade, static_cast<double>(peaky.size() - 1 - i) / fade});
    peaky[i] *= static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * edge));
  }
  Trial peak = measured(rate, std::move(peaky));
  peak.expect("audio.true_peak", dbfs);
  peak.expect("audio.true_peak.voltage", dbu);
  std::vector<Found> all = std::move(one).found();
  for (Found& f : std::move(steps).found()) all.push_back(std::move(f));
  for (Found& f : std::move(peak).found()) all.push_back(std::move(f));
  return all;
}

std::vector<Found> clipped(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000, 96000});
  const double top = d.between(0.2, 1.0);
  Samples x(synth::count(d.octaves(0.5, 3), rate));
  synth::add_sine(x, rate, d.octaves(50, 3000), 20 * std::log10(top) + d.between(1, 12), d.between(0, 6));
  for (float& v : x) v = std::clamp(v, -static_cast<float>(top), static_cast<float>(top));
  Trial t = measured(rate, std::move(x));
  t.expect("audio.clip.level", 20 * std::log10(top));
  return std::move(t).found();
}

}  // namespace

void add_noise_and_hum_cases(std::vector<Case>& to) {
  to.push_back({"audio", "white noise and dc, -100 to -15 dBFS, 16 to 192 kHz, 0.3 to 5 s", 200, white});
  to.push_back(
      {"audio",
       "hum of five multiples of 50 or 60 Hz, 0 to 30 dB over white noise of -85 to -50 dBFS, 8 to 96 "
       "kHz, 1 to 10 s",
       150, hum});
  to.push_back({"audio", "line whistle 10 dB over to 12 dB below white noise of -80 to -50 dBFS, 1 to 6 s",
                120, whistle});
  to.push_back(
      {"audio",
       "steady line 0 to 30 dB over white noise of -80 to -65 dBFS under bursts of -25 dBFS, 5 to 20 s", 60,
       whine});
  to.push_back({"audio", "mobile-phone bursts of 0.01 to 0.2 of full scale for 1 to 4 of 8 s", 60, phone});
  to.push_back({"audio", "997 Hz of -35 to -10 dBFS, steps of 3 to 15 LU, tones near a quarter of the rate",
                40, loudness});
  to.push_back(
      {"audio", "sine clipped by 1 to 12 dB at 0.2 to 1.0 of full scale, 50 Hz to 3 kHz", 60, clipped, true});
}

}  // namespace accuracy
