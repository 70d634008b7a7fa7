#include "picture_pan.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/measure/statistics.hpp>

namespace linebench::measure {

// A column's mean changes, as the picture goes sideways, by what comes in at one of its edges and leaves at
// the other. Means of 8 px there stand for what passes.
void PicturePan::slopes(const PictureView& view, const std::vector<int>& edges,
                        std::vector<float>& out) const {
  constexpr int half = 4;
  const std::size_t columns = edges.size() - 1;
  const int rows = setup_.height() / setup_.fields;
  out.resize(static_cast<std::size_t>(rows) * columns);
  std::vector<float> at(edges.size());
  for (int r = 0; r < rows; ++r) {
    const std::uint8_t* y = view.row(setup_.fields * r);
    for (std::size_t e = 0; e < edges.size(); ++e) {
      const int from = std::max(0, edges[e] - half), to = std::min(setup_.width(), edges[e] + half);
      int sum = 0;
      for (int x = from; x < to; ++x) sum += y[x];
      at[e] = 8.0F * static_cast<float>(sum) / static_cast<float>(to - from);
    }
    float* row = out.data() + static_cast<std::size_t>(r) * columns;
    float mean = 0;
    for (std::size_t c = 0; c < columns; ++c) {
      row[c] = (at[c + 1] - at[c]) / static_cast<float>(edges[c + 1] - edges[c]);
      mean += row[c] / static_cast<float>(columns);
    }
    for (std::size_t c = 0; c < columns; ++c) row[c] -= mean;
  }
}

void PicturePan::begin(const PictureView& view, const std::vector<std::int16_t>& rows,
                       const std::vector<int>& edges) {
  // Of a test picture the rows are alike, and what goes sideways lies over it.
  if (setup_.rows_alike()) return;
  before_ = rows;
  slopes(view, edges, slope_before_);
}

void PicturePan::Normal::add(double x, double y, double t) {
  xx += x * x;
  xy += x * y;
  yy += y * y;
  xt += x * t;
  yt += y * t;
}

// Least squares of what changed over both slopes, each the mean of the two frames', so that it holds halfway.
PicturePan::Fit PicturePan::fit(const std::vector<std::int16_t>& rows, int moved) const {
  const int height = setup_.height() / setup_.fields;
  const std::size_t columns = rows.size() / static_cast<std::size_t>(height);
  const auto off = static_cast<std::ptrdiff_t>(columns);
  const int overlap = height - std::abs(moved) - 6;  // the outermost rows hold blanking
  Fit f{.columns = std::vector<Normal>(columns), .all = {}, .moved = moved};
  if (overlap < height / 3) return f;
  const std::ptrdiff_t a = (3 + std::max(0, moved)) * off, b = (3 + std::max(0, -moved)) * off;
  const std::int16_t *now = rows.data() + a, *then = before_.data() + b;
  const float *sn = slope_.data() + a, *st = slope_before_.data() + b;
  double tt = 0;
  for (int r = 0; r < overlap; ++r) {
    for (std::size_t c = 0; c < columns; ++c, ++now, ++then, ++sn, ++st) {
      const double x = 0.5 * (static_cast<double>(*sn) + static_cast<double>(*st));
      const double y = 0.25 * (now[off] - now[-off] + then[off] - then[-off]);
      const double t = *then - *now;
      f.columns[c].add(x, y, t);
      tt += t * t;
    }
  }
  for (const Normal& n : f.columns) {
    f.all.xx += n.xx;
    f.all.xy += n.xy;
    f.all.yy += n.yy;
    f.all.xt += n.xt;
    f.all.yt += n.yt;
  }
  if (f.all.tells()) tt -= f.all.px() * f.all.xt + f.all.lines() * f.all.yt;
  f.rest = tt / (static_cast<double>(overlap) * static_cast<double>(columns));
  return f;
}

// What goes sideways far may be followed wrongly down the rows: of the places it may have gone to the one
// that leaves least is taken.
void PicturePan::push(const PictureView& view, const std::vector<std::int16_t>& rows,
                      const std::vector<int>& edges, int moved) {
  if (setup_.rows_alike()) return;
  slopes(view, edges, slope_);
  if (before_.size() == rows.size()) {
    Fit best = fit(rows, moved);
    for (const int other : {0, last_moved_}) {
      if (other == best.moved) continue;
      Fit f = fit(rows, other);
      if (f.all.tells() && (!best.all.tells() || f.rest < best.rest)) best = std::move(f);
    }
    if (best.all.tells()) {
      const double px = best.all.px();
      const double lines = best.moved + best.all.lines();
      n_ += 1;
      px_ += px;
      px_square_ += px * px;
      lines_ += lines;
      lines_square_ += lines * lines;
      columns_.resize(best.columns.size());
      for (std::size_t c = 0; c < columns_.size(); ++c) {
        const Normal& n = best.columns[c];
        Normal& sum = columns_[c];
        sum.xx += n.xx;
        sum.xy += n.xy;
        sum.yy += n.yy;
        sum.xt += n.xt + best.moved * n.xy;
        sum.yt += n.yt + best.moved * n.yy;
      }
      last_moved_ = static_cast<int>(std::lround(lines));
    }
  }
  before_ = rows;
  slope_before_.swap(slope_);
}

PicturePan::Speed PicturePan::speed() const {
  constexpr double least_px = 0.01;  // noise may show so much where all stands still
  if (n_ < 3) return {};
  const auto doubt = [this](double sum, double square) {
    return coverage_factor(n_ - 1) * std::sqrt(std::max(0.0, square - sum * sum / n_) / (n_ - 1) / n_);
  };
  Speed s{.px = px_ / n_,
          .lines = lines_ / n_,
          .u_px = doubt(px_, px_square_),
          .u_lines = doubt(lines_, lines_square_),
          .known = true};
  int telling = 0, go = 0, alike = 0;
  for (const Normal& n : columns_) {
    if (!n.tells()) continue;
    ++telling;
    go += std::abs(n.px()) > std::max(least_px, 0.3 * std::abs(s.px)) ? 1 : 0;
    const bool down = std::abs(n.lines() - s.lines) < std::max(0.05, 0.3 * std::abs(s.lines));
    const bool across = std::abs(n.px() - s.px) < 0.3 * std::abs(s.px);
    alike += down && across ? 1 : 0;
  }
  s.sideways = std::abs(s.px) > std::max(least_px, 1.5 * s.u_px) && 2 * go > telling;
  s.whole = telling >= 6 && alike > 0.6 * telling;
  // A straight line stands for detail as fine as the way it goes: of pictures of a few waves the place is off
  // by up to this share of the way sideways, and of that between two rows.
  constexpr double of_px = 0.006, of_lines = 0.02;
  s.u_lines = std::hypot(s.u_lines, of_lines * (s.lines - std::round(s.lines)), of_px * s.px);
  return s;
}

}  // namespace linebench::measure
