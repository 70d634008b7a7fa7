#include "picture_gain_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <numbers>
#include <string_view>

#include "picture_plateaus.hpp"

namespace linebench::measure {
namespace {

constexpr std::uint64_t fewest_frames = 4;
constexpr double least_contrast = 20;  // codes
constexpr double least_step = 0.01;    // of the contrast: what rounding and clamps move it by

}  // namespace

GainWatch::GainWatch(const PictureSetup& setup, const std::vector<int>& rows) : setup_(setup) {
  const Pattern& p = setup.pattern;
  if (p.kind == PatternKind::Bars) {
    const double bar = static_cast<double>(setup.width()) / p.bars;
    const auto middle_of = [&](int i) {
      return Columns{static_cast<int>((i + 0.3) * bar), static_cast<int>((i + 0.7) * bar)};
    };
    bright_ = middle_of(p.first_bar);
    dark_ = middle_of(p.last_bar);
  } else if (p.kind == PatternKind::Staircase || p.kind == PatternKind::PulseBar ||
             p.kind == PatternKind::Window) {
    const auto shape = line_shape(setup.bands[p.band].y, setup.first_col, setup.last_col);
    if (shape.plateaus.empty()) return;
    const auto [low, high] =
        std::minmax_element(shape.plateaus.begin(), shape.plateaus.end(),
                            [](const FramePlateau& a, const FramePlateau& b) { return a.mean < b.mean; });
    constexpr int edge = 4;  // a plateau is 12 px wide at least
    bright_ = {high->from + edge, high->to - edge};
    dark_ = {low->from + edge, low->to - edge};
  } else {
    return;
  }
  for (std::size_t i = 0; i < rows.size(); i += 2) rows_.push_back(rows[i]);
}

void GainWatch::push(const capture::Frame& frame) {
  if (rows_.empty() || frame.corrupt) return;
  const auto mean = [&](Columns c) {
    std::uint64_t sum = 0;
    for (const int r : rows_) {
      const auto row = frame.y.begin() + static_cast<std::ptrdiff_t>(r) * setup_.width();
      for (int x = c.from; x < c.to; ++x) sum += row[x];
    }
    return static_cast<double>(sum) / static_cast<double>(rows_.size()) / (c.to - c.from);
  };
  const double contrast = mean(bright_) - mean(dark_);
  ++frames_;
  sum_ += contrast;
  // One frame alone may be damaged: the middle of three in a row counts.
  if (frames_ >= 3) {
    const double middle =
        std::max(std::min(last_[0], last_[1]), std::min(std::max(last_[0], last_[1]), contrast));
    low_ = frames_ == 3 ? middle : std::min(low_, middle);
    high_ = frames_ == 3 ? middle : std::max(high_, middle);
  }
  last_[0] = last_[1];
  last_[1] = contrast;
}

double GainWatch::by_noise(double noise) const {
  const double px =
      static_cast<double>(rows_.size()) * std::min(bright_.to - bright_.from, dark_.to - dark_.from);
  // Noise of a narrow band counts for eight times as few px; six times the difference's rms at either end.
  return 12 * noise * std::sqrt(2 * 8 / px) / (sum_ / static_cast<double>(frames_));
}

std::optional<GainWatch::Range> GainWatch::moved(double noise) const {
  if (frames_ < fewest_frames) return std::nullopt;
  const double mean = sum_ / static_cast<double>(frames_);
  if (!(mean > least_contrast) || high_ - low_ < mean * (least_step + by_noise(noise))) return std::nullopt;
  return Range{low_ / mean, high_ / mean};
}

Reading GainWatch::step(double noise) const {
  const char* id = "picture.level.step";
  if (rows_.empty()) return unmeasurable(id, "needs a test picture that holds black and white: send bars");
  if (frames_ < fewest_frames || !(sum_ > least_contrast * static_cast<double>(frames_)))
    return unmeasurable(id, "too few frames, or too weak a picture, to tell");
  constexpr double db_a_share = 20 / std::numbers::ln10;
  // Of lowest and highest noise takes its part twice: two standard deviations of each.
  const double u = db_a_share * by_noise(noise) / 3;
  if (const auto range = moved(noise))
    return number_reading(id, db_from_amplitude(range->high / range->low), u);
  const double most = db_a_share * (least_step + by_noise(noise));
  return unmeasurable(id, fmt::format("none found: less than {:.2f} dB", most), most);
}

void widen_by_moving_gain(const GainWatch::Range& range, Readings& levels) {
  const double off = std::max(range.high - 1, 1 - range.low);
  for (Reading& r : levels) {
    if (!r.measured() || !std::holds_alternative<double>(r.value)) continue;
    const std::string_view id = r.id;
    const double v = r.number();
    const auto widen = [&](double by) { r.uncertainty = std::hypot(r.uncertainty.value_or(0), by); };
    if (id == "picture.luma.gain") {
      const double low = v * range.low, high = v * range.high;
      r.value = std::abs(low - 100) > std::abs(high - 100) ? low : high;
      widen(high - low);
      r.reason = fmt::format(
          "it moves from {:.1f} to {:.1f} % while this is taken in, the worst is given: gain control that "
          "hunts, or a source whose level jumps; {}",
          low, high, r.reason);
    } else if (id.ends_with("_mv") || id == "picture.saturation") {
      widen(off * std::abs(v));
    } else if (id == "picture.luma.white" || id == "picture.luma.black" || id.ends_with(".luma")) {
      widen(off * std::abs(v - 16));
    } else if (id.ends_with(".cb") || id.ends_with(".cr")) {
      widen(off * std::abs(v - 128));
    }
  }
}

}  // namespace linebench::measure
