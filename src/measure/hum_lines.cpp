// Steady lines in a stretch of frames, and what they leak.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <numbers>

#include "hum_chunk.hpp"
#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

constexpr std::size_t most_lines = 12;
constexpr double steady_coherence = 0.8;
constexpr double least_coherence = 0.3;
// Highest side lobe of the four-term window, -92 dB [Harris 1978].
constexpr double side_lobe = 2.5e-5;

std::complex<double> lagged(std::span<const std::complex<float>> z, std::size_t lag) {
  std::complex<double> sum = 0.0;
  for (std::size_t m = 0; m + lag < z.size(); ++m) {
    sum += std::complex<double>(z[m + lag]) * std::conj(std::complex<double>(z[m]));
  }
  return sum;
}

}  // namespace

HumChunk::HumChunk(const FrameGrid& grid, std::size_t capacity)
    : grid_(grid), capacity_(capacity), by_frame_(capacity * grid.bins), by_bin_(capacity * grid.bins) {}

void HumChunk::add(std::span<const std::complex<float>> frame) {
  std::copy(frame.begin(), frame.end(),
            by_frame_.begin() + static_cast<std::ptrdiff_t>(frames_ * grid_.bins));
  ++frames_;
}

void HumChunk::prepare() {
  // In tiles, so that both sides stay in the cache.
  constexpr std::size_t tile = 16;
  for (std::size_t m0 = 0; m0 < frames_; m0 += tile) {
    const std::size_t m1 = std::min(m0 + tile, frames_);
    for (std::size_t b = 0; b < grid_.bins; ++b) {
      for (std::size_t m = m0; m < m1; ++m) by_bin_[b * capacity_ + m] = by_frame_[m * grid_.bins + b];
    }
  }
  find_lines();
  // Side lobes well under what is in the emptier bins anyway change nothing.
  std::vector<double> first(grid_.bins);
  for (std::size_t b = 0; b < grid_.bins; ++b) {
    for (std::size_t m = 0; m < frames_; m += 8) first[b] += static_cast<double>(std::norm(z(b)[m]));
  }
  const double quarter = dsp::quantile(first, 0.25);
  const double quiet = std::sqrt(quarter / (static_cast<double>(frames_) / 8.0 + 1.0));
  const double coherent = quiet / std::sqrt(static_cast<double>(frames_));
  for (const SteadyLine& line : lines_) {
    if (line.amplitude * side_lobe > 0.03 * coherent) remove_side_lobes(line);
  }
}

void HumChunk::find_lines() {
  lines_.clear();
  if (frames_ < 8) return;
  std::vector<double> power(grid_.bins, 0.0);
  for (std::size_t b = 0; b < grid_.bins; ++b) {
    for (const auto& v : z(b)) power[b] += static_cast<double>(std::norm(v));
  }
  for (std::size_t b = 2; b + 3 < grid_.bins; ++b) {
    const double p = power[b];
    const auto reach = static_cast<std::ptrdiff_t>(std::min<std::size_t>(b, 3));
    const bool peak = p > 0 && *std::max_element(power.begin() + static_cast<std::ptrdiff_t>(b) - reach,
                                                 power.begin() + static_cast<std::ptrdiff_t>(b) + 4) <= p;
    if (!peak) continue;
    const auto series = z(b);
    // Frames four hops apart share no samples: noise has no coherence there.
    const double pairs = static_cast<double>(frames_ - 4) / static_cast<double>(frames_);
    const std::complex<double> c4 = lagged(series, 4);
    if (std::abs(c4) < steady_coherence * p * pairs) continue;
    // From short lags to long ones, each settling the whole turns of the next.
    double hz = static_cast<double>(b) * grid_.bin_hz;
    for (std::size_t lag = 1; lag <= frames_ / 2; lag *= 3) {
      const double span = static_cast<double>(lag) * grid_.hop_s;
      const std::complex<double> c = lagged(series, lag);
      // Longer than the line lasted: nothing but noise there.
      const double pairs_left = static_cast<double>(frames_ - lag) / static_cast<double>(frames_);
      if (std::abs(c) < least_coherence * p * pairs_left) break;
      const double turns = std::arg(c) / (2.0 * std::numbers::pi);
      hz = (turns + std::round(hz * span - turns)) / span;
    }
    const double w = frame_response(hz / grid_.bin_hz - static_cast<double>(b));
    lines_.push_back({hz, std::sqrt(p / static_cast<double>(frames_)) / std::max(w, 0.5), b});
  }
  std::sort(lines_.begin(), lines_.end(),
            [](const SteadyLine& a, const SteadyLine& b) { return a.amplitude > b.amplitude; });
  if (lines_.size() > most_lines) lines_.resize(most_lines);
}

void HumChunk::remove_side_lobes(const SteadyLine& line) {
  const double at = line.hz / grid_.bin_hz;
  const double own = frame_response(at - static_cast<double>(line.bin));
  const auto source = z(line.bin);
  for (std::size_t b = 0; b < grid_.bins; ++b) {
    const double bin = static_cast<double>(b);
    if (std::abs(at - bin) < HumChunk::line_reach_bins) continue;
    const auto direct = static_cast<float>(frame_response(at - bin) / own);
    const auto image = static_cast<float>(frame_response(at + bin) / own);
    std::complex<float>* into = by_bin_.data() + b * capacity_;
    for (std::size_t m = 0; m < frames_; ++m) into[m] -= direct * source[m] + image * std::conj(source[m]);
  }
}

}  // namespace linebench::measure
