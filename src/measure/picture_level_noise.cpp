#include "picture_level_noise.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>

#include "picture_plateaus.hpp"

namespace linebench::measure {
namespace {

using Columns = LevelParts::Columns;

constexpr int most_width = 64;  // px of a part
constexpr int least_part = 16;
constexpr std::size_t most_parts = 6;  // beyond that more say no more

// Noise is cut off where codes end.
bool cut_off(const PictureSetup& s, const std::vector<int>& rows, Columns c) {
  if (s.held.empty()) return false;
  std::size_t held = 0, all = 0;
  for (const int r : rows) {
    for (int b = c.from / block_px; b <= (c.to - 1) / block_px; ++b, ++all) held += s.held_at(r, b) ? 1 : 0;
  }
  return 20 * held > all;
}

// A plateau without what stands on it: a pulse or a grid's upright may be narrower than what parts two of
// them.
std::vector<Columns> level_runs(const std::vector<double>& line, const FramePlateau& f) {
  constexpr double most_off = 6;  // codes
  std::vector<Columns> runs;
  int from = -1;
  for (int x = f.from; x <= f.to; ++x) {
    const bool level = x < f.to && std::abs(line[static_cast<std::size_t>(x)] - f.mean) <= most_off;
    if (level && from < 0) from = x;
    if (level || from < 0) continue;
    runs.push_back({from, x});
    from = -1;
  }
  return runs;
}

// Sums of each value times those up to 15 further on.
constexpr std::size_t eight = 8;
LINEBENCH_VECTORISED void products(const float* d, std::size_t n, float* out) {
  dsp::Eight near{}, far{};
  for (std::size_t i = 0; i < n; ++i) {
    dsp::Eight a, b;
    LINEBENCH_LOAD_EIGHT(a, d + i);
    LINEBENCH_LOAD_EIGHT(b, d + i + eight);
    near += d[i] * a;
    far += d[i] * b;
  }
  LINEBENCH_STORE_EIGHT(out, near);
  LINEBENCH_STORE_EIGHT(out + eight, far);
}

// What a is beyond b. @return the sum
LINEBENCH_VECTORISED int beyond(const std::uint8_t* a, const std::uint8_t* b, std::size_t n, float* out) {
  int sum = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const int d = a[i] - b[i];
    sum += d;
    out[i] = static_cast<float>(d);
  }
  return sum;
}
float beyond(const std::uint8_t* a, const float* b, std::size_t n, float* out) {
  float sum = 0;
  for (std::size_t i = 0; i < n; ++i) sum += out[i] = static_cast<float>(a[i]) - b[i];
  return sum;
}

// Puts 0, the mean of the others, where a few samples stand far off. @return how many are left
std::size_t leave_out_specks(std::span<float> d, float far, float& mean) {
  if (std::ranges::all_of(d, [far](float v) { return std::abs(v) <= far; })) return d.size();
  std::vector<float> sorted(d.begin(), d.end());
  const float middle = dsp::quantile(sorted, 0.5);  // the mean is pulled by them
  const auto is_speck = [&](float v) { return std::abs(v - middle) > far; };
  std::size_t left = 0;
  float sum = 0;
  for (const float v : d) {
    if (is_speck(v)) continue;
    sum += v;
    ++left;
  }
  if (left == d.size() || 2 * left < d.size()) return d.size();  // no specks: something else is there
  const float of_left = sum / static_cast<float>(left);
  for (float& v : d) v = is_speck(v) ? 0 : v - of_left;
  mean += of_left;
  return left;
}

}  // namespace

