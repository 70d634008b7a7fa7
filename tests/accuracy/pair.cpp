// What two sides share: delay, gain, noise, crosstalk.
//
// Bound of the delay of white noise common to both sides, from the coherence C of the two [Carter 1987]:
// var >= 1 / (2 T integral of (2 pi f)^2 C / (1 - C) df).
#include <algorithm>
#include <cmath>
#include <linebench/measure/audio.hpp>
#include <numbers>

#include "accuracy/card.hpp"
#include "support/synth.hpp"

namespace accuracy {
namespace {

using synth::Samples;

std::vector<Found> shared_noise(unsigned seed) {
  Draw d(seed);
  const double rate = d.one_of({16000, 44100, 48000, 96000});
  const std::size_t n = synth::count(d.octaves(1, 4), rate);
  const double snr = d.between(0, 25);
  const double gain = d.between(-6, 6);
  const auto late = static_cast<std::size_t>(d.between(0, 0.01) * rate);
  Samples all(n + late);
  synth::add_noise(all, -30, seed);
  Samples l(all.begin() + static_cast<std::ptrdiff_t>(late), all.end());
  Samples r(all.begin(), all.end() - static_cast<std::ptrdiff_t>(late));
  for (float& v : r) v *= std::pow(10.0F, static_cast<float>(gain) / 20);
  synth::add_noise(l, -30 - snr, 2 * seed + 100000);
  synth::add_noise(r, -30 - snr + gain, 2 * seed + 100001);
  synth::MemorySource source(rate, {std::move(l), std::move(r)});
  Trial t(linebench::measure::measure_audio(source, {}));
  const double share = 1 / (1 + std::pow(10, -snr / 10));
  const double c = share * share;
  const double information = 2 * static_cast<double>(n) / rate * c / (1 - c) * 4 * std::numbers::pi *
                             std::numbers::pi * std::pow(rate / 2, 3) / 3;
  t.expect("audio.pair.delay", static_cast<double>(late) / rate, 1 / std::sqrt(information));
  t.expect("audio.pair.gain", gain);
  return std::move(t).found();
}

// Sent to the left side alone, then to the right alone.
std::vector<Found> crosstalk(unsigned seed) {
  Draw d(seed);
  const double rate = 48000;
  const double into_right = d.between(-60, -30);
  const double hz = d.octaves(300, 3000);
  const double noise = d.between(-95, -80);
  const double more = d.between(-6, 6);
  Samples l(synth::count(12, rate));
  Samples r(l.size());
  for (std::size_t i = 0; i < l.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    const double v = 0.2 * std::sin(2 * std::numbers::pi * hz * t);
    const bool left = std::fmod(t, 4.0) < 2.0;
    l[i] = static_cast<float>(left ? v : v * std::pow(10, (into_right - 12) / 20));
    r[i] = static_cast<float>(left ? v * std::pow(10, into_right / 20) : v);
  }
  synth::add_noise(l, noise, 2 * seed);
  synth::add_noise(r, noise, 2 * seed + 1);
  synth::MemorySource source(rate, {std::move(l), std::move(r)});
  Trial t(linebench::measure::measure_audio(source, {}));
  t.expect("audio.pair.crosstalk", into_right);
  Samples a(synth::count(d.octaves(1, 4), rate));
  Samples b(a.size());
  synth::add_noise(a, -60, 3 * seed);
  synth::add_noise(b, -60 + more, 3 * seed + 1);
  synth::MemorySource idle(rate, {std::move(a), std::move(b)});
  Trial u(linebench::measure::measure_audio(idle, {}));
  u.expect("audio.pair.noise", more);
  std::vector<Found> all = std::move(t).found();
  for (Found& f : std::move(u).found()) all.push_back(std::move(f));
  return all;
}

}  // namespace

void add_pair_cases(std::vector<Case>& to) {
  to.push_back(
      {"audio",
       "white noise in both sides, right late by up to 10 ms and +-6 dB, own noise 0 to 25 dB below, 16 to "
       "96 kHz, 1 to 4 s",
       150, shared_noise});
  to.push_back({"audio", "tone sent to one side after the other, crosstalk -60 to -30 dB; unlike noise", 40,
                crosstalk});
}

}  // namespace accuracy
