#include <algorithm>
#include <bit>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/window.hpp>
#include <linebench/measure/traces.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t max_points = 1000;
constexpr std::size_t max_segments = 32;
constexpr double column_s = 0.005;  // narrowest column of the level over time
constexpr double lowest_hz = 10.0;  // below it no plot looks

double floored(double db) { return std::max(db, trace_floor_dbfs); }

// Lines of 1 to 2 Hz at every rate, so that mains harmonics stand apart, with the window's +-4 lines, from
// all near them.
std::size_t segment_length(double rate_hz) {
  return std::bit_ceil(static_cast<std::size_t>(std::clamp(rate_hz / 2.0, 256.0, 131072.0)));
}

// Level in columns of a width that doubles when they run out.
class LevelColumns {
 public:
  explicit LevelColumns(std::size_t width) : width_(std::max<std::size_t>(width, 1)) {
    columns_.reserve(max_points);
  }

  // `count` samples of one channel, `stride` apart.
  void push(const float* x, std::size_t count, std::size_t stride) {
    while (count > 0) {
      const std::size_t n = std::min(count, width_ - open_.count);
      // Two sums side by side: one alone waits for its own last addition.
      double even = 0, odd = 0;
      float peak = 0;
      std::size_t i = 0;
      for (; i + 1 < n; i += 2) {
        const float a = x[i * stride];
        const float b = x[(i + 1) * stride];
        even += static_cast<double>(a * a);
        odd += static_cast<double>(b * b);
        peak = std::max(peak, std::max(std::abs(a), std::abs(b)));
      }
      if (i < n) {
        even += static_cast<double>(x[i * stride] * x[i * stride]);
        peak = std::max(peak, std::abs(x[i * stride]));
      }
      open_.merge({even + odd, static_cast<double>(peak), n});
      if (open_.count == width_) close();
      x += n * stride;
      count -= n;
    }
  }

  void curves(double rate_hz, ChannelTraces& out) {
    if (open_.count > 0) columns_.push_back(open_);
    out.level_rms = {{}, {}, "s", "dBFS", {}};
    out.level_peak = out.level_rms;
    std::size_t at = 0;
    for (const Column& c : columns_) {
      const double mid = (static_cast<double>(at) + static_cast<double>(c.count) / 2.0) / rate_hz;
      at += c.count;
      out.level_rms.x.push_back(mid);
      out.level_rms.y.push_back(floored(dbfs_from_power(c.square / static_cast<double>(c.count))));
      out.level_peak.x.push_back(mid);
      out.level_peak.y.push_back(floored(db_from_amplitude(c.peak)));
    }
  }

 private:
  struct Column {
    double square = 0;
    double peak = 0;
    std::size_t count = 0;
    void merge(const Column& o) {
      square += o.square;
      peak = std::max(peak, o.peak);
      count += o.count;
    }
  };

  void close() {
    columns_.push_back(open_);
    open_ = {};
    if (columns_.size() + 1 < max_points) return;  // one place is kept for the open column
    const std::size_t pairs = columns_.size() / 2;
    for (std::size_t i = 0; i < pairs; ++i) {
      Column c = columns_[2 * i];
      c.merge(columns_[2 * i + 1]);
      columns_[i] = c;
    }
    if (columns_.size() % 2 != 0) open_ = columns_.back();
    columns_.resize(pairs);
    width_ *= 2;
  }

  std::size_t width_;
  Column open_;
  std::vector<Column> columns_;
};

// Power spectra of segments into a curve, the strongest line of each log column kept.
Curve log_spectrum(const std::vector<double>& power, double rate_hz, std::size_t n, std::size_t segments) {
  Curve out{{}, {}, "Hz", "dBFS", {}};
  const double amplitude = static_cast<double>(n) * dsp::coherent_gain(dsp::Window::BlackmanHarris4);
  // A sine of amplitude a gives a line of magnitude a N g / 2; its level re full scale is 20 lg a.
  const double scale = 4.0 / (amplitude * amplitude * static_cast<double>(segments));
  const double top = rate_hz / 2.0;
  const double columns_per_log = static_cast<double>(max_points - 2) / std::log(top / lowest_hz);
  long column = -1;
  for (std::size_t k = 1; k < power.size(); ++k) {
    const double hz = static_cast<double>(k) * rate_hz / static_cast<double>(n);
    if (hz < lowest_hz) continue;
    const double db = floored(db_from_power(power[k] * scale));
    const long c = std::lround(std::floor(std::log(hz / lowest_hz) * columns_per_log));
    if (c != column) {
      column = c;
      out.x.push_back(hz);
      out.y.push_back(db);
    } else if (db > out.y.back()) {
      out.x.back() = hz;
      out.y.back() = db;
    }
  }
  return out;
}

}  // namespace