LevelParts level_parts(const PictureSetup& s) {
  LevelParts out;
  const Pattern& p = s.pattern;
  if (!s.rows_alike() || p.kind == PatternKind::Ramp) return out;
  const PictureBand& band = s.bands[p.band];
  std::vector<Columns> grey, coloured;
  if (p.kind == PatternKind::Bars) {
    const double bar = static_cast<double>(s.width()) / p.bars;
    for (int i = p.first_bar; i <= p.last_bar; ++i) {
      const Columns c{static_cast<int>((i + 0.25) * bar), static_cast<int>((i + 0.75) * bar)};
      (i == 0 || i == 7 ? grey : coloured).push_back(c);
    }
  } else {
    // Between the uprights of a grid there is less.
    const bool grid = p.kind == PatternKind::Crosshatch;
    const int least = grid ? least_part : 24;
    for (const FramePlateau& f : line_shape(band.y, s.first_col, s.last_col).plateaus) {
      for (const Columns& run : level_runs(band.y, f)) {
        const int edge = grid ? std::clamp((run.to - run.from) / 5, 5, 10) : 10;
        if (run.to - run.from < least + 2 * edge) continue;
        out.clear_px = out.clear_px > 0 ? std::min(out.clear_px, edge) : edge;
        for (int from = run.from + edge; from + least <= run.to - edge; from += most_width)
          grey.push_back({from, std::min(from + most_width, run.to - edge)});
      }
    }
  }
  const auto keep = [&](std::vector<Columns>& v) {
    std::erase_if(v, [&](Columns c) { return c.to - c.from < least_part || cut_off(s, band.rows, c); });
    int width = most_width;
    for (const Columns& c : v) width = std::min(width, c.to - c.from);
    for (Columns& c : v) c.to = c.from + width;
    while (v.size() > most_parts) v.erase(v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2));
  };
  keep(grey);
  keep(coloured);
  if (grey.empty()) std::swap(grey, coloured);
  out.grey = std::move(grey);
  out.coloured = std::move(coloured);
  return out;
}

LevelNoiseMeter::LevelNoiseMeter(const PictureSetup& setup, std::vector<Columns> parts)
    : setup_(setup), parts_(std::move(parts)) {
  if (parts_.empty()) return;
  constexpr double far_codes = 12, far_noise = 8;
  far_ = static_cast<float>(std::max(far_codes, far_noise * setup.noise));
  const PictureBand& band = setup.bands[setup.pattern.band];
  rows_ = setup.straight_rows();
  // Half of a whole picture's rows tell noise to some tenths of a per cent: three of a field, and three left
  // out.
  if (rows_.size() > 256) std::erase_if(rows_, [&](int r) { return r / (3 * setup.fields) % 2 == 1; });
  if (rows_.size() < 32) return;
  for (const int r : rows_) {
    const auto at = std::lower_bound(rows_.begin(), rows_.end(), r + setup.fields);
    below_.push_back(at != rows_.end() && *at == r + setup.fields ? at - rows_.begin() : -1);
  }
  width_ = parts_[0].to - parts_[0].from;
  for (const Columns& c : parts_)
    for (int x = c.from; x < c.to; ++x)
      line_.push_back(static_cast<float>(band.y[static_cast<std::size_t>(x)]));
  pixels_ = rows_.size() * line_.size();
  whole_.assign(pixels_, 0);
}

void LevelNoiseMeter::Sums::join(const Sums& other) {
  rows += other.rows;
  left_out += other.left_out;
  steps += other.steps;
  within += other.within;
  of_means += other.of_means;
  of_rows += other.of_rows;
  bends += other.bends;
  of_bends += other.of_bends;
  for (std::size_t k = 0; k < lags; ++k) lag[k] += other.lag[k];
}

