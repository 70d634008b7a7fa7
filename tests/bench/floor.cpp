// What each path cannot do without, and nothing else: the transforms and passes over the samples that its
// readings are made of, on the same lengths, without any deciding, fitting or searching. How far the real
// measurement is from it is said in the table of tests/bench/table.py.
#include <benchmark/benchmark.h>
#include <ebur128.h>

#include <array>
#include <cmath>
#include <complex>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/decimator.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/dsp/window.hpp>
#include <numbers>
#include <span>
#include <vector>

#include "support/frame_synth.hpp"
#include "support/synth.hpp"
#include "video_interpolate.hpp"

namespace {

using namespace linebench;

struct Sums {
  double sum = 0, square = 0, largest = 0;
};

// One look at every sample.
LINEBENCH_VECTORISED Sums look(std::span<const float> x) {
  dsp::Eight sum{}, square{}, high{}, low{};
  for (std::size_t i = 0; i + 8 <= x.size(); i += 8) {
    dsp::Eight v;
    LINEBENCH_LOAD_EIGHT(v, x.data() + i);
    sum += v;
    square += v * v;
    high = v > high ? v : high;
    low = v < low ? v : low;
  }
  Sums s;
  for (std::size_t k = 0; k < 8; ++k) {
    s.sum += static_cast<double>(sum[k]);
    s.square += static_cast<double>(square[k]);
    s.largest = std::max({s.largest, static_cast<double>(high[k]), -static_cast<double>(low[k])});
  }
  return s;
}

// out = scale x - level.
LINEBENCH_VECTORISED void set_on(std::span<const float> x, float scale, float level, std::span<float> out) {
  for (std::size_t i = 0; i < x.size(); ++i) out[i] = scale * x[i] - level;
}

LINEBENCH_VECTORISED void add_up(std::span<const float> x, std::span<double> sums) {
  for (std::size_t i = 0; i < x.size(); ++i) sums[i] += static_cast<double>(x[i]);
}

// The product with a complex wave that is in a table, summed.
LINEBENCH_VECTORISED std::complex<float> demodulate(std::span<const float> x, const float* cosine,
                                                    const float* sine) {
  dsp::Eight re{}, im{};
  for (std::size_t i = 0; i + 8 <= x.size(); i += 8) {
    dsp::Eight v, c, s;
    LINEBENCH_LOAD_EIGHT(v, x.data() + i);
    LINEBENCH_LOAD_EIGHT(c, cosine + i);
    LINEBENCH_LOAD_EIGHT(s, sine + i);
    re += v * c;
    im += v * s;
  }
  std::complex<float> z;
  for (std::size_t k = 0; k < 8; ++k) z += std::complex<float>(re[k], im[k]);
  return z;
}

// Windowed power spectra of a signal that comes in pieces.
class Spectra {
 public:
  Spectra(std::size_t n, std::size_t hop)
      : fft_(n), window_(dsp::make_window(dsp::Window::BlackmanHarris4, n)), power_(n / 2 + 1), hop_(hop) {}
  void push(std::span<const float> x) {
    held_.insert(held_.end(), x.begin(), x.end());
    std::size_t at = 0;
    for (; at + window_.size() <= held_.size(); at += hop_) {
      double* in = fft_.input().data();
      for (std::size_t i = 0; i < window_.size(); ++i)
        in[i] = window_[i] * static_cast<double>(held_[at + i]);
      fft_.forward();
      const auto out = fft_.output();
      for (std::size_t k = 0; k < power_.size(); ++k) power_[k] += std::norm(out[k]);
    }
    held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(at));
  }

 private:
  dsp::RealFft fft_;
  std::vector<double> window_, power_;
  std::vector<float> held_;
  std::size_t hop_;
};

constexpr std::size_t block = 4096;

struct Wave {
  std::vector<float> cosine, sine;
  Wave(std::size_t n, double cycles) {
    for (std::size_t i = 0; i < n; ++i) {
      const double phase = 2 * std::numbers::pi * cycles * static_cast<double>(i);
      cosine.push_back(static_cast<float>(std::cos(phase)));
      sine.push_back(static_cast<float>(std::sin(phase)));
    }
  }
};

