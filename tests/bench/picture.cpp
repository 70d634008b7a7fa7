// The picture measures on one core, each by itself and all together: two seconds of 720x576x25, of bars and
// of a live picture. Wanted: all together faster than 8 x real time, that is 250 ms.
#include <benchmark/benchmark.h>

#include "picture_fields.hpp"
#include "picture_hum.hpp"
#include "picture_levels.hpp"
#include "picture_lines.hpp"
#include "picture_noise.hpp"
#include "picture_roll.hpp"
#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using capture::Frame;

constexpr int frames = 50;

frame_synth::Scene scene(bool live) {
  frame_synth::Scene s;
  s.noise = 1.5;
  s.hum_percent = 1;
  s.coloured_bars = !live;
  if (live) s.picture = frame_synth::landscape;
  return s;
}

struct Material {
  std::vector<Frame> list;
  capture::FrameFormat format;
  measure::PictureSetup setup;
  std::vector<std::vector<std::uint16_t>> sums;
};
const Material& material(bool live) {
  static const auto make = [](bool which) {
    Material m;
    frame_synth::Source source(scene(which), frames, 1);
    m.format = source.format();
    Frame f;
    while (source.read(f)) m.list.push_back(f);
    m.setup = measure::make_picture_setup(std::span(m.list).first(12), m.format, {});
    for (const Frame& x : m.list) {
      m.sums.emplace_back(static_cast<std::size_t>(m.setup.blocks() * m.setup.height()));
      measure::sum_blocks(x.y.data(), m.setup.width(), m.setup.height(), m.sums.back().data());
    }
    return m;
  };
  static const Material bars = make(false);
  static const Material landscape = make(true);
  return live ? landscape : bars;
}

void times_real_time(benchmark::State& state) {
  state.counters["x_real_time"] = benchmark::Counter(frames / 25.0 * static_cast<double>(state.iterations()),
                                                     benchmark::Counter::kIsRate);
}

void feed(const Material& m, measure::FrameMeter& meter) {
  for (std::size_t i = 0; i < m.list.size(); ++i) {
    meter.push({&m.setup, &m.list[i], i > 0 ? &m.list[i - 1] : nullptr, i,
                static_cast<double>(i) * m.setup.frame_s, 0, m.sums[i]});
  }
}

// Argument: 0 bars, 1 a live picture.
template <typename Meter>
void one(benchmark::State& state) {
  const Material& m = material(state.range(0) != 0);
  for (auto _ : state) {
    Meter meter(m.setup);
    feed(m, meter);
    benchmark::DoNotOptimize(&meter);
  }
  times_real_time(state);
}
BENCHMARK(one<measure::PictureNoiseMeter>)->Name("noise")->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);
BENCHMARK(one<measure::PictureLineMeter>)->Name("jitter")->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);
BENCHMARK(one<measure::PictureLevelMeter>)->Name("levels")->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);
BENCHMARK(one<measure::PictureRollMeter>)->Name("roll")->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);
BENCHMARK(one<measure::PictureFieldMeter>)->Name("fields")->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

void hum(benchmark::State& state) {
  const Material& m = material(state.range(0) != 0);
  for (auto _ : state) {
    measure::PictureHumMeter meter(m.setup, std::nullopt);
    feed(m, meter);
    Readings out;
    meter.finish(false, 1.5, out, nullptr);
    benchmark::DoNotOptimize(out);
  }
  times_real_time(state);
}
BENCHMARK(hum)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

// The look ahead: noise, pattern, what stands still.
void setup(benchmark::State& state) {
  const Material& m = material(state.range(0) != 0);
  for (auto _ : state)
    benchmark::DoNotOptimize(measure::make_picture_setup(std::span(m.list).first(12), m.format, {}));
}
BENCHMARK(setup)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

class FromMemory final : public capture::FrameSource {
 public:
  explicit FromMemory(const Material& m) : m_(m) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const capture::FrameFormat& format() const override { return m_.format; }
  bool read(Frame& f) override {
    if (at_ >= m_.list.size()) return false;
    f = m_.list[at_++];
    return true;
  }

 private:
  const Material& m_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};

void all_together(benchmark::State& state) {
  const Material& m = material(state.range(0) != 0);
  for (auto _ : state) {
    FromMemory source(m);
    benchmark::DoNotOptimize(measure::measure_picture(source, {}));
  }
  times_real_time(state);
}
BENCHMARK(all_together)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