// Of the difference of two frames, halved; or of one about the band's line.
void LevelNoiseMeter::compare(const std::vector<std::uint8_t>& a, const std::vector<std::uint8_t>* b,
                              Sums& to) {
  const auto n = static_cast<std::size_t>(width_);
  const double scale = b != nullptr ? 0.5 : 1.0;
  const std::size_t in_row = line_.size();
  row_means_.resize(rows_.size() * parts_.size());
  std::array<float, most_width + 2 * eight> d{};  // nothing beyond the part's end
  products_.resize(row_means_.size());
  squares_.clear();
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    for (std::size_t p = 0; p < parts_.size(); ++p) {
      const std::size_t at = r * in_row + p * n;
      float mean = (b != nullptr ? static_cast<float>(beyond(&a[at], &(*b)[at], n, d.data()))
                                 : beyond(&a[at], &line_[p * n], n, d.data())) /
                   static_cast<float>(n);
      for (std::size_t i = 0; i < n; ++i) d[i] -= mean;
      const std::size_t left = leave_out_specks(std::span(d).first(n), far_, mean);
      row_means_[r * parts_.size() + p] = mean;
      std::array<float, 2 * eight>& lag = products_[r * parts_.size() + p];
      static_assert(lags <= 2 * eight);
      products(d.data(), n, lag.data());
      const float whole = static_cast<float>(n) / static_cast<float>(left);
      for (float& v : lag) v *= whole;
      squares_.push_back(lag[0]);
    }
  }
  // A dimmer's spike or a line that lost its place is no noise, which hardly ever goes so far beyond its
  // middle, of a narrow band either.
  constexpr float far_beyond = 8;
  const float most = far_beyond * std::max(dsp::quantile(squares_, 0.5), 0.05F * static_cast<float>(n));
  std::array<double, lags> sum{};
  for (const auto& lag : products_) {
    if (lag[0] > most) {
      to.left_out += 1;
      continue;
    }
    for (std::size_t k = 0; k < lags; ++k) sum[k] += static_cast<double>(lag[k]);
    to.rows += 1;
  }
  for (std::size_t k = 0; k < lags; ++k) to.lag[k] += scale * sum[k] / static_cast<double>(n - k);
  to.within += scale * sum[0] / (width_ - 1);
  const auto n_parts = static_cast<double>(parts_.size());
  const auto mean_of = [&](std::ptrdiff_t r, std::size_t p) {
    return static_cast<double>(row_means_[static_cast<std::size_t>(r) * parts_.size() + p]);
  };
  // Nor is what such a spike lifts whole rows by.
  const auto step_of = [&](std::size_t r) {
    double squares = 0;
    for (std::size_t p = 0; p < parts_.size(); ++p) {
      const double step = mean_of(below_[r], p) - mean_of(static_cast<std::ptrdiff_t>(r), p);
      squares += step * step;
    }
    return squares;
  };
  squares_.clear();
  for (std::size_t r = 0; r < rows_.size(); ++r)
    if (below_[r] >= 0) squares_.push_back(static_cast<float>(step_of(r)));
  constexpr double far_step = 30, least_step = 0.05;
  const double most_step =
      squares_.empty() ? 0
                       : far_step * std::max(static_cast<double>(dsp::quantile(squares_, 0.5)), least_step);
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    const std::ptrdiff_t at = static_cast<std::ptrdiff_t>(r), next = below_[r];
    if (next < 0) continue;
    if (step_of(r) > most_step) {
      to.left_out += n_parts;
      continue;
    }
    const auto below = static_cast<std::size_t>(next);
    const std::ptrdiff_t third = below_[below] >= 0 && step_of(below) <= most_step ? below_[below] : -1;
    double all = 0, squares = 0, all_bent = 0, squares_bent = 0;
    for (std::size_t p = 0; p < parts_.size(); ++p) {
      const double step = mean_of(next, p) - mean_of(at, p);
      all += step;
      squares += step * step;
      const double bend = third < 0 ? 0 : mean_of(third, p) - mean_of(next, p) - step;
      all_bent += bend;
      squares_bent += bend * bend;
    }
    to.of_means += scale * squares / 2;
    to.steps += n_parts;
    if (n_parts < 2) continue;
    to.of_rows += scale * (all * all - squares) / (n_parts - 1) / 2;
    to.of_bends += scale * (all_bent * all_bent - squares_bent) / (n_parts - 1) / 6;
    to.bends += third < 0 ? 0 : n_parts;
  }
}

