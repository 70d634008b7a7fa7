#include "picture_tear.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>

namespace linebench::measure {
namespace {

constexpr std::size_t side = 6;     // lines of a field on either side
constexpr std::size_t nearest = 3;  // of them
constexpr int most_missing = 4;     // among them: the level lines of a grid show no uprights
constexpr double beyond = 5.5;      // times what chance makes of it
constexpr double least_px = 0.3;
constexpr double told_px = 1;   // "none" is none of this size
constexpr int most_steps = 12;  // looked for in one frame

// Rms of what is there by chance, from the median, which a tear or two do not move. Jitter that goes on from
// line to line, as every flywheel's does, makes larger steps than jitter of each line by itself; so the steps
// of all places are the measure, not what is left of the lines beside one.
double rms_by_chance(std::vector<double> steps) { return dsp::median(std::move(steps)) / 0.6745; }

double spread_of(std::span<const double> shift) {
  double n = 0, sum = 0, squares = 0;
  for (const double px : shift) {
    if (!std::isfinite(px)) continue;
    n += 1;
    sum += px;
    squares += px * px;
  }
  return squares - sum * sum / std::max(1.0, n);
}

}  // namespace

double TearFinder::middle_of(const std::vector<Known>& lines, std::size_t from, std::size_t to) {
  std::vector<double> px;
  for (std::size_t i = from; i < to; ++i) px.push_back(lines[i].px);
  return dsp::median(std::move(px));
}

void TearFinder::steps_of(const std::vector<Known>& lines, int field, std::vector<Step>& out) const {
  constexpr double half = (side - 1) / 2.0;
  constexpr double spread = side * (side * side - 1) / 12.0;
  const auto gap = [&](std::size_t i, std::size_t n) {
    return lines[i + n - 1].line - lines[i - n].line - static_cast<int>(2 * n - 1);
  };
  // Nearer the first line there is no slope, and what goes on of a bend at the top would be a step.
  for (std::size_t i = side; i + nearest <= lines.size(); ++i) {
    if (gap(i, nearest) > most_missing) continue;
    Step s;
    s.row = fields_ * lines[i].line + field;
    for (std::size_t k = 0; k < nearest; ++k) s.close += (lines[i + k].px - lines[i - 1 - k].px) / nearest;
    s.middle = middle_of(lines, i, i + nearest) - middle_of(lines, i - nearest, i);
    s.sloped = i + side <= lines.size() && gap(i, side) <= most_missing;
    // Each side's mean and slope (k counts away from the step); a bend that goes on evenly is no tear.
    double above = 0, below = 0, slopes = 0;
    for (std::size_t k = 0; s.sloped && k < side; ++k) {
      const double up = lines[i - 1 - k].px;
      const double down = lines[i + k].px;
      above += up / side;
      below += down / side;
      slopes += (static_cast<double>(k) - half) * (down - up) / spread;
    }
    s.plain = below - above;
    s.by_slope = s.plain - side * slopes / 2;
    out.push_back(s);
  }
}

void TearFinder::weigh(std::vector<Step>& steps, double rms, double close_rms) {
  for (Step& s : steps) {
    // Where too few lines are left for slopes, at the bottom, the nearest ones must do.
    const double found = std::abs(s.sloped ? s.by_slope : s.close);
    s.chances = found > least_px ? found / std::max(0.01, s.sloped ? rms : close_rms) : 0;
    s.px = s.close;
    // A line or two that were found elsewhere by chance, as weak edges in noise are, are no step.
    if (std::abs(s.middle) < 0.5 * found) s.chances = 0;
    if (!s.sloped) continue;
    const double px = std::abs(s.plain - s.by_slope) < 3 * rms ? s.plain : s.by_slope;
    if (std::abs(std::abs(s.close) - std::abs(px)) <= 4 * close_rms) s.px = px;
  }
}

std::vector<TearFinder::Step> TearFinder::steps_of(std::span<const double> shift) const {
  const int n = static_cast<int>(shift.size()) / fields_;
  std::vector<Step> steps;
  for (int field = 0; field < fields_; ++field) {
    std::vector<Known> lines;
    for (int line = n / 8; line < n; ++line) {  // a bend at the top is flagging
      const double px = shift[static_cast<std::size_t>(fields_ * line + field)];
      if (std::isfinite(px)) lines.push_back({line, px});
    }
    steps_of(lines, field, steps);
  }
  return steps;
}

std::vector<double> TearFinder::push(std::span<const double> shift) {
  ++frames_;
  std::vector<double> straight(shift.begin(), shift.end());
  std::vector<Step> steps = steps_of(shift);
  std::vector<double> by_slope, close;
  for (const Step& s : steps) {
    if (s.sloped) by_slope.push_back(std::abs(s.by_slope));
    close.push_back(std::abs(s.close));
  }
  if (by_slope.size() < 20) return straight;
  const double rms = rms_by_chance(by_slope);
  const double close_rms = rms_by_chance(close);
  all_rms_ += rms;
  // A step shows beside its place as well, so the largest goes before the next is looked for.
  double put_back = 0;
  for (int found = 0; found < most_steps; ++found) {
    weigh(steps, rms, close_rms);
    const Step& most = *std::ranges::max_element(steps, {}, &Step::chances);
    if (most.chances <= beyond) break;
    if (found == 0) {
      torn_row_ = torn_ == 0 ? most.row : std::min(torn_row_, most.row);
      ++torn_;
      torn_rms_ += rms;
      largest_ = std::max(largest_, std::abs(most.px));
      sizes_ += std::abs(most.px);
      squares_ += most.px * most.px;
    }
    for (auto r = static_cast<std::size_t>(most.row); r < straight.size();
         r += static_cast<std::size_t>(fields_)) {
      straight[r] -= most.px;
      put_back += 0.25 * rms * rms / static_cast<double>(straight.size());
    }
    steps = steps_of(straight);
  }
  // What is torn and comes back by itself, as a flywheel pulls it, is better left.
  if (spread_of(straight) >= spread_of(shift)) return {shift.begin(), shift.end()};
  put_back_ += put_back;
  return straight;
}

Reading TearFinder::reading(std::uint64_t frames) const {
  if (torn_ == 0) {
    const double most =
        std::max(0.1, beyond * all_rms_ / static_cast<double>(std::max<std::uint64_t>(1, frames_)));
    if (most < told_px) return number_reading("picture.tear", 0, most, "no step found");
    return unmeasurable("picture.tear",
                        fmt::format("lines jitter so much that a step of less than {:.1f} px would not stand "
                                    "out, and there is none larger",
                                    most),
                        most);
  }
  // Where it wobbles the largest is a chance's own: it may be off by as much as the sizes differ.
  const auto n = static_cast<double>(torn_);
  const double mean = sizes_ / n;
  const double wobble = 2 * std::sqrt(std::max(0.0, squares_ / n - mean * mean));
  std::string remark = fmt::format("in {} of {} frames", torn_, frames);
  if (wobble > 0.2) remark += fmt::format(", the largest; {:.1f} px on average", mean);
  return number_reading("picture.tear", largest_, std::hypot(2 * torn_rms_ / n, 0.1, wobble), remark);
}

double TearFinder::put_back_variance() const {
  return put_back_ / static_cast<double>(std::max<std::uint64_t>(1, frames_));
}

std::optional<int> TearFinder::standing_at() const {
  return 4 * torn_ > frames_ ? std::optional(torn_row_) : std::nullopt;
}

}  // namespace linebench::measure
