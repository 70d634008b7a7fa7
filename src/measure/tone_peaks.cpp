#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/measure/tone_track.hpp>

namespace linebench::measure {
namespace {

constexpr double stands_out = 30.0;  // power ratio; noise alone reaches it once in 10^13 bins
constexpr std::size_t lobe = 8;      // half width of a line, bins
constexpr std::size_t beside = 24;   // bins looked at on each side for the noise
constexpr std::size_t block = BlockSummary::block;
constexpr double worth_a_look = 6.0;  // a block's maximum over the mean of blocks beside it

// Noise per bin on one side, by the median, so that a neighbouring line does not count.
double side_noise(std::span<const double> part) {
  if (part.empty()) return 0;
  double sorted[beside] = {};
  std::copy(part.begin(), part.end(), sorted);
  return dsp::quantile(std::span(sorted, part.size()), 0.5) /
         0.69;  // median of an exponential spread over its mean is ln 2
}

double local_noise(std::span<const double> power, std::size_t bin) {
  const std::size_t high_from = std::min(power.size(), bin + lobe);
  const std::size_t high_to = std::min(power.size(), high_from + beside);
  const std::size_t low_to = bin > lobe ? bin - lobe : 0;
  const std::size_t low_from = low_to > beside ? low_to - beside : 0;
  return std::max(side_noise(power.subspan(high_from, high_to - high_from)),
                  low_to >= lobe ? side_noise(power.subspan(low_from, low_to - low_from)) : 0.0);
}

// Where between the bins a line lies, by the ratio of the bins on both sides of the strongest.
double refine(std::span<const double> power, const SpectrumShape& shape, std::size_t bin) {
  if (bin < 1 || bin + 1 >= power.size()) return static_cast<double>(bin);
  const double low = power[bin - 1];
  const double high = power[bin + 1];
  if (!(low > 0) || !(high > 0)) return static_cast<double>(bin);
  const double wanted = 0.5 * std::log(high / low);
  // The window's response is close to a Gaussian, so one division lands near and a few corrections make it
  // exact.
  const double slope = -4.0 * std::log(shape.gain(1.0));
  double d = std::clamp(wanted / slope, -0.7, 0.7);
  for (int i = 0; i < 3; ++i) {
    const double got = std::log(shape.gain(1.0 - d) / shape.gain(1.0 + d));
    d = std::clamp(d + (wanted - got) / slope, -0.7, 0.7);
  }
  return static_cast<double>(bin) + d;
}

std::optional<SpectralPeak> peak_at(std::span<const double> power, const SpectrumShape& shape,
                                    std::size_t bin) {
  const double noise = local_noise(power, bin);
  if (!(power[bin] > stands_out * noise)) return std::nullopt;
  SpectralPeak peak;
  peak.bins = refine(power, shape, bin);
  const double g = shape.gain(peak.bins - static_cast<double>(bin));
  peak.mean_square = power[bin] * shape.line_bins / (g * g);
  peak.noise = noise;
  return peak;
}

double strongest_near(std::span<const double> power, double bins, double reach) {
  const double last = static_cast<double>(power.size()) - 1.0;
  const auto from = static_cast<std::size_t>(std::clamp(std::floor(bins - reach), 0.0, last));
  const auto to = static_cast<std::size_t>(std::clamp(std::ceil(bins + reach), 0.0, last));
  return *std::max_element(power.begin() + static_cast<std::ptrdiff_t>(from),
                           power.begin() + static_cast<std::ptrdiff_t>(to) + 1);
}

}  // namespace

void BlockSummary::set(std::span<const double> power, std::size_t from) {
  const std::size_t blocks = (power.size() + block - 1) / block;
  sums_.assign(blocks, 0.0);
  maxima_.assign(blocks, 0.0);
  total_ = 0;
  for (std::size_t k = 0; k < blocks; ++k) {
    const std::size_t first = std::max(from, k * block);
    const std::size_t last = std::min(power.size(), (k + 1) * block);
    double sum[4] = {};
    double most[4] = {};
    std::size_t b = first;
    for (; b + 4 <= last; b += 4) {
      for (std::size_t i = 0; i < 4; ++i) {
        sum[i] += power[b + i];
        most[i] = power[b + i] > most[i] ? power[b + i] : most[i];
      }
    }
    for (; b < last; ++b) {
      sum[0] += power[b];
      most[0] = std::max(most[0], power[b]);
    }
    sums_[k] = (sum[0] + sum[1]) + (sum[2] + sum[3]);
    maxima_[k] = std::max(std::max(most[0], most[1]), std::max(most[2], most[3]));
    total_ += sums_[k];
  }
}

std::size_t BlockSummary::strongest(std::span<const double> power) const {
  const auto k = static_cast<std::size_t>(std::max_element(maxima_.begin(), maxima_.end()) - maxima_.begin());
  std::size_t best = k * block;
  for (std::size_t b = best; b < std::min(power.size(), (k + 1) * block); ++b) {
    if (power[b] == maxima_[k]) best = b;
  }
  return best;
}

std::vector<SpectralPeak> find_peaks(std::span<const double> power, const SpectrumShape& shape,
                                     std::size_t from, std::size_t to, std::size_t most) {
  BlockSummary summary;
  summary.set(power, from);
  return find_peaks(power, summary, shape, from, to, most);
}

std::vector<SpectralPeak> find_peaks(std::span<const double> power, const BlockSummary& summary,
                                     const SpectrumShape& shape, std::size_t from, std::size_t to,
                                     std::size_t most) {
  std::vector<SpectralPeak> peaks;
  to = std::min(to, power.size() - 2);
  from = std::max<std::size_t>(from, 1);
  if (from >= to) return peaks;
  // The strongest bin of each block that stands up from the blocks two further on; a block is left out once
  // it has been looked at.
  std::vector<std::size_t> top;
  const auto sums = summary.sums();
  for (std::size_t k = from / block; k <= to / block; ++k) {
    const double below = k >= 2 ? sums[k - 2] : 0.0;
    const double above = k + 2 < sums.size() ? sums[k + 2] : 0.0;
    if (summary.maxima()[k] * static_cast<double>(block) < worth_a_look * std::min(below, above)) continue;
    const std::size_t first = std::max(from, k * block);
    const std::size_t last = std::min(to, (k + 1) * block - 1);
    std::size_t best = first;
    for (std::size_t i = first; i <= last; ++i) best = power[i] > power[best] ? i : best;
    top.push_back(best);
  }
  const auto weaker = [&](std::size_t a, std::size_t b) { return power[a] < power[b]; };
  std::make_heap(top.begin(), top.end(), weaker);
  for (int looks = 0; looks < 64 && !top.empty() && peaks.size() < most; ++looks) {
    std::pop_heap(top.begin(), top.end(), weaker);
    const std::size_t bin = top.back();
    top.pop_back();
    if (power[bin] < power[bin - 1] || power[bin] < power[bin + 1]) continue;
    const bool in_lobe = std::any_of(peaks.begin(), peaks.end(), [&](const SpectralPeak& p) {
      return std::abs(p.bins - static_cast<double>(bin)) < static_cast<double>(lobe);
    });
    if (in_lobe) continue;
    if (const auto peak = peak_at(power, shape, bin)) peaks.push_back(*peak);
  }
  return peaks;
}

std::optional<SpectralPeak> peak_near(std::span<const double> power, const SpectrumShape& shape, double bins,
                                      double reach) {
  const auto last = static_cast<double>(power.size() - 2);
  const auto from = static_cast<std::size_t>(std::clamp(std::round(bins - reach), 1.0, last));
  const auto to = static_cast<std::size_t>(std::clamp(std::round(bins + reach), 1.0, last));
  std::size_t best = from;
  for (std::size_t b = from; b <= to; ++b) best = power[b] > power[best] ? b : best;
  if (power[best] < power[best - 1] || power[best] < power[best + 1]) return std::nullopt;
  return peak_at(power, shape, best);
}

bool is_mains_hum(const SpectralPeak& peak, std::span<const double> power, const SpectrumShape& shape) {
  constexpr double lowest_hz = 45.0;
  constexpr double highest_hz = 65.0;
  constexpr double strong_dbfs = -40.0;
  constexpr double neighbour_ratio = 1e-4;  // 40 dB
  const double hz = peak.bins * shape.bin_hz;
  // Power of the strongest comb neighbour over the line's; what the line's own skirt puts there does not
  // count.
  const auto neighbours = [&](double fundamental, std::initializer_list<int> multiples) {
    double most = 0;
    for (const int m : multiples) {
      const double bins = fundamental * m / shape.bin_hz;
      const double skirt = shape.gain(std::max(0.0, std::abs(bins - peak.bins) - 2.0));
      const double there = strongest_near(power, bins, 1.0) * shape.line_bins / peak.mean_square;
      if (there > 4.0 * skirt * skirt) most = std::max(most, there);
    }
    return most;
  };
  const bool strong = dbfs_from_power(peak.mean_square) >= strong_dbfs;
  for (int k = 1; k <= 3; ++k) {
    if (hz < lowest_hz * k || hz > highest_hz * k) continue;
    const double f = hz / k;
    const double most = k == 1   ? neighbours(f, {2, 3})
                        : k == 2 ? neighbours(f, {1, 3})
                                 : neighbours(f, {1, 2, 4});
    // A weak line at the mains frequency or its double may be hum alone; a third harmonic has company.
    if ((!strong && k < 3) || most > neighbour_ratio) return true;
  }
  // Higher up a line is hum when it stands on a mains comb among neighbours of its own height.
  constexpr double highest_comb_hz = 2000.0;
  constexpr double same_height = 0.01;  // 20 dB
  if (hz <= highest_hz * 3 || hz > highest_comb_hz) return false;
  const auto mains = peak_near(power, shape, 55.0 / shape.bin_hz, 10.0 / shape.bin_hz);
  if (!mains) return false;
  const double order = peak.bins / mains->bins;
  const double off = std::abs(order - std::round(order)) * mains->bins;
  if (off > 0.1 * std::round(order) + 0.3 || off > 3.0) return false;
  const auto k = static_cast<int>(std::lround(order));
  return neighbours(hz / k, {k - 2, k - 1, k + 1, k + 2}) > same_height;
}

bool is_line_rate(double hz) {
  return std::abs(hz / 15625.0 - 1.0) < 1e-3 || std::abs(hz / 15734.265734 - 1.0) < 1e-3;
}

}  // namespace linebench::measure