void LevelNoiseMeter::push(const capture::Frame& frame) {
  if (!usable()) return;
  std::vector<std::uint8_t>& now = kept_[frames_ % kept_.size()];
  now.resize(pixels_);
  std::size_t to = 0;
  for (const int r : rows_) {
    const auto row = frame.y.begin() + static_cast<std::ptrdiff_t>(r) * setup_.width();
    for (const Columns& c : parts_) {
      std::copy(row + c.from, row + c.to, now.begin() + static_cast<std::ptrdiff_t>(to));
      to += static_cast<std::size_t>(c.to - c.from);
    }
  }
  for (std::size_t i = 0; i < pixels_; ++i) whole_[i] += now[i];
  ++frames_;
  // The first say how it is; of hours every fourth frame is enough.
  if (frames_ > 400 && frames_ % 4 != 0) return;
  if (frames_ % 2 == 1) compare(now, nullptr, inside_);
  if (frames_ < 2) return;
  const std::size_t before = (frames_ - 2) % kept_.size();
  compare(now, &kept_[before], next_[(frames_ / 2) % groups]);
  ++pairs_;
  const std::uint64_t far = std::min<std::uint64_t>(apart, frames_ - 1);
  if (far >= 4) compare(now, &kept_[(frames_ - 1 - far) % kept_.size()], later_);
}

// Noise moves an edge by what it holds at the edge's frequencies: by its autocovariance and that of the
// slope.
double LevelNoiseMeter::edge_factor(const Sums& s) const {
  const std::vector<double>& y = setup_.bands[setup_.pattern.band].y;
  std::vector<double> slope(y.size(), 0);
  for (std::size_t x = 2; x + 2 < y.size(); ++x)
    slope[x] = (8 * (y[x + 1] - y[x - 1]) - (y[x + 2] - y[x - 2])) / 12;
  const auto first = slope.begin() + setup_.first_col;
  const auto last = slope.begin() + setup_.last_col;
  double factor = 0, own = 0;
  const double whole = s.variance(width_);
  for (std::size_t k = 0; k < lags; ++k) {
    double a = 0;
    for (auto x = first; x + static_cast<std::ptrdiff_t>(k) < last; ++x)
      a += *x * *(x + static_cast<std::ptrdiff_t>(k));
    if (k == 0) own = a;
    factor += (k == 0 ? 1 : 2) * a * (s.lag[k] / s.rows + s.means()) / whole;
  }
  return own > 0 ? std::max(0.0, factor / own) : 1;
}

// Of each row of each part, about its own mean and what all rows show: what the mean of all frames holds
// beyond noise's share. @param keeps share of a frame's noise that the next one still holds
double LevelNoiseMeter::standing(double within, double keeps) const {
  const auto frames = static_cast<double>(frames_);
  const std::size_t in_row = line_.size();
  std::vector<double> column(in_row, 0);
  for (std::size_t at = 0; at < pixels_; ++at) column[at % in_row] += whole_[at];
  for (double& v : column) v /= static_cast<double>(rows_.size());
  const auto n_px = static_cast<std::size_t>(width_);
  double stands = 0;
  for (std::size_t at = 0; at < pixels_; at += n_px) {
    double sum = 0, squares = 0;
    for (std::size_t i = at; i < at + n_px; ++i) {
      const double d = (whole_[i] - column[i % in_row]) / frames;
      sum += d;
      squares += d * d;
    }
    stands += squares - sum * sum / width_;
  }
  const double kept = (1 - 1.0 / width_) * (1 - 1.0 / static_cast<double>(rows_.size()));
  return stands / static_cast<double>(pixels_) / kept -
         within * std::min(1.0, (1 + keeps) / (1 - keeps) / frames);
}

