// Finding the sent signal in the return: lag and clock.
#include <samplerate.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

#include "response_path.hpp"

namespace linebench::measure::response {
namespace {

constexpr double coarse_rate_hz = 12000.0;
constexpr double whitening_hz = 100.0;  // spectra are levelled over this width
constexpr double segment_clear = 8.0;   // a segment's correlation peak over its rms

std::vector<float> decimate(std::span<const float> x, double rate_hz, std::size_t by) {
  if (by <= 1) return {x.begin(), x.end()};
  dsp::Cascade low = dsp::butterworth_lowpass(8, 0.4 * rate_hz / static_cast<double>(by), rate_hz);
  std::vector<float> out;
  out.reserve(x.size() / by + 1);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double y = low.step(static_cast<double>(x[n]));
    if (n % by == 0) out.push_back(static_cast<float>(y));
  }
  return out;
}

// Mean power over +-half bins.
std::vector<double> levelled(std::span<const Complex> s, std::size_t half) {
  std::vector<double> sum(s.size() + 1, 0.0);
  for (std::size_t k = 0; k < s.size(); ++k) sum[k + 1] = sum[k] + std::norm(s[k]);
  std::vector<double> out(s.size());
  for (std::size_t k = 0; k < s.size(); ++k) {
    const std::size_t lo = k > half ? k - half : 0;
    const std::size_t hi = std::min(s.size(), k + half + 1);
    out[k] = (sum[hi] - sum[lo]) / static_cast<double>(hi - lo);
  }
  return out;
}

struct Found {
  double lag = 0;
  double standing_out = 0;
};

// Whitened correlation of b against a; lags from `first` to `last`.
Found correlate(std::span<const float> a, std::span<const float> b, double rate_hz, std::ptrdiff_t first,
                std::ptrdiff_t last) {
  const std::size_t n = dsp::next_fast_size(a.size() + b.size());
  dsp::RealFft fa(n);
  dsp::RealFft fb(n);
  std::copy(a.begin(), a.end(), fa.input().begin());
  std::fill(fa.input().begin() + static_cast<std::ptrdiff_t>(a.size()), fa.input().end(), 0.0);
  std::copy(b.begin(), b.end(), fb.input().begin());
  std::fill(fb.input().begin() + static_cast<std::ptrdiff_t>(b.size()), fb.input().end(), 0.0);
  fa.forward();
  fb.forward();
  const auto half = static_cast<std::size_t>(0.5 * whitening_hz * static_cast<double>(n) / rate_hz) + 1;
  const std::vector<double> pa = levelled(fa.output(), half);
  const std::vector<double> pb = levelled(fb.output(), half);
  // Bands that were hardly sent tell nothing and would only add the return's noise.
  const double least = 1e-6 * *std::max_element(pa.begin(), pa.end());
  for (std::size_t k = 0; k < pa.size(); ++k) {
    const double scale = pa[k] > least && pb[k] > 0 ? 1.0 / std::sqrt(pa[k] * pb[k]) : 0.0;
    fb.output()[k] *= std::conj(fa.output()[k]) * scale;
  }
  fb.output()[0] = 0;
  fb.inverse();
  const std::span<const double> r = fb.input();
  const auto size = static_cast<std::ptrdiff_t>(n);
  const auto at = [&](std::ptrdiff_t i) { return r[static_cast<std::size_t>((i % size + size) % size)]; };
  std::ptrdiff_t best = first;
  double square = 0;
  for (std::ptrdiff_t i = first; i <= last; ++i) {
    square += at(i) * at(i);
    if (std::abs(at(i)) > std::abs(at(best))) best = i;
  }
  const double m = std::abs(at(best));
  const double l = std::abs(at(best - 1));
  const double h = std::abs(at(best + 1));
  const double bend = l - 2 * m + h;
  Found f;
  f.lag = static_cast<double>(best) + (bend < 0 ? std::clamp(0.5 * (l - h) / bend, -0.5, 0.5) : 0.0);
  f.standing_out = square > 0 ? m / std::sqrt(square / static_cast<double>(last - first + 1)) : 0;
  return f;
}

double centroid_hz(std::span<const float> x, double rate_hz) {
  // Mean square of the differences over that of the samples: the rms frequency, without a transform.
  double d2 = 0;
  double x2 = 0;
  for (std::size_t n = 1; n < x.size(); ++n) {
    const double d = static_cast<double>(x[n]) - static_cast<double>(x[n - 1]);
    d2 += d * d;
    x2 += static_cast<double>(x[n]) * static_cast<double>(x[n]);
  }
  if (!(x2 > 0)) return 0;
  return rate_hz / std::numbers::pi * std::asin(std::min(1.0, 0.5 * std::sqrt(d2 / x2)));
}

}  // namespace

Alignment find_lag(std::span<const float> sent, std::span<const float> returned, double rate_hz) {
  const auto by = std::max<std::size_t>(1, static_cast<std::size_t>(rate_hz / coarse_rate_hz));
  const std::vector<float> a = decimate(sent, rate_hz, by);
  const std::vector<float> b = decimate(returned, rate_hz, by);
  const Found f =
      correlate(a, b, rate_hz / static_cast<double>(by), -static_cast<std::ptrdiff_t>(a.size()) + 1,
                static_cast<std::ptrdiff_t>(b.size()) - 1);
  Alignment r;
  r.lag = f.lag * static_cast<double>(by);
  r.standing_out = f.standing_out;
  return r;
}

