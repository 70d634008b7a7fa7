// The whole waveform measurement of one second of 625 line bars at 27 MS/s, and its stages, on one core.
// Wanted: 2 x real time, that is 500 ms.
#include <benchmark/benchmark.h>

#include <chrono>
#include <linebench/measure/lowband.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_receiver.hpp>
#include <linebench/measure/video_traces.hpp>

#include "support/lowband_synth.hpp"
#include "support/video_synth.hpp"
#include "video_meters.hpp"

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

// One measure's share: the time its part of every line and its end take, within a whole run.
class Timed : public linebench::measure::LineMeter {
 public:
  explicit Timed(linebench::measure::LineMeter& meter) : meter_(meter) {}
  void line(const linebench::measure::LineView& v) override {
    const auto begin = Clock::now();
    meter_.line(v);
    lines_ += Clock::now() - begin;
  }
  void finish(const linebench::measure::VideoSetup& s, linebench::measure::Readings& out) override {
    const auto begin = Clock::now();
    meter_.finish(s, out);
    end_ += Clock::now() - begin;
  }
  [[nodiscard]] double lines_s() const { return lines_.count(); }
  [[nodiscard]] double end_s() const { return end_.count(); }

 private:
  using Clock = std::chrono::steady_clock;
  linebench::measure::LineMeter& meter_;
  std::chrono::duration<double> lines_{};
  std::chrono::duration<double> end_{};
};

void one_stage(benchmark::State& state) {
  const auto which = static_cast<std::size_t>(state.range(0));
  double lines = 0;
  double end = 0;
  for (auto _ : state) {
    video_synth::MemoryVideo source(rate, samples());
    linebench::measure::VideoReceiver receiver(source, {});
    if (!receiver.acquire()) state.SkipWithError("no signal");
    linebench::measure::VideoMeters all(receiver.setup(), {}, 0);
    Timed timed(*all.list()[which].meter);
    std::vector<linebench::measure::LineMeter*> meters;
    for (const auto& m : all.list()) meters.push_back(m.meter);
    meters[which] = &timed;
    receiver.run(meters);
    linebench::measure::Readings out;
    for (linebench::measure::LineMeter* m : meters) m->finish(receiver.setup(), out);
    state.SetIterationTime(timed.lines_s() + timed.end_s());
    lines += timed.lines_s();
    end += timed.end_s();
    state.SetLabel(std::string(all.list()[which].name));
  }
  const auto runs = static_cast<double>(state.iterations());
  state.counters["on_lines_ms"] = 1e3 * lines / runs;
  state.counters["at_the_end_ms"] = 1e3 * end / runs;
}
BENCHMARK(one_stage)->DenseRange(0, 11)->UseManualTime()->Iterations(3)->Unit(benchmark::kMillisecond);

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