SharedNoise LevelNoiseMeter::shared() const {
  SharedNoise out;
  Sums next;
  for (const Sums& s : next_) next.join(s);
  const double within = next.within / next.rows;
  const auto n_parts = static_cast<double>(parts_.size());
  out.stands = standing(within, 0);
  const double alike = next.hang_together(width_);
  const double by_pixels = 2 * std::sqrt(2 * alike / static_cast<double>(pixels_));
  out.stands_u = std::hypot(by_pixels * std::abs(out.stands),
                            (by_pixels + 0.01) * within / static_cast<double>(frames_));
  if (next.bends == 0) return out;
  std::vector<double> each;
  for (const Sums& s : next_)
    if (s.steps > 0) each.push_back(s.of_rows / s.steps);
  out.rows = next.of_rows / next.steps;
  double scatter = 0;
  for (const double v : each) scatter += (v - *out.rows) * (v - *out.rows);
  const auto n = static_cast<double>(each.size());
  // A row counts once however wide it is; its steps, and frames, share theirs with their neighbours.
  const auto by_count = [&](double parts) {
    return 2 * (std::max(0.0, *out.rows) + next.means() / n_parts) * std::sqrt(3 / (parts / n_parts));
  };
  const double by_groups = n > 3 ? coverage_factor(n - 1) * std::sqrt(scatter / (n - 1) / n) : 0.0;
  // Hum's slope is in steps from row to row and not in what three of them bend by.
  const double by_hum = *out.rows - next.of_bends / next.bends;
  out.rows_u =
      std::hypot(std::max(by_count(next.steps), by_groups), by_hum > by_count(next.bends) ? by_hum : 0.0);
  return out;
}

// Values of a narrow band hang together: so many stand for one.
double LevelNoiseMeter::Sums::hang_together(double px) const {
  const double one = variance(px);
  double alike = 1;
  for (std::size_t k = 1; k < lags; ++k) alike += 2 * std::pow((lag[k] / rows + means()) / one, 2);
  return alike;
}

LevelNoise LevelNoiseMeter::result() const {
  LevelNoise out;
  Sums next;
  std::vector<double> each;
  for (const Sums& s : next_) {
    if (s.rows == 0) continue;
    next.join(s);
    each.push_back(s.variance(width_));
  }
  const double one = next.variance(width_);
  double scatter = 0;
  for (const double v : each) scatter += (v - one) * (v - one);
  const auto n = static_cast<double>(each.size());
  const double alike = next.hang_together(width_);
  const double by_count = 2 * one * std::sqrt(3 * alike / (next.rows * width_));
  const double by_groups = n > 3 ? coverage_factor(n - 1) * std::sqrt(scatter / (n - 1) / n) : 0.0;
  out.u = std::hypot(std::max(by_count, by_groups), 0.15 * std::max(0.0, next.means() - one / width_),
                     0.002 * one);
  // Where there are spikes, what is left of their tails.
  constexpr double least_share = 0.0005, of_tails = 0.015;
  if (next.left_out > least_share * next.rows) out.u = std::hypot(out.u, of_tails * one);
  out.variance = out.next_frame = one;
  const double within = out.in_frame = inside_.variance(width_);
  const double later = later_.rows > 0 ? later_.variance(width_) : one;
  if (later > 1.06 * one + 2 * out.u) {
    // Noise that hangs on from frame to frame. What stands still is no noise; it is what the mean of all
    // frames holds beyond noise's share.
    out.smoothed = true;
    const double keeps = std::clamp(1 - one / std::max(within, later), 0.0, 0.98);
    const double stands = std::max(0.0, standing(within, keeps));
    out.variance = std::max(later, within - stands);
    const double hangs = (1 + keeps * keeps) / (1 - keeps * keeps);
    out.u = std::hypot(std::hypot(out.u * std::sqrt(hangs) * out.variance / one, 0.01 * out.variance), stands,
                       0.5 * (within - out.variance));
  }
  out.at_edges = out.variance * edge_factor(next);
  return out;
}

}  // namespace linebench::measure
