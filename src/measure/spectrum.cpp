#include <algorithm>
#include <cmath>
#include <linebench/measure/spectrum.hpp>
#include <numeric>

namespace linebench::measure {
namespace {

constexpr std::size_t gain_steps = 512;  // table over 0..0.5 bins: linear interpolation good to 1e-6

// Captures at least this long get the long segments, with a quarter overlap: what is lost in averaging is
// less than the time that more would cost.
constexpr double long_capture_s = 4.0;
constexpr double long_segment_s = 0.682;
constexpr double long_hop = 0.75;
// Shorter ones are cut into about this many lengths, with three quarters overlap.
constexpr double short_parts = 10.0;
constexpr double shortest_segment_s = 0.1;
// A line and its harmonics lie apart when this many periods fit in a segment (half a main lobe).
constexpr double periods_apart = 7.2;
// Below this the comb of the mains (45 Hz apart at least) must come apart as well.
constexpr double mains_region_hz = 200.0;
constexpr double mains_segment_s = 0.25;
constexpr double most_of_capture = 0.7;

// sum v[i]^power v[i + lag]^power over sum v^(2 power)
double overlap(std::span<const double> v, std::size_t lag, bool squared) {
  double a = 0;
  double b = 0;
  for (std::size_t i = 0; i < v.size(); ++i) {
    const double x = squared ? v[i] * v[i] : v[i];
    b += x * x;
    if (i + lag < v.size()) a += x * (squared ? v[i + lag] * v[i + lag] : v[i + lag]);
  }
  return a / b;
}

double looks(std::size_t segments, std::span<const double> correlation) {
  const auto n = static_cast<double>(segments);
  double sum = 1.0;
  for (std::size_t k = 0; k < correlation.size() && k + 1 < segments; ++k) {
    sum += 2.0 * correlation[k] * (1.0 - static_cast<double>(k + 1) / n);
  }
  return n / sum;
}

}  // namespace

std::vector<double> segment_weights(std::size_t n) {
  std::vector<double> w = dsp::make_window(segment_window, n);
  double w2 = 0;
  for (const double v : w) w2 += v * v;
  const double scale = std::sqrt(2.0 / (static_cast<double>(n) * w2));
  for (double& v : w) v *= scale;
  return w;
}

SpectrumShape::SpectrumShape(double rate, std::size_t length, std::size_t step)
    : rate_hz(rate),
      n(length),
      hop(step),
      bin_hz(rate / static_cast<double>(length)),
      line_bins(dsp::noise_bandwidth_bins(segment_window)),
      energy_share(0) {
  // The correlations depend on hop / n alone; a coarse copy of the window is exact enough and quick.
  constexpr std::size_t coarse = 2048;
  const std::vector<double> w = dsp::make_window(segment_window, coarse);
  double w2 = 0;
  double w4 = 0;
  for (const double v : w) {
    w2 += v * v;
    w4 += v * v * v * v;
  }
  energy_share = w2 * w2 / w4 / static_cast<double>(coarse);
  for (std::size_t k = 1; k * hop < n; ++k) {
    const auto lag = static_cast<std::size_t>(static_cast<double>(k * hop) / static_cast<double>(n) * coarse);
    line_overlap_.push_back(overlap(w, lag, false));
    power_overlap_.push_back(overlap(w, lag, true));
  }
  for (std::size_t i = 0; i <= gain_steps + 1; ++i) {
    near_gain_.push_back(dsp::window_response(segment_window, 0.5 * static_cast<double>(i) / gain_steps));
  }
}

double SpectrumShape::looks_at_line(std::size_t segments) const { return looks(segments, line_overlap_); }
double SpectrumShape::looks_at_power(std::size_t segments) const {
  return energy_share * looks(segments, power_overlap_);
}

double SpectrumShape::slope_variance(std::size_t segments) const {
  const auto count = static_cast<double>(segments);
  const double middle = (count - 1.0) / 2.0;
  const double spread = count * (count * count - 1.0) / 12.0;
  double sum = spread;
  for (std::size_t k = 1; k <= line_overlap_.size() && k < segments; ++k) {
    double lagged = 0;
    for (std::size_t i = 0; i + k < segments; ++i) {
      lagged += (static_cast<double>(i) - middle) * (static_cast<double>(i + k) - middle);
    }
    sum += 2.0 * line_overlap_[k - 1] * lagged;
  }
  return std::max(sum, 0.1 * spread) / (spread * spread);
}

double SpectrumShape::gain(double bins) const {
  const double at = std::abs(bins) * 2.0 * gain_steps;
  if (at > gain_steps) return dsp::window_response(segment_window, bins);
  const auto i = static_cast<std::size_t>(at);
  const double share = at - static_cast<double>(i);
  return near_gain_[i] + share * (near_gain_[i + 1] - near_gain_[i]);
}

std::complex<double> SpectrumShape::line(std::span<const std::complex<double>> spectrum, double bins) const {
  const auto b = static_cast<std::size_t>(std::lround(bins));
  // The window is centred, so that each bin turns by half a turn from the last.
  const double sign = b % 2 == 0 ? 1.0 : -1.0;
  return spectrum[b] * (sign * std::sqrt(line_bins) / gain(bins - static_cast<double>(b)));
}

double SpectrumShape::line_noise(double bins) const {
  const double g = gain(bins - std::round(bins));
  return line_bins / (g * g);
}

Segmenter::Segmenter(double rate_hz) : rate_hz_(rate_hz) {}

void Segmenter::push(std::span<const float> samples, const Each& each) {
  held_.insert(held_.end(), samples.begin(), samples.end());
  if (!shape_ && static_cast<double>(held_.size()) >= long_capture_s * rate_hz_) choose();
  if (shape_) work(each);
}

void Segmenter::finish(const Each& each) {
  if (!shape_ && held_.size() >= 64) choose();
  if (shape_) work(each);
}

double Segmenter::strongest_hz() const {
  std::size_t n = dsp::next_fast_size(held_.size() / 2);
  n = std::min(n, held_.size());
  dsp::RealFft fft(n);
  const std::vector<double> w = dsp::make_window(dsp::Window::BlackmanHarris4, n);
  const std::size_t from = (held_.size() - n) / 2;
  for (std::size_t i = 0; i < n; ++i) fft.input()[i] = w[i] * (static_cast<double>(held_[from + i]) - dc_);
  fft.forward();
  std::size_t best = 1;
  for (std::size_t b = 1; b <= n / 2; ++b) {
    if (std::norm(fft.output()[b]) > std::norm(fft.output()[best])) best = b;
  }
  return static_cast<double>(best) * rate_hz_ / static_cast<double>(n);
}

void Segmenter::choose() {
  dc_ = std::accumulate(held_.begin(), held_.end(), 0.0) / static_cast<double>(held_.size());
  const double length_s = static_cast<double>(held_.size()) / rate_hz_;
  double segment_s = long_segment_s;
  double hop_share = long_hop;
  if (length_s < long_capture_s) {
    const double lowest = strongest_hz();
    segment_s = std::max({length_s / short_parts, shortest_segment_s, periods_apart / lowest,
                          lowest < mains_region_hz ? mains_segment_s : 0.0});
    hop_share = segment_s > 0.25 * length_s ? 1.0 / 16.0 : 0.25;
    segment_s = std::min({segment_s, most_of_capture * length_s, long_segment_s});
  }
  auto n = 2 * dsp::next_fast_size(static_cast<std::size_t>(segment_s * rate_hz_ / 2.0));
  if (n > held_.size()) n = held_.size() & ~std::size_t{1};
  const std::size_t hop = std::max<std::size_t>(1, std::llround(hop_share * static_cast<double>(n)));
  shape_ = std::make_unique<SpectrumShape>(rate_hz_, n, hop);
  fft_ = std::make_unique<dsp::RealFft>(n);
  window_ = segment_weights(n);
}

void Segmenter::work(const Each& each) {
  const std::size_t n = shape_->n;
  std::size_t at = 0;
  for (; at + n <= held_.size(); at += shape_->hop) {
    double* in = fft_->input().data();
    const float* x = held_.data() + at;
    const double* w = window_.data();
    const double dc = dc_;
    for (std::size_t i = 0; i < n; ++i) in[i] = (static_cast<double>(x[i]) - dc) * w[i];
    fft_->forward();
    each(*shape_, {fft_->output(), held_start_ + at});
  }
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(at));
  held_start_ += at;
}

}  // namespace linebench::measure
