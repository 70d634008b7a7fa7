#include "video_level_bins.hpp"

#include <algorithm>

namespace linebench::measure {
namespace {

constexpr double lowest = -300;  // mV of a nominal signal
constexpr double highest = 1500;
constexpr double bin_mv = 2;

}  // namespace

// Wide enough for the noise, but not to the next bar: those of 75 % stand 56 mV apart.
LevelBins::LevelBins(double gain, double spread_mv)
    : gain_(gain), half_width_(std::clamp(2.5 * spread_mv, 10.0 * gain, 25.0 * gain)) {
  bins_.resize(static_cast<std::size_t>((highest - lowest) / bin_mv) + 1);
}

std::size_t LevelBins::bin_of(double mv) const {
  const double b = (mv / gain_ - lowest) / bin_mv;
  return static_cast<std::size_t>(std::clamp(b, 0.0, static_cast<double>(bins_.size() - 1)));
}

double LevelBins::level_of(std::size_t bin) const {
  return (lowest + static_cast<double>(bin) * bin_mv) * gain_;
}

void LevelBins::add(double mv, std::size_t group) {
  Bin& b = bins_[bin_of(mv)][group];
  ++b.count;
  b.sum += mv;
}

double LevelBins::total() const {
  double n = 0;
  for (const auto& bin : bins_) {
    for (const Bin& b : bin) n += b.count;
  }
  return n;
}

double LevelBins::count(double from_mv, double to_mv) const {
  double n = 0;
  for (std::size_t i = bin_of(from_mv); i <= bin_of(to_mv); ++i) {
    for (const Bin& b : bins_[i]) n += b.count;
  }
  return n;
}

std::optional<double> LevelBins::top(double share) const {
  const double enough = share * total();
  double above = 0;
  for (std::size_t i = bins_.size(); i-- > 0;) {
    for (const Bin& b : bins_[i]) above += b.count;
    if (above > 0 && above >= enough) return level_of(i);
  }
  return std::nullopt;
}

std::optional<LevelCluster> LevelBins::gather(double from_mv, double to_mv, bool highest_peak) const {
  const std::size_t first = bin_of(from_mv);
  std::vector<double> near(bin_of(to_mv) - first + 1, 0.0);  // counts over five bins
  double best = 0;
  for (std::size_t i = 0; i < near.size(); ++i) {
    for (std::size_t k = first + i >= 2 ? first + i - 2 : 0; k < std::min(first + i + 3, bins_.size()); ++k) {
      for (const Bin& b : bins_[k]) near[i] += b.count;
    }
    best = std::max(best, near[i]);
  }
  if (best <= 0) return std::nullopt;
  LevelCluster c;
  c.mean = from_mv;
  for (std::size_t n = 0; n < near.size(); ++n) {
    const std::size_t i = highest_peak ? near.size() - 1 - n : n;
    const std::size_t a = i >= 5 ? i - 5 : 0;
    const std::size_t b = std::min(near.size(), i + 6);
    const double around = *std::max_element(near.begin() + static_cast<std::ptrdiff_t>(a),
                                            near.begin() + static_cast<std::ptrdiff_t>(b));
    if (near[i] < 0.3 * best || around > near[i]) continue;
    c.mean = level_of(first + i) + 0.5 * bin_mv * gain_;
    break;
  }
  for (int round = 0; round < 3; ++round) {
    c.from = c.mean - half_width_;
    c.to = c.mean + half_width_;
    double n = 0;
    double sum = 0;
    for (std::size_t i = bin_of(c.from); i <= bin_of(c.to); ++i) {
      for (const Bin& b : bins_[i]) {
        n += b.count;
        sum += b.sum;
      }
    }
    if (n <= 0) return std::nullopt;
    c.mean = sum / n;
    c.count = n;
  }
  return c;
}

double LevelBins::densest(const LevelCluster& c) const {
  double most = 0;
  double at = c.mean;
  for (std::size_t i = std::max<std::size_t>(1, bin_of(c.from)); i + 1 < bins_.size() && i <= bin_of(c.to);
       ++i) {
    double n = 0;
    double sum = 0;
    for (std::size_t k = i - 1; k <= i + 1; ++k) {
      for (const Bin& b : bins_[k]) {
        n += b.count;
        sum += b.sum;
      }
    }
    if (n <= most) continue;
    most = n;
    at = sum / n;
  }
  return at;
}

std::optional<double> LevelBins::scatter(const LevelCluster& c) const {
  return group_uncertainty([&](std::size_t g) {
    double n = 0;
    double sum = 0;
    for (std::size_t i = bin_of(c.from); i <= bin_of(c.to); ++i) {
      n += bins_[i][g].count;
      sum += bins_[i][g].sum;
    }
    return n > 0 ? sum / n : std::nan("");
  });
}

}  // namespace linebench::measure
