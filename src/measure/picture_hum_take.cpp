// What hum is read from: the means of each field's rows over level parts of a test picture, or what rows of a
// live one gain or lose from frame to frame.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <tuple>

#include "picture_hum.hpp"

namespace linebench::measure {
namespace {

// Straight lines over rows that could not be read.
void bridge(std::vector<double>& row, const std::vector<bool>& good) {
  const std::size_t n = row.size();
  std::size_t last = n;
  for (std::size_t i = 0; i < n; ++i) {
    if (!good[i]) continue;
    for (std::size_t k = last == n ? 0 : last + 1; k < i; ++k) {
      const double t = last == n ? 1.0 : static_cast<double>(k - last) / static_cast<double>(i - last);
      row[k] = last == n ? row[i] : row[last] + t * (row[i] - row[last]);
    }
    last = i;
  }
  if (last < n) std::fill(row.begin() + static_cast<std::ptrdiff_t>(last), row.end(), row[last]);
}

}  // namespace

// Where lines are pulled sideways, edges carry picture in and out of a row's mean; level parts do not. And
// where codes end hum is cut off.
void PictureHumMeter::choose_blocks() {
  const auto blocks = static_cast<std::size_t>(setup_.blocks());
  constexpr std::uint16_t use = 0xffff;
  level_blocks_.assign(std::max<std::size_t>(1, setup_.bands.size()),
                       std::vector<std::uint16_t>(blocks, use));
  std::size_t free = 0;
  for (std::size_t n = 0; n < setup_.bands.size(); ++n) {
    const PictureBand& band = setup_.bands[n];
    std::vector<std::uint16_t> level(blocks, 0), whole(blocks, 0);
    std::size_t levels = 0;
    for (std::size_t b = 0; b < blocks; ++b) {
      const auto at = static_cast<int>(b);
      const auto from = band.y.begin() + std::max(0, block_px * (at - 1));
      const auto to = band.y.begin() + std::min(static_cast<int>(band.y.size()), block_px * (at + 2));
      const auto [lo, hi] = std::minmax_element(from, to);
      std::size_t held = 0;
      for (const int r : band.rows) held += setup_.held_at(r, at) ? 1 : 0;
      if (held * 50 > band.rows.size()) continue;
      whole[b] = use;
      free += band.rows.size();
      if (*hi - *lo >= 3 + 0.3 * setup_.noise) continue;
      level[b] = use;
      ++levels;
    }
    const std::size_t enough = setup_.held.empty() ? blocks / 4 : blocks / 16;
    level_blocks_[n] = levels > enough ? level : whole;
  }
  held_ = setup_.rows_alike() && free * 32 < blocks * static_cast<std::size_t>(setup_.height());
}

// Of a live picture: what each row gains or loses from one frame to the next where nothing moves. Blocks that
// change otherwise than the rest of their row hold motion and are left out.
void PictureHumMeter::push_difference(const PictureView& view) {
  const bool follows =
      !before_.empty() && view.previous != nullptr && view.frame->number == view.previous->number + 1;
  if (follows && !view.frame->corrupt && !view.previous->corrupt) {
    const int blocks = setup_.blocks();
    const int first = setup_.first_col / block_px;
    const int last = setup_.last_col / block_px;
    const auto limit =
        static_cast<int>(3.0 * std::sqrt(2.0 * block_px * (setup_.noise * setup_.noise + 0.25))) + 2;
    std::vector<int> change;
    for (int q = 0; q < setup_.fields; ++q) {
      const FieldShapes& s = shapes_[static_cast<std::size_t>(q)];
      const std::size_t n = s.rows().size();
      if (n == 0) continue;
      std::vector<double> row(n, 0);
      std::vector<bool> good(n, false);
      std::size_t good_rows = 0;
      int guess = 0;
      for (std::size_t i = 0; i < n; ++i) {
        const auto at = static_cast<std::ptrdiff_t>(setup_.fields * s.rows()[i] + q) * blocks;
        const std::uint16_t* now = view.block_sums.data() + at;
        const std::uint16_t* old = before_.data() + at;
        change.clear();
        for (int b = first; b < last; ++b)
          if (!setup_.held_at(setup_.fields * s.rows()[i] + q, b)) change.push_back(now[b] - old[b]);
        if (static_cast<int>(change.size()) * 4 < last - first) continue;
        const auto whole = static_cast<int>(change.size());
        const auto inliers = [&](int centre) {
          int count = 0;
          int sum = 0;
          for (const int d : change) {
            const bool in = std::abs(d - centre) <= limit;
            count += in ? 1 : 0;
            sum += in ? d : 0;
          }
          return std::pair(count, sum);
        };
        auto [count, sum] = inliers(guess);
        if (count * 3 < whole) {
          std::tie(count, sum) = inliers(dsp::median(change));
        }
        if (count * 2 < whole) continue;  // most of the row must change alike
        std::tie(count, sum) = inliers(static_cast<int>(std::lround(static_cast<double>(sum) / count)));
        row[i] = static_cast<double>(sum) / (block_px * std::max(1, count));
        guess = static_cast<int>(std::lround(row[i] * block_px));
        good[i] = true;
        ++good_rows;
      }
      ++seen_;
      if (good_rows * 5 < n * 3) continue;
      ++used_;
      bridge(row, good);
      StripProfiles f{view.time_s + setup_.row_time(q), q, {}};
      for (int k = 0; k < hum_shapes; ++k) {
        const std::vector<double>& shape = s.shape(k);
        double c = 0;
        for (std::size_t i = 0; i < n; ++i) c += shape[i] * row[i];
        f.c[0][static_cast<std::size_t>(k)] = static_cast<float>(c);
      }
      fields_.push_back(f);
    }
  }
  before_.assign(view.block_sums.begin(), view.block_sums.end());
}

void PictureHumMeter::push_means(const PictureView& view) {
  const int blocks = setup_.blocks();
  const int first = setup_.first_col / block_px;
  const int last = setup_.last_col / block_px;
  for (int q = 0; q < setup_.fields; ++q) {
    const FieldShapes& s = shapes_[static_cast<std::size_t>(q)];
    if (s.rows().empty()) continue;
    StripProfiles f{view.time_s + setup_.row_time(q), q, {}};
    std::vector<std::array<float, hum_strips>> means(s.rows().size());
    for (std::size_t i = 0; i < s.rows().size(); ++i) {
      const std::uint16_t* sums =
          view.block_sums.data() + static_cast<std::ptrdiff_t>(setup_.fields * s.rows()[i] + q) * blocks;
      const int band = setup_.band_of_row[static_cast<std::size_t>(setup_.fields * s.rows()[i] + q)];
      const std::uint16_t* use = level_blocks_[static_cast<std::size_t>(std::max(0, band))].data();
      for (int n = 0; n < hum_strips; ++n) {
        const int a = first + n * (last - first) / hum_strips;
        const int b = first + (n + 1) * (last - first) / hum_strips;
        int sum = 0;
        int count = 0;
        for (int x = a; x < b; ++x) {
          sum += sums[x] & use[x];
          count += use[x] & 1;
        }
        means[i][static_cast<std::size_t>(n)] =
            count > 0 ? static_cast<float>(sum) / static_cast<float>(block_px * count) : -1.0F;
      }
      // A strip with nothing to go by in this line shows what the others do: the same strips in all of a
      // band's lines, so that a level of its own stands still.
      float all = 0, with = 0;
      for (const float v : means[i]) all += std::max(v, 0.0F), with += v < 0 ? 0.0F : 1.0F;
      for (float& v : means[i]) v = v < 0 ? all / std::max(1.0F, with) : v;
    }
    for (int k = 0; k < hum_shapes; ++k) {
      const std::vector<double>& shape = s.shape(k);
      std::array<double, hum_strips> c{};
      for (std::size_t i = 0; i < means.size(); ++i) {
        for (std::size_t n = 0; n < hum_strips; ++n) c[n] += shape[i] * static_cast<double>(means[i][n]);
      }
      for (std::size_t n = 0; n < hum_strips; ++n)
        f.c[n][static_cast<std::size_t>(k)] = static_cast<float>(c[n]);
    }
    fields_.push_back(f);
  }
}

// Mean luma of what each strip goes by.
std::array<double, hum_strips> PictureHumMeter::strip_levels() const {
  const int first = setup_.first_col / block_px;
  const int last = setup_.last_col / block_px;
  std::array<double, hum_strips> level{};
  for (int n = 0; n < hum_strips; ++n) {
    double sum = 0, count = 0;
    for (std::size_t band = 0; band < setup_.bands.size(); ++band) {
      const PictureBand& of = setup_.bands[band];
      for (int b = first + n * (last - first) / hum_strips; b < first + (n + 1) * (last - first) / hum_strips;
           ++b) {
        if (level_blocks_[band][static_cast<std::size_t>(b)] == 0) continue;
        const auto weight = static_cast<double>(of.rows.size());
        for (int i = 0; i < block_px; ++i)
          sum += weight * of.y[static_cast<std::size_t>(block_px * b + i)] / block_px;
        count += weight;
      }
    }
    level[static_cast<std::size_t>(n)] = sum / count;  // NaN where there is nothing
  }
  return level;
}

}  // namespace linebench::measure
