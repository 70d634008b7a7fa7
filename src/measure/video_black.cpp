#include "video_black.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>

namespace linebench::measure {
namespace {

// Sources blank more than the standards ask for: 480 rows instead of 486, narrower pictures, a few lines of
// data. What is nearer to the edge of the picture than this says nothing.
constexpr double edge_us = 3;
constexpr std::size_t lines_after_start = 6;
constexpr std::size_t lines_before_end = 4;

constexpr double least_share = 0.004;  // of the still picture, below which a level is a detail
constexpr double least_lines = 0.06;   // of the picture's, below which it is a detail or a gap
constexpr std::size_t least_on_line = 3;
constexpr double colour_mv = 8;  // rms in a stretch, from which on it has colour or detail

}  // namespace

BlackLevel::BlackLevel(const VideoSetup& setup, double spread_mv)
    : is_625_(setup.lines == 625),
      gain_(setup.gain()),
      noise_mv_(setup.noise_mv),
      spread_(spread_mv),
      near_mv_(8 * gain_ + 0.5 * spread_mv),
      bins_(gain_, spread_mv) {
  setup_.at_mv = standards::video_525.black_mv.nominal * gain_;
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  std::vector<bool> picture(static_cast<std::size_t>(setup.lines) + 1, false);
  for (int line = 1; line <= setup.lines; ++line)
    picture[static_cast<std::size_t>(line)] = standards::line_structure_in_frame(s, 0, line).has_picture();
  inside_.assign(picture.size(), false);
  for (std::size_t n = lines_after_start; n + lines_before_end < picture.size(); ++n)
    inside_[n] = picture[n - lines_after_start] && picture[n + lines_before_end];
}

void BlackLevel::begin_line(int line) {
  const auto n = static_cast<std::size_t>(std::max(line, 0));
  on_ = n == 0 || (n < inside_.size() && inside_[n]);
  lines_ += on_ ? 1 : 0;
  blanking_.on_line = 0;
  setup_.on_line = 0;
}

void BlackLevel::add(const Stretch& s, std::size_t group) {
  if (!on_ || s.from_start_us < edge_us || s.to_end_us < edge_us) return;
  all_ += 1;
  if (!s.still) return;
  // A sample variance of n wanders by sqrt(2 / (n - 1)).
  const double wander = std::sqrt(2 / std::max(1.0, s.samples - 1));
  const double noise = noise_mv_ * noise_mv_ * (1 + 3.5 * wander);
  if (s.ripple_mv2 > noise + colour_mv * colour_mv * gain_ * gain_) return;
  bins_.add(s.level_mv, group);
  const double reach = 10 * gain_ + 2.5 * spread_;
  for (Place* p : {&blanking_, &setup_}) p->on_line += std::abs(s.level_mv - p->at_mv) < reach ? 1 : 0;
}

void BlackLevel::end_line() {
  for (Place* p : {&blanking_, &setup_}) p->lines += p->on_line >= least_on_line ? 1 : 0;
}

BlackLevel::Finding BlackLevel::find() const {
  const char* const send = "send colour bars, or a black field";
  const Finding none{std::nullopt,
                     fmt::format("no black part in the picture that could be told from grey; {}", send)};
  const double total = bins_.total();
  if (total < 100) return none;
  const auto c = bins_.gather(-40 * gain_, 75 * gain_, false);
  if (!c || c->count < least_share * total) return none;
  // A level, not a slope that passes: most of what lies within twice the width lies within it.
  const double width = c->to - c->from;
  if (c->count < 0.65 * bins_.count(c->from - 0.5 * width, c->to + 0.5 * width)) return none;
  const Place* const place = std::abs(c->mean - blanking_.at_mv) < near_mv_ ? &blanking_
                             : std::abs(c->mean - setup_.at_mv) < near_mv_  ? &setup_
                                                                            : nullptr;
  if (place == nullptr) {
    return {std::nullopt, fmt::format("the darkest flat part of the picture stands at {:.0f} mV: black "
                                      "lifted by that, or dark grey; send "
                                      "colour bars",
                                      c->mean)};
  }
  if (place->lines < least_lines * lines_) return none;
  // All of one level: 625 lines have no setup to stand on, and with 525 there may be no picture at all.
  if (c->count > 0.9 * all_) {
    if (is_625_ && place == &setup_) return none;
    if (!is_625_ && place == &blanking_) {
      return {std::nullopt,
              "the whole picture stands on blanking: black without setup, or no picture at all; send colour "
              "bars"};
    }
  }
  return {c, "", shading_mv(*c)};
}

// Dark parts just above black pull the mean up. Noise spreads alike to both sides: what lies more above the
// cluster than below it goes on into it, and takes the mean away from where most of it lies.
double BlackLevel::shading_mv(const LevelCluster& c) const {
  const double half = 0.5 * (c.to - c.from);
  const double above = bins_.count(c.to, c.to + half) - bins_.count(c.from - half, c.from);
  return std::max(0.0, above) / c.count * half + 3 * std::max(0.0, c.mean - bins_.densest(c) - 0.1 * spread_);
}

std::optional<double> BlackLevel::mv() const {
  const auto level = find().level;
  return level ? std::optional(level->mean) : std::nullopt;
}

}  // namespace linebench::measure