std::optional<ClockFit> clock_from_segments(std::span<const float> sent, std::span<const float> returned,
                                            double rate_hz, double lag) {
  const double whole_s = static_cast<double>(sent.size()) / rate_hz;
  const auto length = static_cast<std::size_t>(std::clamp(whole_s / 24.0, 0.2, 1.0) * rate_hz);
  const auto margin = static_cast<std::ptrdiff_t>((clock_range * whole_s + 2e-3) * rate_hz);
  double loudest = 0;
  std::vector<double> energy;
  for (std::size_t at = 0; at + length <= sent.size(); at += length) {
    double e = 0;
    for (const float v : sent.subspan(at, length)) e += static_cast<double>(v) * static_cast<double>(v);
    energy.push_back(e);
    loudest = std::max(loudest, e);
  }
  std::vector<double> time, lags, centroid;
  for (std::size_t i = 0; i < energy.size(); ++i) {
    if (energy[i] < 1e-4 * loudest) continue;
    const std::size_t at = i * length;
    const auto from = static_cast<std::ptrdiff_t>(std::lround(static_cast<double>(at) + lag)) - margin;
    const auto to = from + static_cast<std::ptrdiff_t>(length) + 2 * margin;
    if (from < 0 || to > static_cast<std::ptrdiff_t>(returned.size())) continue;
    std::vector<float> piece(sent.begin() + static_cast<std::ptrdiff_t>(at),
                             sent.begin() + static_cast<std::ptrdiff_t>(at + length));
    const std::size_t taper = length / 10;
    for (std::size_t n = 0; n < taper; ++n) {
      const auto g =
          static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * (static_cast<double>(n) + 0.5) /
                                                  static_cast<double>(taper)));
      piece[n] *= g;
      piece[length - 1 - n] *= g;
    }
    const Found f = correlate(
        piece, returned.subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(to - from)), rate_hz,
        0, 2 * margin);
    centroid.push_back(centroid_hz(piece, rate_hz));
    // Short correlations have few lags, so their rms holds much of the peak itself.
    if (f.standing_out < std::min(segment_clear, 0.35 * std::sqrt(2.0 * static_cast<double>(margin))))
      continue;
    time.push_back(static_cast<double>(at) + 0.5 * static_cast<double>(length));
    lags.push_back(f.lag + static_cast<double>(from) - static_cast<double>(at));
  }
  if (time.size() < 5) return std::nullopt;
  std::size_t rising = 0;
  for (std::size_t i = 1; i < centroid.size(); ++i) rising += centroid[i] > centroid[i - 1] ? 1 : 0;
  const auto [low, high] = std::minmax_element(centroid.begin(), centroid.end());
  const double share = static_cast<double>(rising) / static_cast<double>(centroid.size() - 1);
  if (*high > 4 * *low && (share > 0.85 || share < 0.15)) return std::nullopt;  // a sweep

  // Median of slopes first, so that a segment with a wrong peak does not tilt the line; then least squares.
  std::vector<double> slopes;
  for (std::size_t i = 0; i < time.size(); ++i) {
    for (std::size_t j = i + 1; j < time.size(); ++j)
      slopes.push_back((lags[j] - lags[i]) / (time[j] - time[i]));
  }
  double slope = dsp::median(slopes);
  std::vector<double> rest(time.size());
  for (std::size_t i = 0; i < time.size(); ++i) rest[i] = lags[i] - slope * time[i];
  const double offset = dsp::median(rest);
  std::vector<double> deviation(time.size());
  for (std::size_t i = 0; i < time.size(); ++i) deviation[i] = std::abs(rest[i] - offset);
  const double limit = std::max(4 * 1.4826 * dsp::median(deviation), 0.05);
  double n = 0, st = 0, sl = 0, stt = 0, stl = 0;
  for (std::size_t i = 0; i < time.size(); ++i) {
    if (deviation[i] > limit) continue;
    n += 1, st += time[i], sl += lags[i], stt += time[i] * time[i], stl += time[i] * lags[i];
  }
  if (n < 5) return std::nullopt;
  const double spread = stt - st * st / n;
  slope = (stl - st * sl / n) / spread;
  const double intercept = (sl - slope * st) / n;
  double residual = 0;
  for (std::size_t i = 0; i < time.size(); ++i) {
    if (deviation[i] > limit) continue;
    const double e = lags[i] - intercept - slope * time[i];
    residual += e * e;
  }
  ClockFit f;
  f.clock = slope;
  f.uncertainty = 2 * std::sqrt(std::max(residual / (n - 2), 1e-6) / spread);
  f.lag = intercept;
  if (std::abs(slope) > clock_range) return std::nullopt;
  return f;
}

std::vector<float> retime(std::span<const float> samples, double clock) {
  std::vector<float> out(static_cast<std::size_t>(static_cast<double>(samples.size()) / (1 + clock)) + 1);
  SRC_DATA d{};
  d.data_in = samples.data();
  d.input_frames = static_cast<long>(samples.size());
  d.data_out = out.data();
  d.output_frames = static_cast<long>(out.size());
  d.src_ratio = 1.0 / (1.0 + clock);
  const int error = src_simple(&d, SRC_SINC_MEDIUM_QUALITY, 1);
  if (error != 0) throw unusable(std::string("the return could not be re-timed: ") + src_strerror(error));
  out.resize(static_cast<std::size_t>(d.output_frames_gen));
  return out;
}

}  // namespace linebench::measure::response
