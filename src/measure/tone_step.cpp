#include "tone_step.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>

namespace linebench::measure {
namespace {

constexpr double least_step_db = 0.1;
constexpr std::size_t most_side = 5;  // segments looked at on each side
constexpr std::size_t least_side = 2;
constexpr double clear_of_scatter = 16.0;  // largest deviation on either side; a drift makes 8
constexpr double clear_of_noise = 6.0;     // standard deviations
constexpr double settled_db = 0.5;         // from segment to segment; a fade moves faster
constexpr double least_excursion_db = 0.05;

struct Side {
  double mean = 0;
  double scatter = 0;
  std::size_t count = 0;
};

Side side(std::span<const double> db) {
  Side s;
  s.count = db.size();
  for (const double v : db) s.mean += v / static_cast<double>(db.size());
  for (const double v : db) s.scatter = std::max(s.scatter, std::abs(v - s.mean));
  return s;
}

std::vector<double> levels_db(std::span<const TrackLevel> levels) {
  std::vector<double> db(levels.size());
  std::transform(levels.begin(), levels.end(), db.begin(),
                 [](const TrackLevel& l) { return db_from_power(l.mean_square); });
  return db;
}

double noise_db(double rel_noise) { return db_from_power(1.0 + std::sqrt(2.0 * rel_noise)); }

}  // namespace

std::optional<LevelStep> find_level_step(std::span<const TrackLevel> levels, const SpectrumShape& shape,
                                         double rel_noise) {
  const std::vector<double> db = levels_db(levels);
  const std::span<const double> all(db);
  // Segments that hold the step itself lie in between and are left out.
  const std::size_t between = (shape.n + shape.hop - 1) / shape.hop;
  std::optional<LevelStep> best;
  for (std::size_t left = least_side; left + between + least_side <= db.size(); ++left) {
    for (std::size_t gap = 0; gap <= between; ++gap) {
      const std::size_t right = left + gap;
      const std::size_t before = std::min(most_side, left);
      const std::size_t after = std::min(most_side, db.size() - right);
      // As far out as the level holds, two segments at least.
      for (std::size_t reach = std::max(before, after); reach >= least_side; --reach) {
        const Side a = side(all.subspan(left - std::min(before, reach), std::min(before, reach)));
        const Side b = side(all.subspan(right, std::min(after, reach)));
        const double step = b.mean - a.mean;
        const double scatter = std::max(a.scatter, b.scatter);
        const double noise = noise_db(rel_noise);
        if (std::abs(step) <
            std::max({least_step_db, clear_of_scatter * (scatter - 2.0 * noise), clear_of_noise * noise}))
          continue;
        if (best && std::abs(best->db) >= 0.98 * std::abs(step)) break;
        LevelStep s;
        s.db = step;
        s.u_db = 2.0 * scatter *
                     std::sqrt(1.0 / static_cast<double>(a.count) + 1.0 / static_cast<double>(b.count)) +
                 0.001;
        // Windows see little of their ends: the step lies between the middles of the segments beside it.
        const double from = static_cast<double>(levels[left - 1].start) + 0.5 * static_cast<double>(shape.n);
        const double to = static_cast<double>(levels[right].start) + 0.5 * static_cast<double>(shape.n);
        s.time_s = 0.5 * (from + to) / shape.rate_hz;
        s.time_u_s = 0.5 * (to - from) / shape.rate_hz;
        best = s;
        break;
      }
    }
  }
  return best;
}

LevelStep with_block_time(LevelStep step, std::span<const double> blocks, double block_s) {
  if (blocks.empty() || !(block_s > 0)) return step;
  const auto clamp_block = [&](double s) {
    return static_cast<std::size_t>(std::clamp(s / block_s, 0.0, static_cast<double>(blocks.size())));
  };
  const double around = step.time_u_s + 0.25;
  const std::size_t first = clamp_block(step.time_s - around);
  const std::size_t last = clamp_block(step.time_s + around);
  if (last < first + 6) return step;
  // The split that leaves least scatter about two levels.
  double sum = 0;
  double square = 0;
  for (std::size_t i = first; i < last; ++i) {
    sum += blocks[i];
    square += blocks[i] * blocks[i];
  }
  const auto n = static_cast<double>(last - first);
  double low = 0;
  double most = 0;
  std::size_t split = 0;
  double level[2] = {};
  for (std::size_t i = first; i + 2 < last; ++i) {
    low += blocks[i];
    const auto k = static_cast<double>(i + 1 - first);
    if (k < 2) continue;
    const double explained = low * low / k + (sum - low) * (sum - low) / (n - k);
    if (explained > most) {
      most = explained;
      split = i + 1;
      level[0] = low / k;
      level[1] = (sum - low) / (n - k);
    }
  }
  const double total = square - sum * sum / n;
  const double seen = db_from_power(level[1] / std::max(level[0], 1e-30));
  // Where the rest of the signal moves as much, its blocks do not show the tone's step.
  if (!(total > 0) || most - sum * sum / n < 0.8 * total ||
      std::abs(seen - step.db) > 0.3 * std::abs(step.db)) {
    return step;
  }
  step.time_s = static_cast<double>(split) * block_s;
  step.time_u_s = block_s;
  return step;
}

bool comes_and_goes(std::span<const double> blocks, double block_s) {
  constexpr double silent = 1e-3;  // of the power where it sounds
  constexpr double least_pause_s = 0.03;
  constexpr int fewest_pauses = 3;
  constexpr double least_share = 0.1;  // of the time; a contact that breaks is away for less
  if (blocks.empty()) return false;
  std::vector<double> sorted(blocks.begin(), blocks.end());
  const auto loud = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() * 9 / 10);
  std::nth_element(sorted.begin(), loud, sorted.end());
  std::size_t away = 0;
  std::size_t run = 0;
  int pauses = 0;
  for (const double power : blocks) {
    if (power < silent * *loud) {
      ++run;
      continue;
    }
    if (static_cast<double>(run) * block_s >= least_pause_s) {
      ++pauses;
      away += run;
    }
    run = 0;
  }
  return pauses >= fewest_pauses &&
         static_cast<double>(away) > least_share * static_cast<double>(blocks.size());
}

double level_excursion_db(std::span<const TrackLevel> levels, double mean_square, double rel_noise) {
  const std::vector<double> db = levels_db(levels);
  const double here = db_from_power(mean_square);
  double most = 0;
  for (std::size_t i = 0; i + 1 < db.size(); ++i) {
    if (std::abs(db[i + 1] - db[i]) > settled_db) continue;
    most = std::max(most, std::min(std::abs(db[i] - here), std::abs(db[i + 1] - here)));
  }
  return most > least_excursion_db + clear_of_noise * noise_db(rel_noise) ? most : 0.0;
}

}  // namespace linebench::measure
