// Where in 45..65 Hz a mains comb may be.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/fft.hpp>

#include "hum_chunk.hpp"
#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

constexpr std::size_t search_harmonics = 8;
constexpr double worth_a_fit = 15.0;  // what judge() asks of a lone fundamental is more
constexpr double near_foreign_hz = 1.2;
// No single line may outvote a comb.
constexpr double most_per_harmonic = 30.0;

// A line leaves nothing in bins so far away.
constexpr std::size_t beside_bins = 4;

// Evidence for a line at each frequency of a fine grid over the band, from its coherence (0..1) over the
// frames, weighted by how loud they are, so that loud passages count no more than quiet ones.
class EvidenceTable {
 public:
  EvidenceTable(const HumChunk& chunk, double low_hz, double high_hz, Loudness loudness, std::size_t first,
                std::size_t frames)
      : loudness_(loudness),
        first_frame_(first),
        frames_(frames),
        size_(dsp::next_fast_size(2 * frames)),
        re_(size_),
        im_(size_) {
    const FrameGrid& g = chunk.grid();
    step_hz_ = 1.0 / (g.hop_s * static_cast<double>(size_));
    first_ = static_cast<std::size_t>(low_hz / step_hz_);
    values_.assign(static_cast<std::size_t>(high_hz / step_hz_) + 2 - first_, 0.0F);
    const auto b0 = static_cast<std::size_t>(low_hz / g.bin_hz);
    const auto b1 = std::min(static_cast<std::size_t>(high_hz / g.bin_hz) + 1, g.bins - 1);
    for (std::size_t b = b0; b <= b1; ++b) fill(chunk, b);
    const double independent =
        static_cast<double>(frames) / (1.0 + 2.0 * (frame_correlation(1) + frame_correlation(2)));
    for (const float coherence : values_) {
      const double e = -independent * std::log1p(-std::min(static_cast<double>(coherence), 0.9999));
      // More than counts in full still tells where the top is.
      evidence_.push_back(std::min(e, most_per_harmonic) + 0.05 * std::max(0.0, e - most_per_harmonic));
    }
  }
  [[nodiscard]] double at(double hz) const {
    const auto i = static_cast<std::size_t>(hz / step_hz_ + 0.5);
    return i >= first_ && i - first_ < evidence_.size() ? evidence_[i - first_] : 0.0;
  }

 private:
  [[nodiscard]] std::span<const std::complex<float>> part(const HumChunk& chunk, std::size_t bin) const {
    return chunk.z(bin).subspan(first_frame_, frames_);
  }

  void fill(const HumChunk& chunk, std::size_t bin) {
    const auto z = part(chunk, bin);
    const auto below = part(chunk, bin > beside_bins ? bin - beside_bins : 0);
    const auto above = part(chunk, std::min(bin + beside_bins, chunk.grid().bins - 1));
    const std::size_t n = z.size();
    double weight_sum = 0.0;
    double power_sum = 0.0;
    std::fill(re_.input().begin(), re_.input().end(), 0.0);
    std::fill(im_.input().begin(), im_.input().end(), 0.0);
    for (std::size_t m = 0; m < n; ++m) {
      double local = 1e-30;
      const std::size_t from = m < 2 ? 0 : m - 2;
      const std::size_t to = std::min(m + 3, n);
      for (std::size_t i = from; i < to; ++i) {
        local += loudness_ == Loudness::Own
                     ? static_cast<double>(std::norm(z[i]))
                     : 0.5 * static_cast<double>(std::norm(below[i]) + std::norm(above[i]));
      }
      const double q = static_cast<double>(to - from) / local;
      weight_sum += q;
      power_sum += q * static_cast<double>(std::norm(z[m]));
      re_.input()[m] = q * static_cast<double>(z[m].real());
      im_.input()[m] = q * static_cast<double>(z[m].imag());
    }
    re_.forward();
    im_.forward();
    const double scale = 1.0 / (weight_sum * power_sum + 1e-300);
    const double bin_hz = chunk.grid().bin_hz;
    const auto from = static_cast<std::size_t>((static_cast<double>(bin) - 0.5) * bin_hz / step_hz_);
    const auto to = static_cast<std::size_t>((static_cast<double>(bin) + 0.5) * bin_hz / step_hz_);
    for (std::size_t g = std::max(from, first_); g <= to && g - first_ < values_.size(); ++g) {
      const std::size_t j = g % size_;
      const std::size_t k = j <= size_ / 2 ? j : size_ - j;
      const std::complex<double> r = re_.output()[k];
      const std::complex<double> i = im_.output()[k] * std::complex<double>(0.0, 1.0);
      const std::complex<double> y =
          j <= size_ / 2 ? r + i : std::conj(r) + std::conj(im_.output()[k]) * std::complex<double>(0.0, 1.0);
      values_[g - first_] = std::max(values_[g - first_], static_cast<float>(std::norm(y) * scale));
    }
  }

