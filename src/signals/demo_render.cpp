// The physics of the demo's captures. Closed forms and simple filters; seeded, so that every run gives the
// same samples.
#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/signals/demo_site.hpp>
#include <numbers>
#include <random>

namespace linebench::signals {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double whistle_hz = 15625.0;         // 625-line television
constexpr double phone_frame_s = 0.12 / 26.0;  // 26 frames in 120 ms
constexpr double phone_slot_s = phone_frame_s / 8.0;

using Wave = std::vector<double>;

double amplitude(double dbfs) { return amplitude_from_db(dbfs); }  // peak of a sine of that level

void add_tone(Wave& x, double rate, double hz, double dbfs) {
  const double a = amplitude(dbfs);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] += a * std::sin(two_pi * std::fmod(hz * static_cast<double>(n) / rate, 1.0));
  }
}

// Mains: every harmonic rides on the same phase, which swings slowly as the grid does.
void add_hum(Wave& x, const DemoPath& p) {
  constexpr double swing_s = 7.0;
  double turns = 0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / p.rate_hz;
    for (const HumLine& h : p.hum) {
      x[n] += amplitude(h.dbfs) * std::sin(two_pi * h.harmonic * turns + 0.7 * h.harmonic);
    }
    turns += (p.mains_hz + p.mains_wander_hz * std::sin(two_pi * t / swing_s)) / p.rate_hz;
    turns -= std::floor(turns);
  }
}

void add_noise(Wave& x, double dbfs, std::mt19937_64& random) {
  std::normal_distribution<double> normal(0.0, rms_from_dbfs(dbfs));
  for (double& v : x) v += normal(random);
}

// A coupling capacitor: what lies below this corner does not pass.
void couple(Wave& x, double rate, double corner_hz) {
  dsp::Cascade high = dsp::butterworth_highpass(1, corner_hz, rate);
  high.process(x);
}

void scale_to(Wave& x, double dbfs) {
  double sum = 0;
  for (const double v : x) sum += v * v;
  if (!(sum > 0)) return;
  const double gain = rms_from_dbfs(dbfs) / std::sqrt(sum / static_cast<double>(x.size()));
  for (double& v : x) v *= gain;
}

void add(Wave& x, const Wave& y) {
  for (std::size_t n = 0; n < x.size(); ++n) x[n] += y[n];
}

// A resonance as a two-pole section with unit gain at dc.
dsp::Section resonance(double hz, double width_hz, double rate) {
  const double r = std::exp(-std::numbers::pi * width_hz / rate);
  const double a1 = -2.0 * r * std::cos(two_pi * hz / rate);
  const double a2 = r * r;
  return {1.0 + a1 + a2, 0, 0, a1, a2};
}

// Formants of five vowels in Hz (rounded textbook values of a male voice, from memory; only the demo hears
// them).
constexpr double vowels[][3] = {
    {730, 1090, 2440}, {530, 1840, 2480}, {270, 2290, 3010}, {570, 840, 2410}, {300, 870, 2240}};

// Vowel-like speech: a voice's pulses through three resonances, syllable by syllable, with pauses between
// phrases.
Wave speech(std::size_t count, double rate, std::mt19937_64& random) {
  Wave out(count, 0.0);
  std::uniform_real_distribution<double> even(0.0, 1.0);
  std::size_t at = static_cast<std::size_t>(0.2 * rate);
  int syllable = 0;
  while (at < count) {
    const double length_s = 0.14 + 0.12 * even(random);
    const auto length = static_cast<std::size_t>(length_s * rate);
    const auto& f = vowels[static_cast<std::size_t>(even(random) * 4.99)];
    dsp::Cascade tract({resonance(f[0], 70, rate), resonance(f[1], 100, rate), resonance(f[2], 140, rate)});
    const double loud = 0.5 + 0.5 * even(random);
    const double pitch_hz = 105 + 25 * even(random);
    double turns = 0;
    for (std::size_t i = 0; i < length && at + i < count; ++i) {
      const double t = static_cast<double>(i) / static_cast<double>(length);
      turns += pitch_hz * (1.08 - 0.16 * t) / rate;
      double pulse = 0;
      if (turns >= 1) {
        turns -= 1;
        pulse = 1;
      }
      const double rise = std::sin(std::numbers::pi * t);
      out[at + i] += tract.step(pulse * loud * rise * rise);
    }
    at += length;
    if (++syllable % 7 == 0) at += static_cast<std::size_t>((0.35 + 0.3 * even(random)) * rate);
  }
  return out;
}