// One channel at 48 kHz: levels, the spectrum of tone and noise (0.68 s, a quarter overlapping), the low
// band's spectra (25 a second), the line whistle's mixing (each sample six times, once for each window over
// it), a look for clicks and one for clipping, on an idle path the quasi-peak meter's filter [BS.468-4] of
// six poles.
class Channel {
 public:
  explicit Channel(bool idle) : idle_(idle), slow_(48000, 5400), whistle_(720, 15680.0 / 48000) {
    const auto hop = static_cast<std::size_t>(0.04 * slow_.rate_hz());
    low_ = std::make_unique<Spectra>(4 * hop, hop);
    if (idle) weighted_ = dsp::butterworth_lowpass(6, 6300, 48000);
  }
  void push(std::span<const float> x) {
    benchmark::DoNotOptimize(look(x));
    wide_.push(x);
    low_->push(slow_.push(x));
    for (std::size_t at = 0; at + 720 <= x.size(); at += 120)
      benchmark::DoNotOptimize(demodulate(x.subspan(at, 720), whistle_.cosine.data(), whistle_.sine.data()));
    for (int events = 0; events < 2; ++events) benchmark::DoNotOptimize(look(x));
    if (!idle_) return;
    double loudest = 0;
    for (const float v : x) loudest = std::max(loudest, weighted_.step(static_cast<double>(v)));
    benchmark::DoNotOptimize(loudest);
  }

 private:
  bool idle_;
  Spectra wide_{32768, 24576};
  dsp::Decimator slow_;
  std::unique_ptr<Spectra> low_;
  Wave whistle_;
  dsp::Cascade weighted_;
};

// A minute of stereo; loudness by the library that everybody uses; both sides' spectra for the pair, of all
// of the first twelve seconds and of a quarter of the rest. Argument: 1 with a test tone, 0 an idle path.
void audio(benchmark::State& state) {
  const bool idle = state.range(0) == 0;
  constexpr std::size_t n = 60 * 48000;
  std::array<synth::Samples, 2> x{synth::Samples(n), synth::Samples(n)};
  for (auto& side : x) {
    if (!idle) synth::add_sine(side, 48000, 997, -20);
    synth::add_noise(side, -80, 1);
  }
  for (auto _ : state) {
    std::array<Channel, 2> channels{Channel(idle), Channel(idle)};
    std::array<Spectra, 2> pair{Spectra(8192, 8192), Spectra(8192, 8192)};
    ebur128_state* loudness = ebur128_init(2, 48000, EBUR128_MODE_I | EBUR128_MODE_LRA);
    std::vector<float> both(2 * block);
    for (std::size_t at = 0; at + block <= n; at += block) {
      for (std::size_t c = 0; c < 2; ++c) {
        const std::span<const float> part(x[c].data() + at, block);
        for (std::size_t i = 0; i < block; ++i) both[2 * i + c] = part[i];
        channels[c].push(part);
        if (at < 12 * 48000 || at / block % 8 < 2) pair[c].push(part);
      }
      ebur128_add_frames_float(loudness, both.data(), block);
    }
    ebur128_destroy(&loudness);
  }
}
BENCHMARK(audio)->Name("floor_audio")->Arg(1)->Arg(0)->Unit(benchmark::kMillisecond);

// A second of 27 MS/s: a look at every sample; each line's sync edge (a filter of 31 taps over 3 us), its
// clamp, its burst against a carrier, the line set on its clamp, brought to its edge by the measurement's own
// interpolation and added up, a look at it for noise, and the spectrum of 32 us of each. Before, the signal
// is looked for in 0.12 s.
void waveform(benchmark::State& state) {
  constexpr std::size_t per_line = 1728, lines = 15625;
  std::vector<float> x(per_line * lines + 2 * per_line);
  synth::add_noise(x, -20, 1);
  const Wave carrier(64, 4433618.75 / 27e6);
  std::vector<float> volts(per_line + 96), line(per_line), low(x.size());
  std::vector<double> sums(per_line);
  for (auto _ : state) {
    Spectra noise(864, 864);
    const std::span<const float> all(x);
    const auto edge_filter = [&](std::size_t from, std::size_t to) {
      for (std::size_t i = from; i < to; ++i) {
        float y = 0;
        for (std::size_t k = 0; k < 31; ++k) y += x[i + k];
        low[i] = y;
      }
    };
    edge_filter(0, 3'240'000);
    for (std::size_t at = 0; at + block <= x.size(); at += block)
      benchmark::DoNotOptimize(look(all.subspan(at, block)));
    for (std::size_t l = 0; l < lines; ++l) {
      const std::size_t at = l * per_line;
      edge_filter(at, at + 81);
      const auto clamp = look(all.subspan(at + 200, 64));
      benchmark::DoNotOptimize(
          demodulate(all.subspan(at + 150, 64), carrier.cosine.data(), carrier.sine.data()));
      set_on(all.subspan(at, volts.size()), 1000, static_cast<float>(clamp.sum), volts);
      measure::interpolate(volts, 40.3, 1.0, line);
      add_up(line, sums);
      benchmark::DoNotOptimize(look(line));
      noise.push(std::span<const float>(line).subspan(432, 864));
    }
  }
}
BENCHMARK(waveform)->Name("floor_waveform")->Unit(benchmark::kMillisecond);