  Loudness loudness_;
  std::size_t first_frame_, frames_;
  std::size_t size_;
  dsp::RealFft re_, im_;
  double step_hz_ = 0;
  std::size_t first_ = 0;
  std::vector<float> values_;  // coherence
  std::vector<double> evidence_;
};

// Evidence for a comb at each fundamental from low_hz up in steps, in some of the frames.
struct Scores {
  double step_hz = 0;
  std::vector<double> at;
};

Scores comb_scores(const HumChunk& chunk, const CombSearch& search, std::span<const double> foreign,
                   Loudness loudness, std::size_t first, std::size_t frames) {
  const double top = std::min(search.high_hz * static_cast<double>(search_harmonics), chunk.grid().top_hz);
  const EvidenceTable table(chunk, search.low_hz - 1.0, top + 1.0, loudness, first, frames);
  // A third of a cycle of the highest harmonic over the stretch: less than 0.5 dB lost between grid points.
  const double step = 0.03 / (static_cast<double>(frames + 3) * chunk.grid().hop_s);
  const auto n = static_cast<std::size_t>((search.high_hz - search.low_hz) / step) + 1;
  std::vector<double> score(n, 0.0);
  std::vector<char> taken(n);  // by a line that is none of the comb
  for (std::size_t k = 1; k <= search_harmonics; ++k) {
    const auto multiple = static_cast<double>(k);
    const auto hz = [&](std::size_t i) { return multiple * (search.low_hz + static_cast<double>(i) * step); };
    std::fill(taken.begin(), taken.end(), 0);
    for (const double f : foreign) {
      const double from = ((f - near_foreign_hz) / multiple - search.low_hz) / step - 1.0;
      if (from >= static_cast<double>(n)) continue;
      for (auto i = static_cast<std::size_t>(std::max(0.0, from)); i < n && hz(i) < f + near_foreign_hz; ++i)
        taken[i] = taken[i] != 0 || std::abs(f - hz(i)) < near_foreign_hz ? 1 : 0;
    }
    for (std::size_t i = 0; i < n && hz(i) <= top; ++i) {
      if (taken[i] == 0) score[i] += table.at(hz(i));
    }
  }
  return {step, std::move(score)};
}

}  // namespace

std::vector<double> likely_fundamentals(const HumChunk& chunk, const CombSearch& search,
                                        std::span<const double> foreign, std::size_t count,
                                        Loudness loudness) {
  auto [step, score] = comb_scores(chunk, search, foreign, loudness, 0, chunk.frames());
  const std::size_t n = score.size();
  std::vector<double> best;
  if (search.public_first) {
    for (const double hz : {50.0, 60.0}) {
      const auto at = [&](double f) {
        const auto i = static_cast<std::ptrdiff_t>((f - search.low_hz) / step);
        return score.begin() + std::clamp<std::ptrdiff_t>(i, 0, static_cast<std::ptrdiff_t>(n) - 1);
      };
      const auto it = std::max_element(at(hz - public_mains_hz), at(hz + public_mains_hz) + 1);
      if (*it > worth_a_fit) best.push_back(search.low_hz + static_cast<double>(it - score.begin()) * step);
    }
    count += best.size();
  }
  const auto apart = static_cast<std::ptrdiff_t>(std::max(1.0, 1.0 / chunk.seconds() / step));
  while (best.size() < count) {
    const auto it = std::max_element(score.begin(), score.end());
    if (*it <= 0.0) break;
    const auto at = it - score.begin();
    best.push_back(search.low_hz + static_cast<double>(at) * step);
    const auto last = static_cast<std::ptrdiff_t>(n);
    std::fill(score.begin() + std::max<std::ptrdiff_t>(0, at - apart),
              score.begin() + std::min(last, at + apart + 1), 0.0);
  }
  return best;
}

std::vector<double> short_lived_fundamentals(const HumChunk& chunk, const CombSearch& search,
                                             std::span<const double> foreign) {
  std::vector<double> best;
  const std::size_t part = chunk.frames() / 5;
  if (part < 25) return best;
  double most = 0.0;
  for (std::size_t first = 0; first + part <= chunk.frames(); first += part / 2) {
    const Scores scores = comb_scores(chunk, search, foreign, Loudness::Beside, first, part);
    const auto it = std::max_element(scores.at.begin(), scores.at.end());
    if (*it <= most) continue;
    most = *it;
    best = {search.low_hz + static_cast<double>(it - scores.at.begin()) * scores.step_hz};
  }
  return best;
}

}  // namespace linebench::measure
