#include "picture_roll.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>

namespace linebench::measure {
namespace {

LINEBENCH_VECTORISED double squared_distance(const std::int16_t* a, const std::int16_t* b, std::size_t n) {
  double all = 0;
  for (std::size_t at = 0; at < n;) {
    const std::size_t end = std::min(n, at + 2048);
    std::int32_t some = 0;
    for (; at < end; ++at) {
      const int d = (a[at] - b[at]) >> 1;
      some += (d * d) >> 2;
    }
    all += some;
  }
  return 16 * all;
}

}  // namespace

PictureRollMeter::PictureRollMeter(const PictureSetup& setup)
    : setup_(setup), rows_(setup.height() / setup.fields) {}

void PictureRollMeter::features(const PictureView& view, Rows& out) const {
  const int blocks = setup_.blocks();
  const int first = setup_.first_col / block_px;
  const int last = setup_.last_col / block_px;
  out.resize(static_cast<std::size_t>(rows_ * columns));
  for (int r = 0; r < rows_; ++r) {
    const std::uint16_t* sums =
        view.block_sums.data() + static_cast<std::ptrdiff_t>(setup_.fields * r) * blocks;
    std::array<int, columns> v{};
    int mean = 0;
    for (int c = 0; c < columns; ++c) {
      const int a = first + c * (last - first) / columns;
      const int b = std::max(a + 1, first + (c + 1) * (last - first) / columns);
      int s = 0;
      for (int x = a; x < b; ++x) s += sums[x];
      v[static_cast<std::size_t>(c)] = 8 * s / (block_px * (b - a));  // eighths of a code
      mean += v[static_cast<std::size_t>(c)];
    }
    mean /= columns;
    for (int c = 0; c < columns; ++c)
      out[static_cast<std::size_t>(r * columns + c)] =
          static_cast<std::int16_t>(v[static_cast<std::size_t>(c)] - mean);
  }
}

// Mean square difference when the picture now is the reference moved down by `shift` rows.
double PictureRollMeter::cost(const Rows& now, int shift) const {
  const int overlap = rows_ - std::abs(shift) - 4;  // the outermost rows hold blanking
  if (overlap < rows_ / 3) return std::numeric_limits<double>::infinity();
  const int a = 2 + std::max(0, shift);
  const int b = 2 + std::max(0, -shift);
  const auto n = static_cast<std::size_t>(overlap * columns);
  return squared_distance(now.data() + a * columns, reference_.data() + b * columns, n) /
         static_cast<double>(n);
}

// A roll moves all of the picture alike. Detail that slants, panned sideways, seems to move up here and down
// there. @return share of the columns with detail that fit best where the whole does.
double PictureRollMeter::agreement(const Rows& now, int at, double offset) const {
  std::array<std::array<double, columns>, 3> cost{};
  for (int k = 0; k < 3; ++k) {
    const int shift = at + k - 1;
    const int overlap = rows_ - std::abs(shift) - 4;
    if (overlap < rows_ / 3) return 0;
    const std::int16_t* a = now.data() + static_cast<std::ptrdiff_t>(2 + std::max(0, shift)) * columns;
    const std::int16_t* b =
        reference_.data() + static_cast<std::ptrdiff_t>(2 + std::max(0, -shift)) * columns;
    auto& sums = cost[static_cast<std::size_t>(k)];
    for (int r = 0; r < overlap; ++r, a += columns, b += columns) {
      for (int c = 0; c < columns; ++c) {
        const double d = a[c] - b[c];
        sums[static_cast<std::size_t>(c)] += d * d;
      }
    }
    for (double& v : sums) v /= overlap;
  }
  std::array<double, columns> bend{};
  for (std::size_t c = 0; c < columns; ++c) bend[c] = cost[0][c] + cost[2][c] - 2 * cost[1][c];
  std::array<double, columns> sorted = bend;
  std::nth_element(sorted.begin(), sorted.begin() + columns / 2, sorted.end());
  const double least = 0.3 * sorted[columns / 2];
  int with_detail = 0, agree = 0;
  for (std::size_t c = 0; c < columns; ++c) {
    if (bend[c] < least) continue;
    ++with_detail;
    const double own = bend[c] > 0 ? 0.5 * (cost[0][c] - cost[2][c]) / bend[c] : 9;
    if (std::abs(own - offset) < 0.3) ++agree;
  }
  return with_detail == 0 ? 0 : static_cast<double>(agree) / with_detail;
}

// As cost(), of detail so fine that hum, bent by clipping or going with the level, has next to none: it would
// pass for a picture that rolls.
double PictureRollMeter::detail_cost(const Rows& now, int shift) const {
  constexpr int apart = 3;
  const int overlap = rows_ - std::abs(shift) - 4 - 2 * apart;
  if (overlap < rows_ / 4) return 0;
  const std::int16_t* a = now.data() + static_cast<std::ptrdiff_t>(2 + apart + std::max(0, shift)) * columns;
  const std::int16_t* b =
      reference_.data() + static_cast<std::ptrdiff_t>(2 + apart + std::max(0, -shift)) * columns;
  constexpr int off = apart * columns;
  const auto n = static_cast<std::ptrdiff_t>(overlap) * columns;
  double sum = 0;
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    const int d = (a[i - off] - 2 * a[i] + a[i + off]) - (b[i - off] - 2 * b[i] + b[i + off]);
    sum += static_cast<double>(d) * d;
  }
  return sum / static_cast<double>(n);
}