// At 192 kHz: to millivolts with a look for clipping, the search for the line rate in the first three seconds
// (0.2 s spectra, half overlapping) with the half lines' means and tone there, then the line's tone, each
// field added up at its place, and hum's low band with one spectrum of it all. Argument: seconds.
void lowband(benchmark::State& state) {
  const auto n = static_cast<std::size_t>(state.range(0)) * 192000;
  constexpr std::size_t per_field = 3840, half_line = 6;
  std::vector<float> x(n);
  synth::add_noise(x, -20, 1);
  const Wave tone(block, 15625.0 / 192000);
  std::vector<float> mv(block), field(per_field);
  std::vector<double> sums(per_field);
  for (auto _ : state) {
    const std::span<const float> all(x);
    constexpr std::size_t looked_at = 3 * 192000;
    Spectra search(38400, 19200);
    search.push(all.first(looked_at));
    std::complex<double> running;
    std::vector<std::complex<double>> half_lines;
    for (std::size_t i = 0; i < looked_at; ++i) {
      const auto value = static_cast<double>(x[i]);
      running += value * std::complex<double>(static_cast<double>(tone.cosine[i % block]),
                                              static_cast<double>(tone.sine[i % block]));
      if (i % half_line == 0) half_lines.push_back(running);
    }
    benchmark::DoNotOptimize(half_lines);
    dsp::Decimator slow(192000, 1000);
    std::vector<float> low;
    for (std::size_t at = 0; at + block <= n; at += block) {
      set_on(all.subspan(at, block), 1000, 0, mv);
      benchmark::DoNotOptimize(look(mv));
      benchmark::DoNotOptimize(demodulate(mv, tone.cosine.data(), tone.sine.data()));
      const auto out = slow.push(mv);
      low.insert(low.end(), out.begin(), out.end());
    }
    for (std::size_t at = 0; at + per_field + 32 <= n; at += per_field) {
      measure::interpolate(all.subspan(at, per_field + 32), 16.3, 1.0, field);
      add_up(field, sums);
    }
    Spectra hum(dsp::next_fast_size(low.size()) / 2, low.size());
    hum.push(low);
  }
}
BENCHMARK(lowband)->Arg(5)->Arg(60)->Name("floor_lowband")->Unit(benchmark::kMillisecond);

// Sums of rows' differences over two frames of the same size, bytes.
LINEBENCH_VECTORISED std::uint64_t difference(const std::uint8_t* a, const std::uint8_t* b, std::size_t n) {
  std::uint64_t sum = 0;
  constexpr std::size_t part = 4096;
  for (std::size_t at = 0; at < n; at += part) {
    std::uint32_t square = 0;
    for (std::size_t i = at; i < std::min(n, at + part); ++i) {
      const int d = static_cast<int>(a[i]) - static_cast<int>(b[i]);
      square += static_cast<std::uint32_t>(d * d);
    }
    sum += square;
  }
  return sum;
}

// Two seconds of 720x576x25: each frame handed over, its rows' sums (hum, levels), its difference from the
// frame before (noise), from its own rows two on (structure, rolling), from itself moved by a pixel (edges,
// jitter), and the same of the two colour planes once.
void picture(benchmark::State& state) {
  frame_synth::Scene scene;
  scene.noise = 1.5;
  std::vector<capture::Frame> frames;
  frame_synth::Source source(scene, 50, 1);
  for (capture::Frame f; source.read(f);) frames.push_back(f);
  constexpr std::size_t width = 720;
  for (auto _ : state) {
    capture::Frame now, before;
    for (const capture::Frame& f : frames) {
      std::swap(now, before);
      now = f;
      const std::size_t n = now.y.size();
      for (std::size_t at = 0; at < n; at += width) {
        std::uint32_t sum = 0;
        for (std::size_t i = at; i < at + width; ++i) sum += now.y[i];
        benchmark::DoNotOptimize(sum);
      }
      if (before.y.size() == n) benchmark::DoNotOptimize(difference(now.y.data(), before.y.data(), n));
      benchmark::DoNotOptimize(difference(now.y.data(), now.y.data() + 2 * width, n - 2 * width));
      benchmark::DoNotOptimize(difference(now.y.data(), now.y.data() + 1, n - 1));
      benchmark::DoNotOptimize(difference(now.cb.data(), now.cr.data(), now.cb.size()));
    }
  }
}
BENCHMARK(picture)->Name("floor_picture")->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
