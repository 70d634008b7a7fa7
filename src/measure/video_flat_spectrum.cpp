#include "video_flat_spectrum.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/standards/video_noise.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double bin_db = 0.5;
constexpr double lowest_db = -90;  // re 1 mV^2
constexpr std::size_t bin_count = 320;
constexpr double least_kept = 0.25;   // bins the fit takes more of are filled from their neighbours
constexpr double least_share = 0.25;  // of the fullest level, for a level to be one
constexpr double wide_sigmas = 4.5;

LINEBENCH_VECTORISED float dot(const float* a, const float* b, std::size_t n) {
  float lanes[8] = {};
  std::size_t i = 0;
  for (; i + 8 <= n; i += 8) {
    for (std::size_t k = 0; k < 8; ++k) lanes[k] += a[i + k] * b[i + k];
  }
  float sum =
      ((lanes[0] + lanes[4]) + (lanes[1] + lanes[5])) + ((lanes[2] + lanes[6]) + (lanes[3] + lanes[7]));
  for (; i < n; ++i) sum += a[i] * b[i];
  return sum;
}

LINEBENCH_VECTORISED void take_out(float* x, const float* q, float by, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) x[i] -= by * q[i];
}

std::size_t bin_of(double power) {
  const double db = 10 * std::log10(std::max(power, 1e-12));
  return static_cast<std::size_t>(
      std::clamp((db - lowest_db) / bin_db, 0.0, static_cast<double>(bin_count - 1)));
}

// The window smears the spectrum by a kernel whose mean square width is a third of a bin squared: where the
// spectrum bends, that is taken back to second order. Negative bins are lost ones.
void sharpen(std::vector<double>& psd) {
  const std::vector<double> p = psd;
  const auto bend = [&](std::size_t k) {
    return k > 0 && k + 1 < p.size() && p[k - 1] >= 0 && p[k] >= 0 && p[k + 1] >= 0
               ? p[k + 1] - 2 * p[k] + p[k - 1]
               : 0.0;
  };
  for (std::size_t k = 0; k + 1 < p.size(); ++k) {
    if (p[k] < 0) continue;
    const bool edge = k == 0 || p[k - 1] < 0;
    psd[k] = std::max(0.0, p[k] - bend(edge ? k + 1 : k) / 6);
  }
}

}  // namespace

FlatSpectrum::FlatSpectrum(std::size_t length, double rate_hz, double subcarrier_hz, double band_hz)
    : length_(length),
      rate_hz_(rate_hz),
      step_hz_(rate_hz / static_cast<double>(length)),
      window_(length),
      residual_(length),
      fft_(length),
      bins_(bin_count) {
  const auto n = static_cast<double>(length);
  // Terms of the fit, made orthogonal: 1, slope, and the subcarrier's two phases.
  std::vector<std::vector<double>> q(2, std::vector<double>(length));
  for (std::size_t i = 0; i < length; ++i) {
    q[0][i] = 1;
    q[1][i] = static_cast<double>(i) - (n - 1) / 2;
  }
  if (subcarrier_hz > 0 && subcarrier_hz < 0.48 * rate_hz) {
    q.resize(4, std::vector<double>(length));
    for (std::size_t i = 0; i < length; ++i) {
      q[2][i] = std::cos(2 * pi * subcarrier_hz / rate_hz * static_cast<double>(i));
      q[3][i] = std::sin(2 * pi * subcarrier_hz / rate_hz * static_cast<double>(i));
    }
  }
  terms_ = q.size();
  for (std::size_t a = 0; a < terms_; ++a) {
    for (std::size_t b = 0; b < a; ++b) {
      double in = 0;
      for (std::size_t i = 0; i < length; ++i) in += q[a][i] * q[b][i];
      for (std::size_t i = 0; i < length; ++i) q[a][i] -= in * q[b][i];
    }
    double norm = 0;
    for (const double x : q[a]) norm += x * x;
    basis_[a].resize(length);
    for (std::size_t i = 0; i < length; ++i) {
      q[a][i] /= std::sqrt(norm);
      basis_[a][i] = static_cast<float>(q[a][i]);
    }
  }
  for (std::size_t i = 0; i < length; ++i) {
    const double w = 0.5 - 0.5 * std::cos(2 * pi * (static_cast<double>(i) + 0.5) / n);
    window_[i] = static_cast<float>(w);
    window_power_ += w * w;
  }
  // For white noise e and a fit that projects on q: E|F(e - q q'e)|^2 = |F|^2 - |F q|^2, F the windowed
  // transform.
  kept_.assign(length / 2 + 1, 1.0);
  for (std::size_t a = 0; a < terms_; ++a) {
    for (std::size_t i = 0; i < length; ++i)
      fft_.input()[i] = static_cast<double>(window_[i]) * static_cast<double>(basis_[a][i]);
    fft_.forward();
    for (std::size_t k = 0; k < kept_.size(); ++k) kept_[k] -= std::norm(fft_.output()[k]) / window_power_;
  }
  in_band_.resize(kept_.size());
  weight_.resize(kept_.size());
  for (std::size_t k = 0; k < kept_.size(); ++k) {
    const double f = static_cast<double>(k) * step_hz_;
    in_band_[k] =
        std::clamp(std::min(f + step_hz_ / 2, band_hz) - std::max(0.0, f - step_hz_ / 2), 0.0, step_hz_);
    weight_[k] = standards::unified_weighting_power(f);
  }
}