PictureRollMeter::Match PictureRollMeter::find(const Rows& now, double expected, bool everywhere) const {
  const int middle = everywhere ? 0 : static_cast<int>(std::lround(expected));
  const int range = everywhere ? rows_ / 2 : 6;
  double best = std::numeric_limits<double>::infinity();
  int at = 0;
  double sum = 0;
  int count = 0;
  for (int d = middle - range; d <= middle + range; ++d) {
    const double c = cost(now, d);
    if (!std::isfinite(c)) continue;
    sum += c;
    ++count;
    // Where it makes no difference, the picture has not moved.
    const double weighed = c * (1 + 1e-4 * std::abs(d - middle)) + 1e-6 * std::abs(d);
    if (weighed < best) best = weighed, at = d;
  }
  Match m;
  if (count == 0) return m;
  // Crosshatch and other repeating detail fit as well a period on: by noise alone even better.
  if (std::abs(at - middle) > 6) {
    int near = middle;
    double near_cost = std::numeric_limits<double>::infinity();
    for (int d = middle - 6; d <= middle + 6; ++d) {
      if (const double c = cost(now, d); c < near_cost) near_cost = c, near = d;
    }
    if (near_cost < 1.15 * best + 2) at = near;
  }
  const double a = cost(now, at - 1);
  const double b = cost(now, at);
  const double c = cost(now, at + 1);
  m.lines = at;
  // Of a hard edge the cost rises straight on both sides, of soft ones as a parabola: the root serves both.
  if (std::isfinite(a) && std::isfinite(c) && a + c - 2 * b > 1e-9) {
    m.lines += std::clamp(0.5 * (a - c) / (a + c - 2 * b), -0.5, 0.5);
  }
  const double mean = sum / count;
  m.quality = mean > 0 ? 1 - b / mean : 0;
  m.clear = m.quality > 0.3 && std::abs(at - middle) < range;
  return m;
}

void PictureRollMeter::push(const PictureView& view) {
  features(view, now_);
  if (view.index == 0) {
    reference_ = now_;
    n_ = 1;
    track_s_.push_back(0);
    track_lines_.push_back(0);
    return;
  }
  ++tried_;
  const bool everywhere = view.index < 4 || lost_ * 4 > tried_;
  Match m = find(now_, at_ + speed_ - reference_at_, everywhere);
  if (!m.clear && !everywhere) m = find(now_, 0, true);
  if (!m.clear) {
    // Rows that are all alike show nothing, whatever moves.
    const double still = cost(now_, 0);
    const double moved = cost(now_, rows_ / 8);
    if (moved < 1.15 * still + 4) ++plain_;
    ++lost_;
    reference_ = now_;
    reference_at_ = at_;
    return;
  }
  const double place = reference_at_ + m.lines;
  speed_ = place - at_;
  at_ = place;
  const auto whole = static_cast<int>(std::lround(m.lines));
  agreement_ += agreement(now_, whole, m.lines - whole);
  ++asked_;
  if (std::abs(whole) > 2) {
    const double rest = detail_cost(now_, whole);
    gained_ += detail_cost(now_, 0) - rest;
    detail_rest_ += rest;
    moved_ += 1;
  }
  const auto x = static_cast<double>(view.frame->number);
  if (n_ > 1 && x == last_x_ + 1) {
    steps_ += 1;
    step_ += at_ - last_y_;
    step_square_ += (at_ - last_y_) * (at_ - last_y_);
  }
  last_x_ = x;
  last_y_ = at_;
  n_ += 1;
  sx_ += x;
  sy_ += at_;
  sxx_ += x * x;
  sxy_ += x * at_;
  syy_ += at_ * at_;
  if (track_s_.size() < 2000) {
    track_s_.push_back(view.time_s);
    track_lines_.push_back(at_ * setup_.fields);
  }
  if (std::abs(m.lines) > rows_ / 8.0) {
    reference_ = now_;
    reference_at_ = at_;
  }
}

