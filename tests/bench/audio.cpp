// The whole audio measurement of 60 s of stereo at 48 kHz, and its costliest parts, on one core.
// Wanted: 200 x real time, that is 300 ms.
#include <benchmark/benchmark.h>

#include <linebench/measure/audio.hpp>
#include <linebench/measure/events.hpp>
#include <linebench/measure/hum.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/loudness.hpp>
#include <linebench/measure/pair.hpp>
#include <linebench/measure/sti.hpp>
#include <linebench/measure/tone_noise.hpp>
#include <linebench/measure/whistle.hpp>

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

// A stage by itself, of both channels.
template <typename Analyser, typename... Args>
void stage(benchmark::State& state, const Args&... args) {
  const synth::Samples x[] = {channel(state.range(0) != 0, 1), channel(state.range(0) != 0, 2)};
  for (auto _ : state) {
    for (const auto& side : x) {
      Analyser analyser(rate, args...);
      for (std::size_t at = 0; at + block <= side.size(); at += block)
        analyser.push(std::span<const float>(side.data() + at, block));
      benchmark::DoNotOptimize(analyser.finish());
    }
  }
  times_real_time(state);
}

void levels(benchmark::State& state) { stage<linebench::measure::LevelAnalyser>(state); }
void hum(benchmark::State& state) {
  stage<linebench::measure::HumAnalyser>(state, linebench::measure::HumOptions{});
}
void whistle(benchmark::State& state) { stage<linebench::measure::WhistleAnalyser>(state); }
void events(benchmark::State& state) { stage<linebench::measure::EventsAnalyser>(state); }
void speech_index(benchmark::State& state) { stage<linebench::measure::StiAnalyser>(state); }

void tone_and_noise(benchmark::State& state) {
  const synth::Samples x[] = {channel(state.range(0) != 0, 1), channel(state.range(0) != 0, 2)};
  for (auto _ : state) {
    for (const auto& side : x) {
      linebench::measure::ToneNoiseAnalyser analyser(rate, {});
      linebench::measure::LevelAnalyser level(rate);
      level.push(side);
      for (std::size_t at = 0; at + block <= side.size(); at += block)
        analyser.push(std::span<const float>(side.data() + at, block));
      benchmark::DoNotOptimize(analyser.finish(level.finish(), ""));
    }
  }
  times_real_time(state);
}

void loudness(benchmark::State& state) {
  const synth::Samples left = channel(state.range(0) != 0, 1), right = channel(state.range(0) != 0, 2);
  std::vector<float> both;
  for (std::size_t i = 0; i < left.size(); ++i) {
    both.push_back(left[i]);
    both.push_back(right[i]);
  }
  for (auto _ : state) {
    linebench::measure::LoudnessAnalyser analyser(rate, 2);
    for (std::size_t at = 0; at + 2 * block <= both.size(); at += 2 * block)
      analyser.push(std::span<const float>(both.data() + at, 2 * block));
    benchmark::DoNotOptimize(analyser.finish());
  }
  times_real_time(state);
}

void pair(benchmark::State& state) {
  const synth::Samples left = channel(state.range(0) != 0, 1), right = channel(state.range(0) != 0, 2);
  for (auto _ : state) {
    linebench::measure::PairAnalyser analyser(rate);
    for (std::size_t at = 0; at + block <= left.size(); at += block)
      analyser.push(std::span<const float>(left.data() + at, block),
                    std::span<const float>(right.data() + at, block));
    benchmark::DoNotOptimize(analyser.finish());
  }
  times_real_time(state);
}

BENCHMARK(levels)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(tone_and_noise)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(hum)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(whistle)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(events)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(speech_index)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(loudness)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);
BENCHMARK(pair)->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
