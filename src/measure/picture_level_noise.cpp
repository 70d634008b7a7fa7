#include "picture_level_noise.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>

#include "picture_plateaus.hpp"

namespace linebench::measure {
namespace {

using Columns = LevelParts::Columns;

constexpr int most_width = 64;         // px of a part
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

}  // namespace

LevelParts level_parts(const PictureSetup& s) {
  LevelParts out;
  const Pattern& p = s.pattern;
  if (!s.rows_alike() || p.kind == PatternKind::Crosshatch || p.kind == PatternKind::Ramp) return out;
  const PictureBand& band = s.bands[p.band];
  std::vector<Columns> grey, coloured;
  if (p.kind == PatternKind::Bars) {
    const double bar = static_cast<double>(s.width()) / p.bars;
    for (int i = p.first_bar; i <= p.last_bar; ++i) {
      const Columns c{static_cast<int>((i + 0.25) * bar), static_cast<int>((i + 0.75) * bar)};
      (i == 0 || i == 7 ? grey : coloured).push_back(c);
    }
  } else {
    constexpr int edge = 10, least = 24;
    for (const FramePlateau& f : line_shape(band.y, s.first_col, s.last_col).plateaus) {
      for (int from = f.from + edge; from + least <= f.to - edge; from += most_width)
        grey.push_back({from, std::min(from + most_width, f.to - edge)});
    }
  }
  const auto keep = [&](std::vector<Columns>& v) {
    std::erase_if(v, [&](Columns c) { return c.to - c.from < 16 || cut_off(s, band.rows, c); });
    int width = most_width;
    for (const Columns& c : v) width = std::min(width, c.to - c.from);
    for (Columns& c : v) c.to = c.from + width;
    while (v.size() > most_parts) v.erase(v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2));
  };
  keep(grey);
  keep(coloured);
  if (grey.empty()) std::swap(grey, coloured);
  out = {std::move(grey), std::move(coloured)};
  return out;
}

LevelNoiseMeter::LevelNoiseMeter(const PictureSetup& setup, std::vector<Columns> parts)
    : setup_(setup), parts_(std::move(parts)) {
  if (parts_.empty()) return;
  const PictureBand& band = setup.bands[setup.pattern.band];
  rows_ = setup.straight_rows();
  // Half of a whole picture's rows tell noise to some tenths of a per cent: two of a field, and two left out.
  if (rows_.size() > 256) std::erase_if(rows_, [&](int r) { return r / (2 * setup.fields) % 2 == 1; });
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
  steps += other.steps;
  within += other.within;
  of_means += other.of_means;
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
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    for (std::size_t p = 0; p < parts_.size(); ++p) {
      const std::size_t at = r * in_row + p * n;
      float mean = 0;
      for (std::size_t i = 0; i < n; ++i) {
        const float other = b != nullptr ? static_cast<float>((*b)[at + i]) : line_[p * n + i];
        d[i] = static_cast<float>(a[at + i]) - other;
        mean += d[i];
      }
      mean /= static_cast<float>(n);
      for (std::size_t i = 0; i < n; ++i) d[i] -= mean;
      row_means_[r * parts_.size() + p] = mean;
      std::array<float, 2 * eight> lag{};
      static_assert(lags <= lag.size());
      products(d.data(), n, lag.data());
      for (std::size_t k = 0; k < lags; ++k) {
        to.lag[k] += scale * static_cast<double>(lag[k]) / static_cast<double>(n - k);
      }
      to.within += scale * static_cast<double>(lag[0]) / (width_ - 1);
      to.rows += 1;
    }
  }
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    if (below_[r] < 0) continue;
    for (std::size_t p = 0; p < parts_.size(); ++p) {
      const float step = row_means_[static_cast<std::size_t>(below_[r]) * parts_.size() + p] -
                         row_means_[r * parts_.size() + p];
      to.of_means += scale * static_cast<double>(step * step) / 2;
      to.steps += 1;
    }
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
  // Values of a narrow band hang together: so many stand for one.
  double alike = 1;
  for (std::size_t k = 1; k < lags; ++k)
    alike += 2 * std::pow((next.lag[k] / next.rows + next.means()) / one, 2);
  const double by_count = 2 * one * std::sqrt(3 * alike / (next.rows * width_));
  const double by_groups = n > 3 ? coverage_factor(n - 1) * std::sqrt(scatter / (n - 1) / n) : 0.0;
  out.u = std::hypot(std::max(by_count, by_groups), 0.15 * std::max(0.0, next.means() - one / width_),
                     0.002 * one);
  out.variance = out.next_frame = one;
  const double within = inside_.variance(width_);
  const double later = later_.rows > 0 ? later_.variance(width_) : one;
  if (later > 1.06 * one + 2 * out.u) {
    // Noise that hangs on from frame to frame. What stands still is no noise; it is what the mean of all
    // frames holds beyond noise's share.
    out.smoothed = true;
    const double keeps = std::clamp(1 - one / std::max(within, later), 0.0, 0.98);
    const auto frames = static_cast<double>(frames_);
    double stands = 0;
    const auto n_px = static_cast<std::size_t>(width_);
    for (std::size_t at = 0; at < pixels_; at += n_px) {  // each row of each part about its own mean
      double sum = 0, squares = 0;
      for (std::size_t i = at; i < at + n_px; ++i) {
        const double d = whole_[i] / frames - static_cast<double>(line_[i % line_.size()]);
        sum += d;
        squares += d * d;
      }
      stands += squares - sum * sum / width_;
    }
    stands = std::max(0.0, stands / static_cast<double>(pixels_) -
                               within * std::min(1.0, (1 + keeps) / (1 - keeps) / frames));
    out.variance = std::max(later, within - stands);
    const double hangs = (1 + keeps * keeps) / (1 - keeps * keeps);
    out.u = std::hypot(std::hypot(out.u * std::sqrt(hangs) * out.variance / one, 0.01 * out.variance), stands,
                       0.5 * (within - out.variance));
  }
  out.at_edges = out.variance * edge_factor(next);
  return out;
}

}  // namespace linebench::measure
