#include "picture_roll.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>

namespace linebench::measure {
namespace {

// Of values up to 2040, so that differences fit 16 bits, and in each of eight sums the squares of 256 halves
// of them fit 31.
LINEBENCH_VECTORISED double squared_distance(const std::int16_t* a, const std::int16_t* b, std::size_t n) {
  constexpr std::size_t wide = 8;
  double all = 0;
  for (std::size_t at = 0; at < n;) {
    const std::size_t end = std::min(n, at + 256 * wide);
    std::int32_t some[wide] = {};
    for (; at + wide <= end; at += wide) {
      for (std::size_t k = 0; k < wide; ++k) {
        const std::int32_t half = (a[at + k] - b[at + k]) >> 1;
        some[k] += half * half;
      }
    }
    for (; at < end; ++at) {
      const std::int32_t half = (a[at] - b[at]) >> 1;
      some[0] += half * half;
    }
    for (const std::int32_t s : some) all += s;
  }
  return 4 * all;
}

}  // namespace

PictureRollMeter::PictureRollMeter(const PictureSetup& setup)
    : setup_(setup), rows_(setup.height() / setup.fields), pan_(setup) {
  const int first = setup_.first_col / block_px;
  const int last = setup_.last_col / block_px;
  for (int c = 0; c <= columns; ++c) edges_.push_back(block_px * (first + c * (last - first) / columns));
}

void PictureRollMeter::features(const PictureView& view, Rows& out) const {
  const int blocks = setup_.blocks();
  out.resize(static_cast<std::size_t>(rows_ * columns));
  for (int r = 0; r < rows_; ++r) {
    const std::uint16_t* sums =
        view.block_sums.data() + static_cast<std::ptrdiff_t>(setup_.fields * r) * blocks;
    std::array<int, columns> v{};
    int mean = 0;
    for (int c = 0; c < columns; ++c) {
      const int a = edges_[static_cast<std::size_t>(c)] / block_px;
      const int b = edges_[static_cast<std::size_t>(c) + 1] / block_px;
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
  const double least = 0.3 * dsp::quantile(sorted, 0.5);
  int with_detail = 0, agree = 0;
  for (std::size_t c = 0; c < columns; ++c) {
    if (bend[c] < least) continue;
    ++with_detail;
    const double own = bend[c] > 0 ? 0.5 * (cost[0][c] - cost[2][c]) / bend[c] : 9;
    if (std::abs(own - offset) < 0.3) ++agree;
  }
  return with_detail == 0 ? 0 : static_cast<double>(agree) / with_detail;
}

// Stairs, shutters and crowds move up or down beside what stands still; a roll leaves nothing behind.
// Neighbouring columns are compared, since a row's mean changes with whatever moves in it.
// @return share of the columns that fit far better where they were than where the whole is.
double PictureRollMeter::standing(const Rows& now, int at) const {
  const int overlap = rows_ - std::abs(at) - 4;
  std::array<double, columns - 1> where{}, were{};
  for (int r = 0; r < overlap; ++r) {
    const std::int16_t* n = now.data() + static_cast<std::ptrdiff_t>(2 + std::max(0, at) + r) * columns;
    const std::int16_t* moved =
        reference_.data() + static_cast<std::ptrdiff_t>(2 + std::max(0, -at) + r) * columns;
    const std::int16_t* stood =
        reference_.data() + static_cast<std::ptrdiff_t>(2 + std::max(0, at) + r) * columns;
    for (std::size_t c = 0; c + 1 < columns; ++c) {
      const int step = n[c + 1] - n[c];
      const double a = step - (moved[c + 1] - moved[c]);
      const double b = step - (stood[c + 1] - stood[c]);
      where[c] += a * a;
      were[c] += b * b;
    }
  }
  int still = 0;
  for (std::size_t c = 0; c + 1 < columns; ++c) still += were[c] < 0.5 * where[c] ? 1 : 0;
  return static_cast<double>(still) / (columns - 1);
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
  const auto middle = static_cast<int>(std::lround(expected));
  const int low = everywhere ? -rows_ / 2 : middle - 6;
  const int high = everywhere ? rows_ / 2 : middle + 6;
  struct Place {
    double cost = 0, least = 0;  // there; between it and its neighbours
    bool valley = false;
  };
  std::vector<Place> places;
  double best = std::numeric_limits<double>::infinity();
  double sum = 0;
  int count = 0;
  double a = cost(now, low - 1), b = cost(now, low), c = 0;
  for (int d = low; d <= high; ++d, a = b, b = c) {
    c = cost(now, d + 1);
    const double bend = a + c - 2 * b;
    Place p{b, b, b <= a && b <= c};
    if (p.valley && bend > 1e-9 && std::isfinite(bend)) p.least -= (a - c) * (a - c) / (8 * bend);
    places.push_back(p);
    if (!std::isfinite(b)) continue;
    sum += b;
    ++count;
    best = std::min(best, p.least);
  }
  Match m;
  if (count == 0) return m;
  // Crosshatch and other repeating detail fit as well a period on, by noise alone even better, or since a
  // period on lies nearer to whole lines; and where it makes no difference, the picture has not moved. The
  // nearest of those that fit is taken.
  int at = high + rows_;
  for (int d = low; d <= high; ++d) {
    const Place& p = places[static_cast<std::size_t>(d - low)];
    const bool fits = p.least <= best || (p.valley && p.least < 1.15 * best + 2 + 0.15 * (p.cost - p.least));
    if (fits && std::abs(d - middle) < std::abs(at - middle)) at = d;
  }
  a = cost(now, at - 1);
  b = cost(now, at);
  c = cost(now, at + 1);
  m.lines = at;
  // Of a hard edge the cost rises straight on both sides, of soft ones as a parabola: the root serves both.
  if (std::isfinite(a) && std::isfinite(c) && a + c - 2 * b > 1e-9) {
    m.lines += std::clamp(0.5 * (a - c) / (a + c - 2 * b), -0.5, 0.5);
  }
  const double mean = sum / count;
  m.quality = mean > 0 ? 1 - b / mean : 0;
  m.held = held(now, at, -1, b) && held(now, at, 1, b);
  m.clear = m.held && m.quality > 0.3 && at > low && at < high;
  return m;
}

// Where the reference is all alike, a bar that has come in since fits wherever the rows it covers are left
// out of the comparison: the place is known only when a shift further to either side fits worse.
bool PictureRollMeter::held(const Rows& now, int at, int side, double best) const {
  return std::ranges::any_of(std::array{3, 7, 12, rows_ / 8}, [&](int off) {
    const double c = cost(now, at + side * off);
    return std::isfinite(c) && c > 1.15 * best + 4;
  });
}

// The frame stands where the rows before it left off, as far as is known: a straight line through its frames
// has a place of its own.
void PictureRollMeter::begin(double x) {
  close();
  reference_ = now_;
  reference_at_ = at_;
  x0_ = last_x_ = x;
  y0_ = last_y_ = at_;
  run_ = {.n = 1};
  run_references_ = 0;
  misses_ = 0;
}

void PictureRollMeter::close() {
  if (run_.n < 2) return;
  frames_ += run_.n;
  ++runs_;
  const double xx = run_.xx - run_.x * run_.x / run_.n;
  xx_ += xx;
  xy_ += run_.xy - run_.x * run_.y / run_.n;
  yy_ += run_.yy - run_.y * run_.y / run_.n;
  // A new reference's own error steps all the places after it. A step by e anywhere along n places turns the
  // line through them by e / n x sqrt(36 / 30), root mean square over where it comes.
  steps_weight_ += xx * xx * run_references_ * 1.2 / (run_.n * run_.n);
  run_ = {};
  run_references_ = 0;
}

// What lies between two pictures, 25 lines of a field or less of them at an edge of the frame [BT.470], and
// where.
void PictureRollMeter::note_gap(const PictureView& view) {
  constexpr int least = 6, most = 45;
  const int blocks = setup_.blocks();
  const double dark = block_px * (24 + 1.5 * setup_.noise);
  int run = 0;
  for (int r = 0; r <= rows_; ++r) {
    const auto row = static_cast<std::ptrdiff_t>(setup_.fields * r) * blocks;
    const auto from = view.block_sums.begin() + row + setup_.first_col / block_px;
    const auto to = view.block_sums.begin() + row + setup_.last_col / block_px;
    if (r < rows_ && std::all_of(from, to, [dark](std::uint16_t sum) { return sum <= dark; })) {
      ++run;
      continue;
    }
    if (run >= least && run <= most) {
      first_gap_ = gaps_ == 0 ? r : std::min(first_gap_, r);
      last_gap_ = gaps_ == 0 ? r : std::max(last_gap_, r);
      ++gaps_;
      return;
    }
    run = 0;
  }
}

void PictureRollMeter::push(const PictureView& view) {
  note_gap(view);
  features(view, now_);
  const auto x = static_cast<double>(view.frame->number);
  if (view.index == 0) {
    begin(x);
    pan_.begin(view, now_, edges_);
    note_track(view.time_s);
    return;
  }
  ++tried_;
  const bool everywhere = run_.n < 4;
  const double expected = at_ + speed_ * (x - last_x_);
  Match m = find(now_, expected - reference_at_, everywhere);
  if (!m.clear && !everywhere) m = find(now_, expected - reference_at_, true);
  if (!m.clear) {
    // Rows that are all alike show nothing, whatever moves.
    const double still = cost(now_, 0);
    const bool plain = cost(now_, rows_ / 8) < 1.15 * still + 4;
    if (plain) ++plain_;
    if (m.held || plain) ++lost_;
    pan_.begin(view, now_, edges_);
    // One bad frame does not end a run.
    if (m.held && !plain && ++misses_ < 2) return;
    at_ = expected;
    begin(x);
    return;
  }
  const double place = reference_at_ + m.lines;
  speed_ = (place - at_) / std::max(1.0, x - last_x_);
  at_ = place;
  misses_ = 0;
  const auto whole = static_cast<int>(std::lround(m.lines));
  agreement_ += agreement(now_, whole, m.lines - whole);
  ++asked_;
  if (std::abs(whole) > 2) {
    const double rest = detail_cost(now_, whole);
    gained_ += detail_cost(now_, 0) - rest;
    detail_rest_ += rest;
    standing_ += standing(now_, whole);
    moved_ += 1;
  }
  if (x == last_x_ + 1) {
    pan_.push(view, now_, edges_, static_cast<int>(std::lround(at_ - last_y_)));
    steps_ += 1;
    step_ += at_ - last_y_;
    step_square_ += (at_ - last_y_) * (at_ - last_y_);
  } else {
    pan_.begin(view, now_, edges_);
  }
  last_x_ = x;
  last_y_ = at_;
  const double dx = x - x0_;
  const double dy = at_ - y0_;
  run_.n += 1;
  run_.x += dx;
  run_.y += dy;
  run_.xx += dx * dx;
  run_.xy += dx * dy;
  run_.yy += dy * dy;
  note_track(view.time_s);
  if (std::abs(m.lines) > rows_ / 8.0) {
    reference_ = now_;
    reference_at_ = at_;
    ++run_references_;
  }
}

void PictureRollMeter::note_track(double time_s) {
  if (track_s_.size() >= 2000) return;
  track_s_.push_back(time_s);
  track_lines_.push_back(at_ * setup_.fields);
}

void PictureRollMeter::finish(bool grid_stands, Readings& out, PictureTraces* traces) {
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
  close();
  if (lost_ * 3 > tried_ || frames_ < 2 + runs_) {
    out.push_back(
        unmeasurable("picture.roll", "the picture changes too much from frame to frame to follow it"));
    return;
  }
  const PicturePan::Speed pan = pan_.speed();
  const bool gap_passes = gaps_ * 3 > tried_ && last_gap_ - first_gap_ >= 4;
  if (pan.sideways && pan.whole) {
    say_panned(pan, gap_passes, out);
    return;
  }
  if (traces != nullptr) {
    traces->roll_s = track_s_;
    traces->roll_lines = track_lines_;
  }
  const double slope = xy_ / xx_;
  const double rest = std::max(0.0, yy_ - slope * xy_);
  const double over = frames_ - runs_ - 1;  // beyond a place for each run and one speed for all
  const double sigma = std::sqrt(rest / std::max(1.0, over));
  const double u_place = std::max(sigma, 0.001);
  const double lines = setup_.fields * slope;
  // Places between lines are off in a way that comes again line by line, so that of a slow roll neighbours
  // err alike: by their steps [von Neumann's ratio], as an autoregression of first order.
  const double square = rest / frames_;
  const double step = steps_ > 0 ? step_square_ - 2 * slope * step_ + steps_ * slope * slope : 0;
  const double alike = steps_ > 8 && square > 0 ? std::clamp(1 - step / steps_ / square / 2, 0.0, 0.98) : 0.0;
  const double together = std::sqrt((1 + alike) / (1 - alike));
  const double free = std::max(2.0, over * (1 - alike) / (1 + alike));
  // Halfway between two lines it is found off by as much as this, at either end.
  constexpr double between = 0.0015;
  const double u_ends = setup_.fields * between * std::sqrt(frames_ / (12 * xx_));
  const double u_references = setup_.fields * 2 * sigma * std::sqrt(steps_weight_) / xx_;
  const double u_steady = std::hypot(
      std::hypot(u_references, setup_.fields * coverage_factor(free) * u_place * together / std::sqrt(xx_),
                 u_ends),
      0.0004 * lines,
      5e-5 * lines * lines);  // a fast roll stretches the picture, its rows are scanned one after another
  // What goes sideways in a part of it carries slanting detail along as well.
  const double apart =
      pan.sideways ? std::abs(lines - setup_.fields * pan.lines) + setup_.fields * pan.u_lines : 0.0;
  const double u = std::hypot(u_steady, apart);
  // Rows of one band are alike but for what lies over them, a tone's stripes or dots of subcarrier, which
  // move by themselves.
  const bool one_band = setup_.rows_alike() && setup_.bands.size() == 1;
  if (one_band && !gap_passes && setup_.pattern.kind != PatternKind::Crosshatch) {
    out.push_back(unmeasurable(
        "picture.roll",
        "rows of this test picture are alike, and no dark bar between pictures passes: what moves "
        "lies over it (stripes, dots of subcarrier) or pulls it sideways; send a crosshatch or a live "
        "picture"));
    return;
  }
  // A tear that wanders down a grid carries its uprights' broken ends with it.
  if (grid_stands && std::abs(lines) > 1) {
    out.push_back(
        number_reading("picture.roll", 0, std::max(0.1, 2.0 / static_cast<double>(tried_)),
                       "what changes lies over the grid or pulls it sideways: its level lines stand"));
    return;
  }
  // A picture that shakes or is panned up and down does not roll, but it does move.
  const bool uneven = sigma > 2 && sigma > 0.1 * std::abs(slope) * frames_;
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
  if (std::abs(lines) > std::max(0.1, u) &&
      (agreement_ < 0.6 * static_cast<double>(asked_) || standing_ > 0.1 * moved_)) {
    out.push_back(unmeasurable("picture.roll",
                               "the picture moves, but not up or down as a whole: things in it move, or the "
                               "camera turns"));
    return;
  }
  say(lines, u,
      uneven && std::abs(lines) > u
          ? "it moves unevenly: jumps or a camera in motion, rather than a steady roll"
          : "",
      gap_passes, out);
}

// How far it goes down is found together with how far it goes sideways.
void PictureRollMeter::say_panned(const PicturePan::Speed& pan, bool gap_passes, Readings& out) {
  const double lines = setup_.fields * pan.lines;
  const double u = setup_.fields * pan.u_lines;
  const std::string how = fmt::format(
      "the picture goes sideways, to the {} by {:.1f} px a frame, as a camera that is turned shows",
      pan.px > 0 ? "right" : "left", std::abs(pan.px));
  if (std::abs(lines) <= u && u > 0.1) {
    out.push_back(unmeasurable("picture.roll", how + ": slanting detail seems to go up or down with it",
                               std::abs(lines) + u));
    return;
  }
  say(lines, u, how, gap_passes, out);
}

void PictureRollMeter::say(double lines, double u, std::string remark, bool gap_passes, Readings& out) {
  moving_ = std::abs(lines) > std::max(0.1, u);
  rolling_ = std::abs(lines) > std::max(0.1, 2 * u);
  if (rolling_) remark = (lines > 0 ? "downward" : "upward") + (remark.empty() ? "" : "; " + remark);
  if (rolling_ && !gap_passes)
    remark += "; no dark bar between pictures passes with it: a camera that is turned shows the same";
  out.push_back(number_reading("picture.roll", lines, u, remark));
}

}  // namespace linebench::measure