void FlatSpectrum::take_out_fit(std::span<float> x) const {
  for (std::size_t a = 0; a < terms_; ++a)
    take_out(x.data(), basis_[a].data(), dot(x.data(), basis_[a].data(), length_), length_);
}

std::span<const float> FlatSpectrum::residual_of(std::span<const float> mv) {
  std::copy_n(mv.begin(), length_, residual_.begin());
  // The level first, near enough, so that what follows is small numbers.
  const float level = mv[length_ / 2];
  for (float& x : residual_) x -= level;
  take_out_fit(residual_);
  power_ = static_cast<double>(dot(residual_.data(), residual_.data(), length_)) /
           static_cast<double>(length_ - terms_);
  return residual_;
}

void FlatSpectrum::add(std::size_t group) {
  for (std::size_t i = 0; i < length_; ++i) fft_.input()[i] = static_cast<double>(residual_[i] * window_[i]);
  fft_.forward();
  Bin& b = bins_[bin_of(power_)];
  if (b.psd.empty()) b.psd.assign(kept_.size(), 0.0);
  const double scale = 2.0 / (rate_hz_ * window_power_);
  double power = 0;
  double weighted = 0;
  for (std::size_t k = 0; k < kept_.size(); ++k) {
    const double p = scale * std::norm(fft_.output()[k]);
    b.psd[k] += p;
    power += p * in_band_[k];
    weighted += p * in_band_[k] * weight_[k];
  }
  b.count += 1;
  b.n[group] += 1;
  b.power[group] += power;
  b.weighted[group] += weighted;
  seen_ += 1;
  constexpr std::uint64_t look_every = 32;
  const auto n = static_cast<std::uint64_t>(seen_);
  if (n == look_every / 4 || n % look_every == 0) usual_to_ = noise_alone().last;
}

// The lowest level at which many stretches gather, as wide as noise of this many degrees of freedom scatters.
FlatSpectrum::Range FlatSpectrum::noise_alone() const {
  const auto near = [&](std::size_t i) {
    double sum = 0;
    for (std::size_t k = i > 0 ? i - 1 : 0; k <= std::min(i + 1, bin_count - 1); ++k) sum += bins_[k].count;
    return sum;
  };
  double fullest = 0;
  for (std::size_t i = 0; i < bin_count; ++i) fullest = std::max(fullest, near(i));
  std::size_t peak = 0;
  for (std::size_t i = 0; i < bin_count && peak == 0; ++i) {
    if (near(i) < least_share * fullest) continue;
    bool highest = true;
    for (std::size_t k = i > 4 ? i - 4 : 0; k <= std::min(i + 4, bin_count - 1); ++k)
      highest = highest && near(k) <= near(i);
    if (highest) peak = i;
  }
  double sum = 0;
  double sum2 = 0;
  for (std::size_t k = 1; k < kept_.size(); ++k) {
    double p = 0;
    for (std::size_t i = peak > 0 ? peak - 1 : 0; i <= std::min(peak + 1, bin_count - 1); ++i)
      p += bins_[i].psd.empty() ? 0.0 : bins_[i].psd[k];
    sum += p;
    sum2 += p * p;
  }
  const double freedom = sum2 > 0 ? std::max(4.0, sum * sum / sum2) : 4.0;
  const double sigma_db = 10 / std::numbers::ln10 * std::sqrt(2 / freedom);
  const auto half = static_cast<std::size_t>(std::ceil((wide_sigmas * sigma_db + bin_db) / bin_db));
  return {peak > half ? peak - half : 0, std::min(peak + half, bin_count - 1)};
}