struct TraceAnalyser::Impl {
  double rate_hz;
  std::size_t channels;
  std::size_t length;                    // of a segment, samples
  std::size_t stride = 1;                // every stride-th stretch of the stream is kept
  std::size_t stretch = 0;               // index of the running stretch
  std::size_t filled = 0;                // frames of the running stretch seen
  std::vector<std::vector<float>> kept;  // interleaved segments
  std::vector<float> running;
  std::vector<LevelColumns> levels;

  Impl(double rate, int count)
      : rate_hz(rate),
        channels(static_cast<std::size_t>(count)),
        length(segment_length(rate)),
        levels(channels, LevelColumns(static_cast<std::size_t>(rate * column_s))) {}

  void push_spectrum(std::span<const float> x) {
    while (!x.empty()) {
      const std::size_t take = std::min(x.size(), (length - filled) * channels);
      if (stretch % stride == 0)
        running.insert(running.end(), x.begin(), x.begin() + static_cast<long>(take));
      filled += take / channels;
      x = x.subspan(take);
      if (filled == length) close_stretch();
    }
  }

  void close_stretch() {
    if (stretch % stride == 0) {
      kept.push_back(std::move(running));
      running = {};
    }
    ++stretch;
    filled = 0;
    if (kept.size() < max_segments) return;
    for (std::size_t i = 1; 2 * i < kept.size(); ++i) kept[i] = std::move(kept[2 * i]);
    kept.resize((kept.size() + 1) / 2);
    stride *= 2;
  }

  // A stream shorter than one stretch: what there is of it, cut to a power of two.
  void keep_short() {
    if (!kept.empty()) return;
    const std::size_t frames = running.size() / channels;
    if (frames < 64) return;
    length = std::bit_floor(frames);
    running.resize(length * channels);
    kept.push_back(std::move(running));
  }

  std::vector<ChannelTraces> finish() {
    std::vector<ChannelTraces> out(channels);
    for (std::size_t c = 0; c < channels; ++c) levels[c].curves(rate_hz, out[c]);
    keep_short();
    if (kept.empty()) return out;
    dsp::RealFft fft(length);
    const std::vector<double> window = dsp::make_window(dsp::Window::BlackmanHarris4, length);
    for (std::size_t c = 0; c < channels; ++c) {
      std::vector<double> power(length / 2 + 1, 0.0);
      for (const auto& segment : kept) {
        const auto in = fft.input();
        for (std::size_t i = 0; i < length; ++i)
          in[i] = static_cast<double>(segment[i * channels + c]) * window[i];
        fft.forward();
        const auto bins = fft.output();
        for (std::size_t k = 0; k < power.size(); ++k) power[k] += std::norm(bins[k]);
      }
      out[c].spectrum = log_spectrum(power, rate_hz, length, kept.size());
    }
    return out;
  }
};

TraceAnalyser::TraceAnalyser(double rate_hz, int channels)
    : impl_(std::make_unique<Impl>(rate_hz, channels)) {}
TraceAnalyser::~TraceAnalyser() = default;
TraceAnalyser::TraceAnalyser(TraceAnalyser&&) noexcept = default;
TraceAnalyser& TraceAnalyser::operator=(TraceAnalyser&&) noexcept = default;

void TraceAnalyser::push(std::span<const float> interleaved) {
  const std::size_t n = impl_->channels;
  for (std::size_t c = 0; c < n; ++c) {
    impl_->levels[c].push(interleaved.data() + c, interleaved.size() / n, n);
  }
  impl_->push_spectrum(interleaved);
}

std::vector<ChannelTraces> TraceAnalyser::finish() { return impl_->finish(); }

std::size_t TracingSource::read(std::span<float> interleaved) {
  const std::size_t frames = inner_.read(interleaved);
  const auto channels = static_cast<std::size_t>(std::max(inner_.facts().channels, 1));
  analyser_.push(interleaved.first(frames * channels));
  return frames;
}

}  // namespace linebench::measure
