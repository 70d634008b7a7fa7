#include "pair_shared.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/window.hpp>
#include <linebench/measure/statistics.hpp>
#include <numbers>

namespace linebench::measure::pair {
namespace {

using Complex = std::complex<double>;

// A Hann window makes neighbouring bins alike; errors that add up over many bins are larger by this: mean w^4
// over the square of mean w^2.
constexpr double hann_inflation = (35.0 / 128.0) / ((3.0 / 8.0) * (3.0 / 8.0));
constexpr double coherence_ceiling = 1.0 - 1e-9;  // converters and arithmetic have some noise
constexpr double chance_of_a_bin = 1e-4;          // by which two unrelated noises pass for coherent
constexpr double weakest_bin = 1e-11;             // power re the strongest: below, rounding and skirts rule
constexpr std::size_t fewest_bins = 10;           // for a delay: one line or a few fit many delays
constexpr double delta_for_unique = 30.0;         // log-likelihood distance (chi square) of the runner-up
// Two parts that play the same note now and then have it in common by so much; a tone sent to both sides
// keeps its phase and most of both is it. Mains hum on both sides of unlike programmes keeps its phase, and
// is little.
constexpr double tone_coherence = 0.8;
constexpr double tone_share = 0.25;
constexpr double line_over_surroundings = 20.0;  // power by which a steady line stands out
constexpr int interpolation = 8;                 // points a sample in the correlation

// Bins whose content is only the skirt of a strong line: they carry the line's phase, not that of their own
// frequency.
std::vector<bool> skirts(std::span<const double> power) {
  const int n = static_cast<int>(power.size());
  std::vector<bool> masked(power.size(), false);
  for (int k = 2; k + 2 < n; ++k) {
    if (power[k] < power[k - 1] || power[k] < power[k + 1]) continue;
    double around = 0;
    int counted = 0;
    for (int d = 4; d <= 9; ++d) {
      if (k - d >= 1) around += power[k - d], ++counted;
      if (k + d < n) around += power[k + d], ++counted;
    }
    if (counted == 0 || power[k] < line_over_surroundings * around / counted) continue;
    for (int j = 0; j < n; ++j) {
      const int d = std::abs(j - k);
      if (d == 0) continue;
      // Hann side lobes fall with the cube of the distance; a factor of 100 in power for lines that come and
      // go.
      const double lobe = d <= 3 ? 1.0 : 100.0 / std::pow(static_cast<double>(d) - 1.0, 6);
      if (power[j] < power[k] * lobe) masked[j] = true;
    }
  }
  return masked;
}

struct Peak {
  double lag = 0;
  double height = 0;  // signed
};

// Local extremes of the correlation within +-longest, largest magnitude first.
std::vector<Peak> extremes(std::span<const double> correlation, double longest) {
  const auto size = static_cast<std::ptrdiff_t>(correlation.size());
  const auto at = [&](std::ptrdiff_t i) {
    return correlation[static_cast<std::size_t>((i % size + size) % size)];
  };
  const auto reach =
      std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(longest * interpolation), size / 2 - 2);
  std::vector<Peak> peaks;
  for (std::ptrdiff_t i = -reach; i <= reach; ++i) {
    const double m = std::abs(at(i));
    if (m < std::abs(at(i - 1)) || m <= std::abs(at(i + 1))) continue;
    const double a = std::abs(at(i - 1));
    const double b = std::abs(at(i + 1));
    const double bend = a - 2 * m + b;
    const double shift = bend < 0 ? 0.5 * (a - b) / bend : 0;
    peaks.push_back({(static_cast<double>(i) + shift) / interpolation, at(i)});
  }
  std::sort(peaks.begin(), peaks.end(),
            [](const Peak& a, const Peak& b) { return std::abs(a.height) > std::abs(b.height); });
  return peaks;
}

}  // namespace

CrossSpectra::CrossSpectra(std::size_t segment)
    : fft_left_(segment),
      fft_right_(segment),
      window_(dsp::make_window(dsp::Window::Hann, segment)),
      left_(segment / 2 + 1),
      right_(segment / 2 + 1),
      cross_(segment / 2 + 1) {}