void PictureRollMeter::finish(Readings& out, PictureTraces* traces) {
  if (tried_ == 0) {
    out.push_back(unmeasurable("picture.roll", "one frame does not show movement; take several"));
    return;
  }
  if (plain_ * 2 > tried_) {
    out.push_back(
        unmeasurable("picture.roll",
                     "all rows look alike, so a roll would not show; send a crosshatch or a live picture"));
    return;
  }
  if (traces != nullptr) {
    traces->roll_s = track_s_;
    traces->roll_lines = track_lines_;
  }
  if (lost_ * 3 > tried_ || n_ < 3) {
    out.push_back(
        unmeasurable("picture.roll", "the picture changes too much from frame to frame to follow it"));
    return;
  }
  const double spread = sxx_ - sx_ * sx_ / n_;
  const double slope = (sxy_ - sx_ * sy_ / n_) / spread;
  const double rest = std::max(0.0, syy_ - sy_ * sy_ / n_ - slope * slope * spread);
  const double sigma = std::sqrt(rest / std::max(1.0, n_ - 2));
  const double u_place = std::max(sigma, 0.001);
  const double lines = setup_.fields * slope;
  // Places between lines are off in a way that comes again line by line, so that of a slow roll neighbours
  // err alike: by their steps [von Neumann's ratio], as an autoregression of first order.
  const double square = rest / n_;
  const double step = steps_ > 0 ? step_square_ - 2 * slope * step_ + steps_ * slope * slope : 0;
  const double alike = steps_ > 8 && square > 0 ? std::clamp(1 - step / steps_ / square / 2, 0.0, 0.98) : 0.0;
  const double together = std::sqrt((1 + alike) / (1 - alike));
  const double free = std::max(2.0, (n_ - 2) * (1 - alike) / (1 + alike));
  // Halfway between two lines it is found off by as much as this, at either end.
  constexpr double between = 0.0015;
  const double u_ends = setup_.fields * between * std::sqrt(n_ / (12 * spread));
  const double u = std::hypot(
      std::hypot(setup_.fields * coverage_factor(free) * u_place * together / std::sqrt(spread), u_ends),
      0.0004 * lines,
      5e-5 * lines * lines);  // a fast roll stretches the picture, its rows are scanned one after another
  // A picture that shakes or is panned up and down does not roll, but it does move.
  const bool uneven = sigma > 2 && sigma > 0.1 * std::abs(slope) * n_;
  if (std::abs(lines) <= u && u > 0.1) {
    out.push_back(unmeasurable(
        "picture.roll",
        uneven
            ? fmt::format("it goes nowhere steadily, but its place is found {:.1f} lines off from frame to "
                          "frame: the picture jumps, or has little to find its place by",
                          setup_.fields * sigma)
            : "no roll found; take more frames to tell a slower one",
        std::abs(lines) + u));
    return;
  }
  constexpr double code = 8;  // of the features
  if (std::abs(lines) > 0.1 && moved_ > 0 && gained_ < 1.0 * code * code * moved_ + 0.01 * detail_rest_) {
    out.push_back(
        unmeasurable("picture.roll",
                     "what moves up or down is as soft as hum bars are, and no detail of the picture "
                     "goes with it; send a crosshatch or a live picture"));
    return;
  }
  if (std::abs(lines) > std::max(0.1, 2 * u) && agreement_ < 0.6 * static_cast<double>(asked_)) {
    out.push_back(unmeasurable("picture.roll",
                               "the picture moves, but not up or down as a whole: things in it move, or the "
                               "camera turns"));
    return;
  }
  moving_ = std::abs(lines) > std::max(0.1, u);
  rolling_ = std::abs(lines) > std::max(0.1, 2 * u);
  std::string remark;
  if (uneven && std::abs(lines) > u)
    remark = "it moves unevenly: jumps or a camera in motion, rather than a steady roll";
  if (rolling_) remark = (lines > 0 ? "downward" : "upward") + (remark.empty() ? "" : "; " + remark);
  out.push_back(number_reading("picture.roll", lines, u, remark));
}

}  // namespace linebench::measure