bool FlatSpectrum::usual() const { return bin_of(power_) <= usual_to_; }

// Bins lost to the fit: those at the bottom by the slope of the ones above (noise may fall towards dc or
// rise), others from the nearest on either side.
void FlatSpectrum::fill_lost(std::vector<double>& psd) const {
  std::size_t low = 0;
  while (low < psd.size() && psd[low] < 0) ++low;
  if (low + 1 >= psd.size()) {
    psd.assign(psd.size(), 0.0);
    return;
  }
  const auto mean = [&](std::size_t from, std::size_t to) {
    double sum = 0;
    double n = 0;
    for (std::size_t k = from; k < std::min(to, psd.size()); ++k) {
      if (psd[k] < 0) continue;
      sum += psd[k];
      n += 1;
    }
    return n > 0 ? std::max(sum / n, 1e-30) : 1e-30;
  };
  const double near = mean(low, low + 2);
  const double far = mean(2 * low + 1, 2 * low + 4);
  const double slope = std::clamp(std::log(far / near) / std::log(2.0), -1.0, 2.0);
  for (std::size_t k = 0; k < low; ++k) {
    const double f = std::max(static_cast<double>(k), 0.25) / (static_cast<double>(low) + 0.5);
    psd[k] = near * std::pow(f, slope);
  }
  for (std::size_t k = low; k < psd.size(); ++k) {
    if (psd[k] >= 0) continue;
    std::size_t above = k;
    while (above < psd.size() && psd[above] < 0) ++above;
    const double b = psd[k - 1];  // already filled
    psd[k] = above < psd.size() ? b + (psd[above] - b) / static_cast<double>(above - k + 1) : b;
  }
}

FlatSpectrum::Result FlatSpectrum::result() const {
  Result out;
  if (seen_ < 1) return out;
  const Range r = noise_alone();
  out.psd.assign(kept_.size(), 0.0);
  Bin all;
  for (std::size_t i = r.first; i <= r.last; ++i) {
    const Bin& b = bins_[i];
    if (b.count <= 0) continue;
    out.stretches += b.count;
    for (std::size_t k = 0; k < kept_.size(); ++k) out.psd[k] += b.psd[k];
    for (std::size_t g = 0; g < line_groups; ++g) {
      all.n[g] += b.n[g];
      all.power[g] += b.power[g];
      all.weighted[g] += b.weighted[g];
    }
  }
  if (out.stretches <= 0) return out;
  for (std::size_t k = 0; k < kept_.size(); ++k)
    out.psd[k] = kept_[k] >= least_kept ? out.psd[k] / (out.stretches * kept_[k]) : -1.0;
  sharpen(out.psd);
  fill_lost(out.psd);
  const auto relative = [&](const std::array<double, line_groups>& power) {
    double sum = 0;
    double n = 0;
    for (std::size_t g = 0; g < line_groups; ++g) {
      sum += power[g];
      n += all.n[g];
    }
    const auto u =
        group_uncertainty([&](std::size_t g) { return all.n[g] > 0 ? power[g] / all.n[g] : std::nan(""); });
    return u && sum > 0 ? *u * n / sum : 1.0;
  };
  out.relative_u = relative(all.power);
  out.relative_u_weighted = relative(all.weighted);
  return out;
}

std::array<std::complex<double>, 4> FlatSpectrum::projections(double radians_per_sample) const {
  std::array<std::complex<double>, 4> z{};
  const std::complex<double> step = std::polar(1.0, radians_per_sample);
  std::complex<double> turn = 1.0;
  for (std::size_t i = 0; i < length_; ++i) {
    for (std::size_t a = 0; a < terms_; ++a) z[a] += static_cast<double>(basis_[a][i]) * turn;
    turn *= step;
  }
  return z;
}

}  // namespace linebench::measure
