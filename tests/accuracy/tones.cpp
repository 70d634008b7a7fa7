// Tones in white noise, with distortion, steps and intermodulation.
//
// Bounds for a sine of amplitude A in white noise of variance s^2, N samples [Kay, Fundamentals of
// Statistical Signal Processing I, example 3.14]: var A >= 2 s^2 / N, var w >= 24 s^2 / (A^2 N (N^2 - 1)).
#include <algorithm>
#include <cmath>
#include <linebench/measure/audio.hpp>
#include <linebench/standards/weighting.hpp>

#include "accuracy/bounds.hpp"
#include "accuracy/card.hpp"
#include "support/synth.hpp"

namespace accuracy {
namespace {

using linebench::measure::AudioOptions;
using linebench::standards::audio_band_top_hz;
using synth::Samples;

std::vector<Found> tone(unsigned seed, double least_snr, double most_snr) {
  Draw d(seed);
  const double rate = d.one_of({16000, 44100, 48000, 96000, 192000});
  const double seconds = d.octaves(0.5, rate > 50000 ? 2 : 5);
  const double dbfs = d.between(-50, -3);
  const double noise = dbfs - d.between(least_snr, most_snr);
  const double hz = d.octaves(200, 0.8 * audio_band_top_hz(rate));
  const double dc = d.between(-0.05, 0.05);
  Samples x(synth::count(seconds, rate), static_cast<float>(dc));
  synth::add_sine(x, rate, hz, dbfs, d.between(0, 6));
  synth::add_noise(x, noise, seed);
  const double n = static_cast<double>(x.size());
  const double in_band = synth::noise_in_band(noise, rate, 20, audio_band_top_hz(rate));
  const double both =
      linebench::db_from_power(linebench::power_from_db(dbfs) + linebench::power_from_db(noise));
  synth::MemorySource source(rate, {std::move(x)});
  source.edit_facts().full_scale_v = 2.0;
  AudioOptions options;
  options.tone_hz = hz;
  Trial t(linebench::measure::measure_audio(source, options));
  t.expect("audio.tone.frequency", hz, bounds::sine_hz(dbfs, noise, n, rate));
  t.expect("audio.tone.level", dbfs, bounds::sine_db(dbfs, noise, n));
  t.expect("audio.level.rms", both);
  // A full-scale sine of 2 V peak is 1.414 V rms; 0 dBu is 0.7746 V.
  t.expect("audio.level.voltage", both + 20 * std::log10(std::sqrt(2.0) / std::sqrt(0.6)));
  t.expect("audio.level.dc", dc, bounds::mean(noise, n));
  t.expect("audio.snr", dbfs - in_band,
           std::hypot(bounds::noise_db(n * (audio_band_top_hz(rate) - 20) / (rate / 2)),
                      bounds::sine_db(dbfs, noise, n)));
  t.expect("audio.noise.unweighted", in_band,
           bounds::noise_db(n * (audio_band_top_hz(rate) - 20) / (rate / 2)));
  return std::move(t).found();
}

// Peak and crest of what was rounded to 16 bits, against the samples before rounding.
std::vector<Found> peaks(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000, 96000});
  Samples x(synth::count(d.octaves(0.3, 3), rate));
  synth::add_sine(x, rate, d.octaves(30, 15000), d.between(-60, -1), d.between(0, 6));
  synth::add_noise(x, d.between(-90, -60), seed);
  double peak = 0;
  double power = 0;
  for (const float v : x) {
    peak = std::max(peak, std::abs(static_cast<double>(v)));
    power += static_cast<double>(v) * static_cast<double>(v) / static_cast<double>(x.size());
  }
  for (float& v : x) v = std::round(v * 32768.0F) / 32768.0F;
  synth::MemorySource source(rate, {std::move(x)});
  source.edit_facts().format = "WAV, 16 bit";
  Trial t(linebench::measure::measure_audio(source, {}));
  t.expect("audio.level.peak", 20 * std::log10(peak));
  t.expect("audio.level.crest", 20 * std::log10(peak / std::sqrt(power)));
  return std::move(t).found();
}

std::vector<Found> distorted(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000, 96000});
  const double seconds = d.octaves(1, 4);
  const double dbfs = d.between(-20, -3);
  const double noise = dbfs - d.between(45, 75);
  const double hz = d.octaves(100, 3000);
  const double second = d.between(-55, -35);
  const double third = d.between(-55, -35);
  Samples x(synth::count(seconds, rate));
  synth::add_sine(x, rate, hz, dbfs, d.between(0, 6));
  synth::add_sine(x, rate, 2 * hz, dbfs + second, d.between(0, 6));
  synth::add_sine(x, rate, 3 * hz, dbfs + third, d.between(0, 6));
  synth::add_noise(x, noise, seed);
  const double n = static_cast<double>(x.size());
  const double harmonics = linebench::power_from_db(second) + linebench::power_from_db(third);
  const double rest =
      harmonics + linebench::power_from_db(synth::noise_in_band(noise, rate, 20, 20000) - dbfs);
  synth::MemorySource source(rate, {std::move(x)});
  Trial t(linebench::measure::measure_audio(source, {}));
  t.expect("audio.thd", 100 * std::sqrt(harmonics), 100 * std::sqrt(std::pow(10, (noise - dbfs) / 10) / n));
  t.expect("audio.thd_n", 100 * std::sqrt(rest / (1 + rest)));
  return std::move(t).found();
}

