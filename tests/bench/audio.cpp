// The whole audio measurement of 60 s of stereo at 48 kHz, and its costliest parts, on one core.
// Wanted: 200 x real time, that is 300 ms.
#include <benchmark/benchmark.h>

#include <linebench/measure/audio.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/tone_noise.hpp>

#include "support/synth.hpp"

namespace {

constexpr double rate = 48000;
constexpr double seconds = 60;
constexpr std::size_t block = 4096;

synth::Samples channel(bool tone, std::uint64_t seed) {
  synth::Samples x(synth::count(seconds, rate));
  if (tone) synth::add_sine(x, rate, 997.0, -20);
  synth::add_noise(x, -80, seed);
  return x;
}

void times_real_time(benchmark::State& state) {
  state.counters["x_real_time"] =
      benchmark::Counter(seconds * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}

// Argument: 1 with a test tone, 0 an idle path.
void measure_stereo(benchmark::State& state) {
  const std::vector<synth::Samples> channels = {channel(state.range(0) != 0, 1),
                                                channel(state.range(0) != 0, 2)};
  for (auto _ : state) {
    state.PauseTiming();
    synth::MemorySource source(rate, channels);
    state.ResumeTiming();
    benchmark::DoNotOptimize(linebench::measure::measure_audio(source, {}));
  }
  times_real_time(state);
}
BENCHMARK(measure_stereo)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);

void tone_and_noise_mono(benchmark::State& state) {
  const synth::Samples x = channel(state.range(0) != 0, 1);
  for (auto _ : state) {
    linebench::measure::LevelAnalyser levels(rate);
    linebench::measure::ToneNoiseAnalyser analyser(rate, {});
    for (std::size_t at = 0; at + block <= x.size(); at += block) {
      const std::span<const float> part(x.data() + at, block);
      levels.push(part);
      analyser.push(part);
    }
    benchmark::DoNotOptimize(analyser.finish(levels.finish(), ""));
  }
  times_real_time(state);
}
BENCHMARK(tone_and_noise_mono)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
