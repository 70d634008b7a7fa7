#include <algorithm>
#include <cmath>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/window.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t most_overlaid = 24;
constexpr std::size_t points = 800;  // of a line: 80 ns apart
constexpr std::size_t most_spectra = 1024;
constexpr std::uint64_t spectrum_every = 7;  // lines; odd, so that both fields and all V switches take part
constexpr std::uint64_t unnumbered_line = 100;

}  // namespace

struct VideoTraceMeter::Impl {
  Impl(const VideoSetup& s, std::vector<int> numbers)
      : wanted(std::move(numbers)),
        samples(static_cast<std::size_t>(s.line_period_samples)),
        window(dsp::make_window(dsp::Window::Hann, std::max<std::size_t>(samples, 2))),
        fft(dsp::next_fast_size(std::max<std::size_t>(samples, 2))),
        power(fft.size() / 2 + 1, 0.0) {
    const auto& standard = standards::standard_of(s.lines);
    active_from = standard.active_start_us.nominal;
    active_to = standard.active_end_us();
    if (wanted.empty()) wanted = {s.lines == 625 ? 167 : 142};
  }
  VideoTraces out;
  std::vector<int> wanted;
  std::size_t samples;
  std::vector<double> window;
  dsp::RealFft fft;
  std::vector<double> power;
  std::size_t spectra = 0;
  double active_from = 10;
  double active_to = 62;
  double bursts = 0;

  [[nodiscard]] static VideoTraces::Line take(const LineView& v) {
    VideoTraces::Line l;
    l.number = v.line;
    const double from = -2;
    const double period = v.line_period_samples / v.samples_per_us();
    const double step = (period + 1 - from) / static_cast<double>(points - 1);
    std::vector<float> mv(points);
    v.resample(from, step, mv);
    for (std::size_t i = 0; i < points; ++i) {
      l.us.push_back(from + static_cast<double>(i) * step);
      l.mv.push_back(static_cast<double>(mv[i]));
    }
    return l;
  }
  void take_chroma(const LineView& v) {
    constexpr double step_us = 0.3;
    const double width = 5 * v.setup->subcarrier_us();
    for (double t = active_from; t + width < active_to; t += step_us)
      out.chroma.push_back(v.chroma(t, t + width));
  }
  void add_spectrum(const LineView& v) {
    const auto first = static_cast<std::int64_t>(std::ceil(v.position(0)));
    if (first < 0 || first + static_cast<std::int64_t>(samples) > static_cast<std::int64_t>(v.mv.size()))
      return;
    std::fill(fft.input().begin(), fft.input().end(), 0.0);
    for (std::size_t i = 0; i < samples; ++i)
      fft.input()[i] = window[i] * static_cast<double>(v.mv[static_cast<std::size_t>(first) + i]);
    fft.forward();
    for (std::size_t k = 0; k < power.size(); ++k) power[k] += std::norm(fft.output()[k]);
    ++spectra;
  }
};

VideoTraceMeter::VideoTraceMeter(const VideoSetup& setup, std::vector<int> lines)
    : impl_(std::make_unique<Impl>(setup, std::move(lines))) {}
VideoTraceMeter::~VideoTraceMeter() = default;
const VideoTraces& VideoTraceMeter::traces() const { return impl_->out; }

void VideoTraceMeter::line(const LineView& v) {
  Impl& d = *impl_;
  if (!v.sync_found || !v.covers(-2, v.line_period_samples / v.samples_per_us() + 1)) return;
  const bool numbered = v.setup->numbered;
  for (const int n : d.wanted) {
    const bool have = std::any_of(d.out.chosen.begin(), d.out.chosen.end(),
                                  [&](const VideoTraces::Line& l) { return l.number == n || !numbered; });
    if (!have && (numbered ? v.line == n : v.index == unnumbered_line)) d.out.chosen.push_back(Impl::take(v));
  }
  if (v.kind != LineKind::Picture) return;
  const auto every = static_cast<std::uint64_t>(v.setup->lines) / most_overlaid;
  if (d.out.overlaid.size() < most_overlaid && v.index % every == every / 2 &&
      v.index < static_cast<std::uint64_t>(v.setup->lines) * 2) {
    d.out.overlaid.push_back(Impl::take(v));
    if (v.setup->colour) d.take_chroma(v);
  }
  if (v.colour_burst && d.bursts < 4096) {
    d.out.burst += v.burst;
    d.bursts += 1;
  }
  if (d.spectra < most_spectra && v.index % spectrum_every == 0) d.add_spectrum(v);
}

void VideoTraceMeter::finish(const VideoSetup& setup, Readings& /*out*/) {
  Impl& d = *impl_;
  d.out.lines = setup.lines;
  d.out.setup = setup.setup;
  if (d.bursts > 0) d.out.burst /= d.bursts;
  if (d.spectra == 0) return;
  double sum = 0;
  for (const double w : d.window) sum += w;
  d.out.spectrum.x_unit = "Hz";
  d.out.spectrum.y_unit = "dB";
  const double bin = setup.rate_hz / static_cast<double>(d.fft.size());
  for (std::size_t k = 1; k < d.power.size(); ++k) {
    const double amplitude_mv = 2 * std::sqrt(d.power[k] / static_cast<double>(d.spectra)) / sum;
    d.out.spectrum.x.push_back(bin * static_cast<double>(k));
    d.out.spectrum.y.push_back(20 * std::log10(std::max(2 * amplitude_mv / 1000, 1e-7)));
  }
}

}  // namespace linebench::measure