void add_chime(Wave& x, double rate, double dbfs) {
  constexpr double notes[] = {784.0, 659.3, 523.3};
  constexpr double every_s = 3.0, apart_s = 0.32, decay_s = 0.35;
  const double seconds = static_cast<double>(x.size()) / rate;
  for (double start = 0.1; start < seconds; start += every_s) {
    for (int k = 0; k < 3; ++k) {
      const auto from = static_cast<std::size_t>((start + apart_s * k) * rate);
      const auto length = static_cast<std::size_t>(5 * decay_s * rate);
      for (std::size_t n = from; n < std::min(x.size(), from + length); ++n) {
        const double t = static_cast<double>(n - from) / rate;
        const double shape = std::exp(-t / decay_s) * (1 - std::exp(-t / 0.004));
        x[n] += amplitude(dbfs) * shape *
                (0.8 * std::sin(two_pi * notes[k] * t) + 0.2 * std::sin(two_pi * 2 * notes[k] * t));
      }
    }
  }
}

// A phone's bursts, detected by the first input stage they meet: pulses of one slot in eight, rounded by the
// input.
void add_phone(Wave& x, double rate, double peak_dbfs) {
  const double peak = amplitude(peak_dbfs);
  const double rounding = std::exp(-1.0 / (60e-6 * rate));
  double y = 0;
  for (std::size_t n = x.size() / 4; n < 3 * x.size() / 4; ++n) {
    const double t = std::fmod(static_cast<double>(n) / rate, phone_frame_s);
    y = rounding * y + (1 - rounding) * (t < phone_slot_s ? 1.0 : 0.0);
    x[n] += peak * (y - 0.125);
  }
}

// A stage that saturates smoothly, its working point off the middle, so that even harmonics come as well as
// odd.
void overload(Wave& x, double dbfs) {
  const double a = amplitude(dbfs);
  constexpr double bias = 0.25;
  const double rest = std::tanh(bias);
  const double slope = 1 - rest * rest;
  for (double& v : x) v = a * (std::tanh(v / a + bias) - rest) / slope;
}

// A contact that opens: the signal is gone, then returns with a tick that dies away.
void lose_contact(Wave& x, double rate, const std::vector<double>& times, std::mt19937_64& random) {
  std::uniform_real_distribution<double> even(0.0, 1.0);
  for (const double t : times) {
    const auto from = static_cast<std::size_t>(t * rate);
    const auto length = static_cast<std::size_t>((0.03 + 0.06 * even(random)) * rate);
    for (std::size_t n = from; n < std::min(x.size(), from + length); ++n) x[n] = 0;
    double tick = 0.35;
    for (std::size_t n = from + length; n < std::min(x.size(), from + length + 12); ++n) {
      x[n] += tick;
      tick *= -0.6;
    }
  }
}

void add_band_noise(Wave& x, double rate, double dbfs, std::mt19937_64& random) {
  Wave noise(x.size(), 0.0);
  add_noise(noise, 0, random);
  dsp::Cascade low = dsp::butterworth_lowpass(4, 3400, rate);
  dsp::Cascade high = dsp::butterworth_highpass(2, 300, rate);
  low.process(noise);
  high.process(noise);
  scale_to(noise, dbfs);
  add(x, noise);
}

Wave sent(const DemoPath& p, std::size_t count, std::mt19937_64& random) {
  Wave x(count, 0.0);
  if (p.tone_hz) add_tone(x, p.rate_hz, *p.tone_hz, p.tone_dbfs);
  if (p.speech_dbfs) {
    Wave voice = speech(count, p.rate_hz, random);
    couple(voice, p.rate_hz, 80);
    scale_to(voice, *p.speech_dbfs);
    add(x, voice);
  }
  if (p.chime_dbfs) add_chime(x, p.rate_hz, *p.chime_dbfs);
  if (p.pair_noise_dbfs) add_band_noise(x, p.rate_hz, *p.pair_noise_dbfs, random);
  return x;
}

}  // namespace

std::vector<float> render(const DemoPath& p) {
  std::mt19937_64 random(p.seed);
  const auto count = static_cast<std::size_t>(std::lround(p.seconds * p.rate_hz));
  const auto channels = static_cast<std::size_t>(p.channels);
  const Wave source = sent(p, count, random);
  std::vector<float> out(count * channels);
  for (std::size_t c = 0; c < channels; ++c) {
    Wave x = source;
    if (p.overload_dbfs) {
      overload(x, *p.overload_dbfs);
      couple(x, p.rate_hz, 20);
    }
    if (c == 1 && p.right_reversed) {
      for (double& v : x) v = -v;
    }
    if (!p.contact_lost_s.empty()) lose_contact(x, p.rate_hz, p.contact_lost_s, random);
    add_hum(x, p);
    if (p.whistle_dbfs) add_tone(x, p.rate_hz, whistle_hz, *p.whistle_dbfs);
    if (p.phone_dbfs) add_phone(x, p.rate_hz, *p.phone_dbfs);
    add_noise(x, p.noise_dbfs, random);
    const double rail = p.rail_dbfs ? amplitude(*p.rail_dbfs) : 1.0 - 0x1p-15;
    for (std::size_t n = 0; n < count; ++n)
      out[n * channels + c] = static_cast<float>(std::clamp(x[n], -rail, rail));
  }
  return out;
}

}  // namespace linebench::signals
