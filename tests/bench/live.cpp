// What a live measurement costs, stage by stage: seconds of stream a second on one core.
#include <benchmark/benchmark.h>

#include <linebench/live/audio_meter.hpp>
#include <linebench/live/board.hpp>
#include <linebench/live/hum_follower.hpp>
#include <linebench/live/picture_meter.hpp>
#include <nlohmann/json.hpp>

#include "support/frame_synth.hpp"
#include "support/synth.hpp"

namespace {

using namespace linebench;

constexpr double rate = 48000;
constexpr double seconds = 10;
constexpr std::size_t block = 960;

synth::Samples channel(std::uint64_t seed) {
  synth::Samples x(synth::count(seconds, rate));
  synth::add_sine(x, rate, 997, -20);
  synth::add_sine(x, rate, 50.02, -40);
  synth::add_sine(x, rate, 150.06, -50);
  synth::add_noise(x, -70, seed);
  return x;
}

CaptureFacts facts() {
  CaptureFacts f;
  f.sample_rate_hz = rate;
  f.channels = 2;
  return f;
}

void times_real_time(benchmark::State& state) {
  state.counters["x_real_time"] =
      benchmark::Counter(seconds * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}

void watch_stereo(benchmark::State& state) {
  const synth::Samples left = channel(1), right = channel(2);
  std::vector<float> x;
  for (std::size_t i = 0; i < left.size(); ++i) {
    x.push_back(left[i]);
    x.push_back(right[i]);
  }
  live::AudioMeter meter(facts(), {});
  live::Board board;
  for (auto _ : state) {
    for (std::size_t at = 0; at + 2 * block <= x.size(); at += 2 * block) {
      if (meter.push(std::span(x).subspan(at, 2 * block))) board.publish(meter.view());
    }
  }
  times_real_time(state);
}
BENCHMARK(watch_stereo)->Unit(benchmark::kMillisecond);

void follow_hum_mono(benchmark::State& state) {
  const synth::Samples x = channel(1);
  live::HumFollower hum(rate, {});
  for (auto _ : state) {
    for (std::size_t at = 0; at + block <= x.size(); at += block)
      (void)hum.push(std::span(x).subspan(at, block));
  }
  times_real_time(state);
}
BENCHMARK(follow_hum_mono)->Unit(benchmark::kMillisecond);

void watch_pictures(benchmark::State& state) {
  frame_synth::Scene scene;
  scene.hum_percent = 3;
  scene.noise = 2;
  std::vector<capture::Frame> frames;
  frame_synth::Source source(scene, 25, 1);
  for (capture::Frame f; source.read(f);) frames.push_back(f);
  live::PictureMeter meter(scene.format(), {});
  std::uint64_t number = 0;
  for (auto _ : state) {
    for (int i = 0; i < 250; ++i) {
      capture::Frame f = frames[static_cast<std::size_t>(i) % frames.size()];
      f.number = number++;
      benchmark::DoNotOptimize(meter.push(f));
    }
  }
  times_real_time(state);
}
BENCHMARK(watch_pictures)->Unit(benchmark::kMillisecond);

void one_answer_of_the_page(benchmark::State& state) {
  const synth::Samples x = channel(1);
  CaptureFacts f = facts();
  f.channels = 1;
  live::AudioMeter meter(f, {});
  (void)meter.push(x);
  live::Board board;
  board.begin(f);
  board.publish(meter.view());
  for (auto _ : state) benchmark::DoNotOptimize(live::snapshot_to_json(board.look()).dump());
}
BENCHMARK(one_answer_of_the_page)->Unit(benchmark::kMicrosecond);

}  // namespace

BENCHMARK_MAIN();