std::vector<Found> step(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({44100, 48000});
  const double size = (d.coin() ? 1 : -1) * d.between(0.5, 12);
  const double at = d.between(3, 7);
  Samples x(synth::count(10, rate));
  synth::add_sine(x, rate, d.octaves(300, 5000), -20, d.between(0, 6));
  for (std::size_t i = synth::count(at, rate); i < x.size(); ++i)
    x[i] *= std::pow(10.0F, static_cast<float>(size) / 20);
  synth::add_noise(x, d.between(-80, -55), seed);
  synth::MemorySource source(rate, {std::move(x)});
  Trial t(linebench::measure::measure_audio(source, {}));
  t.expect("audio.tone.step", size);
  t.expect("audio.tone.step.time", at);
  return std::move(t).found();
}

// Side tones by definition [RP 120], difference products by definition [IEC 60268-3].
std::vector<Found> intermodulation(unsigned seed) {
  Draw d(seed);
  const double noise = d.between(-95, -75);
  const auto measured = [&](Samples x) {
    synth::add_noise(x, noise, seed);
    synth::MemorySource source(48000, {std::move(x)});
    return Trial(linebench::measure::measure_audio(source, {}));
  };
  const double seconds = d.octaves(2, 6);
  Samples x(synth::count(seconds, 48000));
  const double low = 60 * (1 + d.between(-1e-3, 1e-3));
  const double high = 7000 * (1 + d.between(-1e-3, 1e-3));
  const double one = d.between(-62, -40);
  const double two = d.between(-62, -46);
  synth::add_sine(x, 48000, low, -10, d.between(0, 6));
  synth::add_sine(x, 48000, high, -22.04, d.between(0, 6));
  for (const double side : {-1.0, 1.0}) {
    synth::add_sine(x, 48000, high + side * low, -22.04 + one, d.between(0, 6));
    synth::add_sine(x, 48000, high + 2 * side * low, -22.04 + two, d.between(0, 6));
  }
  Trial smpte = measured(std::move(x));
  smpte.expect("audio.imd.smpte",
               100 * std::sqrt(2 * linebench::power_from_db(one) + 2 * linebench::power_from_db(two)));
  Samples y(synth::count(seconds, 48000));
  const double pull = 1 + d.between(-1e-4, 1e-4);
  const double second = d.between(-65, -45);
  const double third = d.between(-65, -45);
  synth::add_sine(y, 48000, 19000 * pull, -16, d.between(0, 6));
  synth::add_sine(y, 48000, 20000 * pull, -16, d.between(0, 6));
  synth::add_sine(y, 48000, 1000 * pull, -16 + second, d.between(0, 6));
  synth::add_sine(y, 48000, 18000 * pull, -16 + third, d.between(0, 6));
  Trial difference = measured(std::move(y));
  difference.expect("audio.imd.difference",
                    100 * std::sqrt(linebench::power_from_db(second) + linebench::power_from_db(third)) / 2);
  std::vector<Found> all = std::move(smpte).found();
  for (Found& f : std::move(difference).found()) all.push_back(std::move(f));
  return all;
}

}  // namespace

void add_tone_cases(std::vector<Case>& to) {
  const std::string swept = "tone of 200 Hz to 0.8 of the band, -50 to -3 dBFS, 16 to 192 kHz, 0.5 to 5 s, ";
  to.push_back({"audio", swept + "white noise 50 to 80 dB below", 200,
                [](unsigned seed) { return tone(seed, 50, 80); }});
  to.push_back({"audio", swept + "white noise 15 to 40 dB below", 200,
                [](unsigned seed) { return tone(seed + 5000, 15, 40); }});
  to.push_back({"audio", "tone and noise rounded to 16 bits, -60 to -1 dBFS, 0.3 to 3 s", 100, peaks, true});
  to.push_back({"audio",
                "tone of 100 Hz to 3 kHz with second and third harmonic at -55 to -35 dB, noise 45 to 75 dB "
                "below, 1 to 4 s",
                150, distorted});
  to.push_back({"audio", "tone that steps by 0.5 to 12 dB, 10 s, noise 35 to 60 dB below", 60, step});
  to.push_back({"audio", "twin tones with products at -65 to -40 dB, 2 to 6 s, noise at -95 to -75 dBFS", 60,
                intermodulation});
}

}  // namespace accuracy