void CrossSpectra::add(std::span<const float> left, std::span<const float> right) {
  const std::size_t n = window_.size();
  double* a = fft_left_.input().data();
  double* b = fft_right_.input().data();
  for (std::size_t i = 0; i < n; ++i) a[i] = window_[i] * static_cast<double>(left[i]);
  for (std::size_t i = 0; i < n; ++i) b[i] = window_[i] * static_cast<double>(right[i]);
  fft_left_.forward();
  fft_right_.forward();
  const std::span<const Complex> x = fft_left_.output();
  const std::span<const Complex> y = fft_right_.output();
  for (std::size_t k = 0; k < x.size(); ++k) {
    const double xr = x[k].real(), xi = x[k].imag(), yr = y[k].real(), yi = y[k].imag();
    left_[k] += xr * xr + xi * xi;
    right_[k] += yr * yr + yi * yi;
    cross_[k] += Complex(xr * yr + xi * yi, xr * yi - xi * yr);
  }
  ++count_;
}

double CrossSpectra::coherence(std::size_t bin) const {
  const double product = left_[bin] * right_[bin];
  if (!(product > 0) || count_ < 2) return 0;
  const double raw = std::min(1.0, std::norm(cross_[bin]) / product);
  const auto n = static_cast<double>(count_);
  return std::clamp((raw - (1 - raw) / (n - 1)), 0.0, 1.0);
}

