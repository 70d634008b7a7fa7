// Combs are looked for in blocks of less than a second; the best way through the blocks is found by dynamic
// programming (Viterbi), with jumps made dear.
#include "hum_wander.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

#include "hum_frames.hpp"

namespace linebench::measure {
namespace {

constexpr std::size_t block = 20;  // frames
constexpr std::size_t hop = 10;
constexpr std::size_t harmonics = 5;
constexpr double grid_hz = 0.12;
constexpr double most_per_harmonic = 8.0;
constexpr int most_jump = 3;           // grid steps from block to block: 0.9 Hz/s
constexpr double jump_price = 1.2;     // evidence for each grid step
constexpr double worth_moving = 25.0;  // evidence over the best steady frequency
constexpr double near_foreign_hz = 1.2;

struct Table {
  std::size_t blocks = 0, points = 0;
  double low_hz = 0;
  std::vector<double> score, coherence;
  [[nodiscard]] std::size_t at(std::size_t b, std::size_t i) const { return b * points + i; }
};

double coherence_at(const HumChunk& chunk, std::size_t first, double hz) {
  const FrameGrid& g = chunk.grid();
  const auto bin = static_cast<std::size_t>(std::lround(hz / g.bin_hz));
  const auto z = chunk.z(bin).subspan(first, block);
  const std::complex<double> turn = std::polar(1.0, -2.0 * std::numbers::pi * hz * g.hop_s);
  std::complex<double> now = 1.0;
  std::complex<double> sum = 0.0;
  double power = 1e-30;
  for (const auto& v : z) {
    const std::complex<double> x(v);
    sum += dsp::product(x, now);
    power += std::norm(x);
    now = dsp::product(now, turn);
  }
  return std::min(std::norm(sum) / (power * static_cast<double>(block)), 0.9999);
}

Table make_table(const HumChunk& chunk, const CombSearch& search, std::span<const double> foreign) {
  Table t;
  t.blocks = (chunk.frames() - block) / hop + 1;
  t.low_hz = search.low_hz;
  t.points = static_cast<std::size_t>((search.high_hz - search.low_hz) / grid_hz) + 1;
  t.score.resize(t.blocks * t.points);
  t.coherence.resize(t.blocks * t.points);
  const double independent =
      static_cast<double>(block) / (1.0 + 2.0 * (frame_correlation(1) + frame_correlation(2)));
  for (std::size_t i = 0; i < t.points; ++i) {
    const double f0 = t.low_hz + static_cast<double>(i) * grid_hz;
    for (std::size_t k = 1; k <= harmonics; ++k) {
      const double hz = static_cast<double>(k) * f0;
      if (std::any_of(foreign.begin(), foreign.end(),
                      [&](double x) { return std::abs(x - hz) < near_foreign_hz; })) {
        continue;
      }
      for (std::size_t b = 0; b < t.blocks; ++b) {
        const double c = coherence_at(chunk, b * hop, hz);
        t.coherence[t.at(b, i)] += c;
        t.score[t.at(b, i)] += std::min(-independent * std::log1p(-c), most_per_harmonic);
      }
    }
  }
  return t;
}

// Best grid point of every block along the best way through all of them; empty when none beats standing
// still by enough.
std::vector<std::size_t> best_way(const Table& t) {
  std::vector<double> sum(t.score.begin(), t.score.begin() + static_cast<std::ptrdiff_t>(t.points));
  std::vector<double> still(sum);
  std::vector<int> came(t.blocks * t.points, 0);
  for (std::size_t b = 1; b < t.blocks; ++b) {
    std::vector<double> next(t.points);
    for (std::size_t i = 0; i < t.points; ++i) {
      double best = -1.0;
      for (int j = -most_jump; j <= most_jump; ++j) {
        const auto from = static_cast<std::ptrdiff_t>(i) + j;
        if (from < 0 || from >= static_cast<std::ptrdiff_t>(t.points)) continue;
        const double s = sum[static_cast<std::size_t>(from)] - jump_price * std::abs(j);
        if (s > best) {
          best = s;
          came[t.at(b, i)] = j;
        }
      }
      next[i] = best + t.score[t.at(b, i)];
      still[i] += t.score[t.at(b, i)];
    }
    sum = next;
  }
  const auto end = std::max_element(sum.begin(), sum.end());
  if (*end < *std::max_element(still.begin(), still.end()) + worth_moving) return {};
  std::vector<std::size_t> way(t.blocks);
  way.back() = static_cast<std::size_t>(end - sum.begin());
  for (std::size_t b = t.blocks - 1; b > 0; --b) {
    way[b - 1] = static_cast<std::size_t>(static_cast<std::ptrdiff_t>(way[b]) + came[t.at(b, way[b])]);
  }
  return way;
}

// The top of the parabola through a grid point and its neighbours.
double between_points(const Table& t, std::size_t b, std::size_t i) {
  double shift = 0.0;
  if (i > 0 && i + 1 < t.points) {
    const double y0 = t.coherence[t.at(b, i - 1)];
    const double y1 = t.coherence[t.at(b, i)];
    const double y2 = t.coherence[t.at(b, i + 1)];
    const double bend = y0 - 2.0 * y1 + y2;
    if (bend < 0.0) shift = std::clamp(0.5 * (y0 - y2) / bend, -1.0, 1.0);
  }
  return t.low_hz + (static_cast<double>(i) + shift) * grid_hz;
}

}  // namespace

std::optional<PhasePath> likely_path(const HumChunk& chunk, const CombSearch& search,
                                     std::span<const double> foreign, int terms) {
  if (chunk.frames() < 3 * block) return std::nullopt;
  const Table table = make_table(chunk, search, foreign);
  const std::vector<std::size_t> way = best_way(table);
  if (way.empty()) return std::nullopt;
  const std::size_t n = chunk.frames();
  std::vector<double> hz(n);
  std::vector<double> weight(n);
  const double half = 0.5 * static_cast<double>(block - 1);
  for (std::size_t m = 0; m < n; ++m) {
    const double at =
        std::clamp((static_cast<double>(m) - half) / hop, 0.0, static_cast<double>(table.blocks - 1));
    const auto b = std::min(static_cast<std::size_t>(at), table.blocks - 2);
    const double part = at - static_cast<double>(b);
    hz[m] = (1.0 - part) * between_points(table, b, way[b]) + part * between_points(table, b + 1, way[b + 1]);
    const double evidence =
        (1.0 - part) * table.score[table.at(b, way[b])] + part * table.score[table.at(b + 1, way[b + 1])];
    weight[m] = 0.01 + std::max(0.0, evidence - static_cast<double>(harmonics));
  }
  return PhasePath(hz, weight, chunk.grid().hop_s, terms);
}

}  // namespace linebench::measure
