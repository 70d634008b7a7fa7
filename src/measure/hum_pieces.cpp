#include "hum_pieces.hpp"

#include <algorithm>
#include <cmath>

namespace linebench::measure {
namespace {

constexpr std::size_t shortest = 12;  // frames: half a second
constexpr std::size_t most_pieces = 7;
constexpr std::size_t coarse = 4;
// Frames so near a border see both sides of it.
constexpr std::size_t border = 3;
// What one harmonic gains by noise alone is below this nearly always (exponential, mean 1, made wider by
// weights that are taken from a few frames of the noise).
constexpr double gain_by_chance = 5.0;
// Places tried are many; and a change that hardly moves the level is not worth a border.
constexpr double least_gain = 30.0;
constexpr double least_to_stand = 10.0;
constexpr double least_share = 0.03;

struct Cut {
  std::size_t from = 0, to = 0;
  double gain = 0;
};

class Search {
 public:
  Search(std::span<const PieceSums> harmonics, std::size_t frames) : harmonics_(harmonics), frames_(frames) {
    double all = 0.0;
    for (const PieceSums& h : harmonics_) {
      if (h.weight.back() > 0.0) all += explained(h, 0, frames_);
    }
    all_ = all;
  }

  std::vector<std::size_t> borders() {
    std::vector<std::size_t> at{0, frames_};
    bool more = true;
    while (more && at.size() <= most_pieces) {
      more = false;
      for (std::size_t i = 0; i + 1 < at.size(); ++i) {
        const Cut cut = best_cut(at[i], at[i + 1]);
        if (cut.gain < least_gain || cut.gain < least_share * all_) continue;
        const auto end = static_cast<std::ptrdiff_t>(i + 1);
        if (cut.to < at[i + 1]) at.insert(at.begin() + end, cut.to);
        if (cut.from > at[i]) at.insert(at.begin() + end, cut.from);
        more = true;
        break;
      }
    }
    return at;
  }

 private:
  static double explained(const PieceSums& h, std::size_t a, std::size_t b) {
    const double q = h.weight[b] - h.weight[a];
    return q > 0.0 ? std::norm(h.value[b] - h.value[a]) / q : 0.0;
  }

  // [s, e) against the rest of [a, b).
  [[nodiscard]] double gain(std::size_t a, std::size_t b, std::size_t s, std::size_t e) const {
    double sum = 0.0;
    for (const PieceSums& h : harmonics_) {
      const std::complex<double> all = h.value[b] - h.value[a];
      const std::complex<double> in = h.value[e] - h.value[s];
      const double q_all = h.weight[b] - h.weight[a];
      const double q_in = h.weight[e] - h.weight[s];
      const double q_out = q_all - q_in;
      if (q_in <= 0.0 || q_out <= 0.0) continue;
      const double g = std::norm(in) / q_in + std::norm(all - in) / q_out - std::norm(all) / q_all;
      sum += evidence_of_change(g);
    }
    return sum;
  }

  void consider(Cut& best, std::size_t a, std::size_t b, std::size_t s, std::size_t e) const {
    const bool left = s == a || s >= a + shortest;
    const bool right = e == b || e + shortest <= b;
    if (!left || !right || e < s + shortest || (s == a && e == b)) return;
    const double g = gain(a, b, s, e);
    if (g > best.gain) best = {s, e, g};
  }

  [[nodiscard]] Cut best_cut(std::size_t a, std::size_t b) const {
    Cut best;
    if (b - a < 2 * shortest) return best;
    for (std::size_t s = a; s + shortest <= b; s += coarse) {
      for (std::size_t e = s + shortest; e < b; e += coarse) consider(best, a, b, s, e);
      if (s > a) consider(best, a, b, s, b);
    }
    if (best.gain <= 0.0) return best;
    const Cut start = best;
    const auto near = [](std::size_t x, std::size_t low, std::size_t high) {
      return std::pair{x > low + coarse ? x - coarse : low, std::min(x + coarse, high)};
    };
    const auto [s0, s1] = near(start.from, a, b);
    if (start.from > a) {
      for (std::size_t s = s0; s <= s1; ++s) consider(best, a, b, s, start.to);
    }
    const std::size_t from = best.from;
    const auto [e0, e1] = near(start.to, a, b);
    if (start.to < b) {
      for (std::size_t e = e0; e <= e1; ++e) consider(best, a, b, from, e);
    }
    return best;
  }

  std::span<const PieceSums> harmonics_;
  std::size_t frames_;
  double all_ = 0;
};

}  // namespace

std::vector<std::size_t> find_borders(std::span<const PieceSums> harmonics, std::size_t frames) {
  if (frames < 2 * shortest || harmonics.empty()) return {0, frames};
  return Search(harmonics, frames).borders();
}

std::vector<Piece> make_pieces(std::span<const std::size_t> at) {
  std::vector<Piece> pieces;
  for (std::size_t i = 0; i + 1 < at.size(); ++i) {
    Piece p{at[i], at[i + 1], at[i], at[i + 1]};
    if (i > 0) p.first += border;
    if (i + 2 < at.size()) p.last -= border;
    pieces.push_back(p);
  }
  return pieces;
}

double evidence_of_change(double gain) { return std::max(0.0, gain - gain_by_chance); }

bool stands(double evidence) { return evidence >= least_to_stand; }

}  // namespace linebench::measure