std::optional<Shared> shared_part(const CrossSpectra& s, double rate_hz, double longest) {
  const std::size_t bins = s.left().size();
  const auto n = static_cast<double>(s.count());
  if (s.count() < 4) return std::nullopt;
  const double threshold = 1.0 - std::pow(chance_of_a_bin, 1.0 / (n - 1));

  std::vector<double> both(bins);
  for (std::size_t k = 0; k < bins; ++k) both[k] = std::sqrt(s.left()[k] * s.right()[k]);
  const std::vector<bool> masked = skirts(both);
  const double weakest = weakest_bin * *std::max_element(both.begin() + 2, both.end());

  // Inverse variance of each bin's phase: 2 n c / (1 - c).
  std::vector<double> weight(bins, 0.0);
  double total = 0;
  double coherent_left = 0, coherent_right = 0, all_left = 0, all_right = 0;
  std::size_t used = 0;
  std::size_t strongest = 0;
  for (std::size_t k = 2; k + 1 < bins; ++k) {
    const double c = std::min(s.coherence(k), coherence_ceiling);
    all_left += s.left()[k];
    all_right += s.right()[k];
    coherent_left += c > threshold ? c * s.left()[k] : 0;
    coherent_right += c > threshold ? c * s.right()[k] : 0;
    if (masked[k] || c <= threshold || both[k] < weakest) continue;
    weight[k] = 2 * n * c / (1 - c);
    total += weight[k];
    ++used;
    if (strongest == 0 || both[k] > both[strongest]) strongest = k;
  }
  if (used == 0 || !(all_left > 0) || !(all_right > 0)) return std::nullopt;
  // Bins pass by chance now and then; a handful of weak ones among many is not something shared.
  if (static_cast<double>(used) < 3 + 5 * chance_of_a_bin * static_cast<double>(bins) &&
      s.coherence(strongest) < 0.9) {
    return std::nullopt;
  }

  Shared r;
  r.share = std::max(coherent_left / all_left, coherent_right / all_right);

  double variance = 0;
  r.unshared = 0;
  for (std::size_t k = 2; k + 1 < bins; ++k) {
    // A coherence near 1 falls short of it by a part that scatters by root 2/n of itself [Carter 1987].
    const double part = (1 - s.coherence(k)) * 0.5 * (s.left()[k] / all_left + s.right()[k] / all_right);
    r.unshared += part;
    variance += hann_inflation * part * part * 2 / n;
  }
  r.unshared_u = 2 * std::sqrt(variance);

  // Correlation weighted by what each bin knows; its height is the log-likelihood of that delay and polarity.
  const std::size_t fine = s.segment() * interpolation;
  dsp::RealFft inverse(fine);
  std::fill(inverse.output().begin(), inverse.output().end(), Complex{});
  for (std::size_t k = 0; k < bins; ++k) {
    if (weight[k] > 0) inverse.output()[k] = 0.5 * weight[k] * s.cross()[k] / std::abs(s.cross()[k]);
  }
  inverse.inverse();
  const std::vector<double> correlation(inverse.input().begin(), inverse.input().end());
  // cross = conj(left) right has phase -w d when right is late by d, so the peak lies at +d.
  std::vector<Peak> peaks = extremes(correlation, longest);
  if (peaks.empty()) return std::nullopt;
  const Peak best = peaks.front();
  const double runner_up = peaks.size() > 1 ? std::abs(peaks[1].height) : 0;

  // Newton steps on the phases themselves take the grid out of the delay.
  double lag = best.lag;
  const double sign = best.height < 0 ? -1 : 1;
  double information = 0;
  double chi2 = 0;
  const double step = 2 * std::numbers::pi / static_cast<double>(s.segment());
  for (int round = 0; round < 4; ++round) {
    double slope = 0;
    information = 0;
    chi2 = 0;
    for (std::size_t k = 0; k < bins; ++k) {
      if (!(weight[k] > 0)) continue;
      const double w = step * static_cast<double>(k);
      const double error = std::arg(sign * s.cross()[k] * std::polar(1.0, w * lag));
      slope += weight[k] * w * error;
      information += weight[k] * w * w;
      chi2 += weight[k] * error * error;
    }
    if (!(information > 0)) break;
    lag -= std::clamp(slope / information, -0.5, 0.5);
  }
  // Sides whose phases differ by more than noise explains (another filter in one of them) widen the claim.
  const double excess = std::max(1.0, used > 2 ? chi2 / (static_cast<double>(used) - 2) : 1.0);
  r.unique = used >= fewest_bins &&
             2 * (std::abs(best.height) - runner_up) / (hann_inflation * excess) > delta_for_unique;
  r.delay_samples = lag;
  r.polarity = best.height < 0 ? -1 : 1;
  r.delay_uncertainty = std::max(2 * std::sqrt(hann_inflation * excess / information), 0.001);
  r.tone_hz = static_cast<double>(strongest) * rate_hz / static_cast<double>(s.segment());
  r.tone_phase = std::arg(s.cross()[strongest]);

  if (!r.unique) {
    if (s.coherence(strongest) < tone_coherence || r.share < tone_share) return std::nullopt;
    double left = 0;
    double right = 0;
    for (std::size_t k = strongest - 2; k <= std::min(strongest + 2, bins - 1); ++k) {
      left += s.left()[k];
      right += s.right()[k];
    }
    const double c = std::min(s.coherence(strongest), coherence_ceiling);
    r.gain_db = db_from_power(right / left);
    r.gain_uncertainty_db = -5 * std::log10(c) + expanded_u_db(1.0, std::sqrt(2 * (1 - c) / (n * c))) + 0.001;
    return r;
  }

  // Gain of what is shared. Noise may sit in either side, so between the two one-sided estimates lies the
  // truth; bins count by what they know.
  double mean = 0;
  double spread = 0;
  double mean_weight = 0;
  double scatter = 0;
  for (std::size_t k = 0; k < bins; ++k) {
    if (!(weight[k] > 0)) continue;
    const double c = std::min(s.coherence(k), coherence_ceiling);
    const double g = 10 * std::log10(s.right()[k] / s.left()[k]);
    mean += weight[k] * g;
    spread += weight[k] * -5 * std::log10(c);
    mean_weight += weight[k];
  }
  mean /= mean_weight;
  spread /= mean_weight;
  for (std::size_t k = 0; k < bins; ++k) {
    if (!(weight[k] > 0)) continue;
    const double g = 10 * std::log10(s.right()[k] / s.left()[k]);
    scatter += weight[k] * weight[k] * (g - mean) * (g - mean);
  }
  r.gain_db = mean;
  r.gain_uncertainty_db = spread + 2 * std::sqrt(hann_inflation * scatter) / mean_weight +
                          expanded_u_db(1.0, std::sqrt(2 * hann_inflation / total)) + 0.001;
  return r;
}

}  // namespace linebench::measure::pair
