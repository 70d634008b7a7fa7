// The whole waveform measurement of one second of 625 line bars at 27 MS/s, and its stages, on one core.
// Wanted: 2 x real time, that is 500 ms.
#include <benchmark/benchmark.h>

#include <linebench/measure/lowband.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_receiver.hpp>
#include <linebench/measure/video_traces.hpp>

#include "support/lowband_synth.hpp"
#include "support/video_synth.hpp"

namespace {

constexpr double rate = 27e6;
constexpr double seconds = 1;

const std::vector<float>& samples() {
  static const std::vector<float> made = [] {
    video_synth::Wave w = video_synth::wave_625();
    w.picture = video_synth::bars(w, 700, 0.75, 0.75, 0);
    w.noise_mv = 3;
    return video_synth::make(w, rate, seconds);
  }();
  return made;
}

void times_real_time(benchmark::State& state, double length) {
  state.counters["x_real_time"] =
      benchmark::Counter(length * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}

// Work on a fresh source of the samples, whose making is not timed.
template <typename Work>
void on_samples(benchmark::State& state, const Work& work) {
  for (auto _ : state) {
    state.PauseTiming();
    video_synth::MemoryVideo source(rate, samples());
    state.ResumeTiming();
    work(source);
  }
}

void find_the_signal(benchmark::State& state) {
  on_samples(state, [](auto& source) {
    linebench::measure::VideoReceiver receiver(source, {});
    benchmark::DoNotOptimize(receiver.acquire());
  });
}
BENCHMARK(find_the_signal)->Unit(benchmark::kMillisecond);

// Locked, lines handed out, nobody measuring.
void find_and_follow_lines(benchmark::State& state) {
  on_samples(state, [](auto& source) {
    linebench::measure::VideoReceiver receiver(source, {});
    benchmark::DoNotOptimize(receiver.acquire());
    receiver.run({});
  });
  times_real_time(state, seconds);
}
BENCHMARK(find_and_follow_lines)->Unit(benchmark::kMillisecond);

void measure_all(benchmark::State& state) {
  on_samples(state,
             [](auto& source) { benchmark::DoNotOptimize(linebench::measure::measure_video(source, {})); });
  times_real_time(state, seconds);
}
BENCHMARK(measure_all)->Unit(benchmark::kMillisecond);

void measure_all_with_pictures(benchmark::State& state) {
  on_samples(state, [](auto& source) {
    linebench::measure::VideoTraces traces;
    benchmark::DoNotOptimize(linebench::measure::measure_video(source, {}, {}, nullptr, &traces));
  });
  times_real_time(state, seconds);
}
BENCHMARK(measure_all_with_pictures)->Unit(benchmark::kMillisecond);

// Argument: seconds.
void lowband_192k(benchmark::State& state) {
  lowband_synth::Card card;
  const auto length = static_cast<double>(state.range(0));
  const std::vector<float> x = lowband_synth::make(card, length, 1);
  for (auto _ : state) {
    state.PauseTiming();
    lowband_synth::MemoryCard source(card.rate_hz, x, card.full_scale_v);
    state.ResumeTiming();
    benchmark::DoNotOptimize(linebench::measure::measure_lowband(source, {}));
  }
  times_real_time(state, length);
}
BENCHMARK(lowband_192k)->Arg(5)->Arg(60)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
