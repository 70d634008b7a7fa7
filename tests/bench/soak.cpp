// A long run as it is fed by a card: how much faster than real time, and how far memory grows. An hour of
// stereo at 48 kHz; LINEBENCH_SOAK_HOURS=24 is the day it must last.
#include <benchmark/benchmark.h>
#include <malloc.h>
#include <sys/resource.h>

#include <cmath>
#include <cstdlib>
#include <linebench/check/soak.hpp>
#include <numbers>
#include <vector>

#include "support/synth.hpp"

namespace {

constexpr double rate = 48000;
constexpr double minute_s = 60;

double peak_mb() {
  rusage use{};
  getrusage(RUSAGE_SELF, &use);
  return static_cast<double>(use.ru_maxrss) / 1024;
}

// A minute that may be played over and over: its tone ends where it began. Every minute has a click.
std::vector<float> minute() {
  synth::Samples x(synth::count(minute_s, rate));
  synth::add_sine(x, rate, 1000.0, -20);
  synth::add_noise(x, -80, 1);
  x[x.size() / 2] += 0.6F;
  std::vector<float> both;
  both.reserve(2 * x.size());
  for (const auto v : x) {
    both.push_back(static_cast<float>(v));
    both.push_back(static_cast<float>(v));
  }
  return both;
}

void soak_stereo(benchmark::State& state) {
  // As the program runs: megabytes that come and go keep their pages.
  mallopt(M_MMAP_THRESHOLD, 64 << 20);
  mallopt(M_TRIM_THRESHOLD, 64 << 20);
  const char* wanted = std::getenv("LINEBENCH_SOAK_HOURS");
  const double hours = wanted != nullptr ? std::strtod(wanted, nullptr) : 1;
  const std::vector<float> part = minute();
  constexpr std::size_t block = 2 * 4800;
  double after_first_minutes = 0, events = 0;
  for (auto _ : state) {
    linebench::check::SoakOptions options;
    options.tone_hz = 1000;
    options.signal = "tone-1k";
    linebench::check::Soak soak(rate, 2, options, [&](const auto&) { events += 1; });
    for (int m = 0; m < static_cast<int>(hours * 60); ++m) {
      for (std::size_t at = 0; at + block <= part.size(); at += block)
        soak.push(std::span<const float>(part).subspan(at, block));
      if (m == 4) after_first_minutes = peak_mb();
    }
    benchmark::DoNotOptimize(soak.finish());
  }
  state.counters["x_real_time"] = benchmark::Counter(3600 * hours, benchmark::Counter::kIsRate);
  state.counters["grown_mb"] = peak_mb() - after_first_minutes;
  state.counters["peak_mb"] = peak_mb();
  state.counters["events"] = events;
}
BENCHMARK(soak_stereo)->Iterations(1)->Unit(benchmark::kSecond);

}  // namespace

BENCHMARK_MAIN();
