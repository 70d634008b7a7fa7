#include "video_levels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>

namespace linebench::measure {
namespace {

constexpr double lowest = -300;  // mV of a nominal signal
constexpr double highest = 1500;
constexpr double bin_mv = 2;
constexpr double least_share = 0.004;  // of the flat picture, below which a level is a detail

const standards::VideoStandard& nominal(int lines) {
  return lines == 625 ? standards::video_625 : standards::video_525;
}

}  // namespace

LevelMeter::LevelMeter(const VideoSetup& setup) : gain_(setup.gain()), scale_(bin_mv * setup.gain()) {
  const standards::VideoStandard& s = nominal(setup.lines);
  block_us_ = setup.colour ? 2 * setup.subcarrier_us() : 0.5;
  nominal_white_mv_ = s.white_mv.nominal;
  active_from_us_ = s.active_start_us.nominal;
  active_to_us_ = s.active_end_us();
  picture_line_.assign(static_cast<std::size_t>(setup.lines) + 1, false);
  for (int line = 1; line <= setup.lines; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    picture_line_[static_cast<std::size_t>(line)] =
        structure.picture_first_half && structure.picture_second_half;
  }
  bins_.resize(static_cast<std::size_t>((highest - lowest) / bin_mv) + 1);
  // A level is a [1 2 1]/4 mean of three blocks: 3/8 of a block's variance; clamp noise on top, common to a
  // line.
  const double block_samples = std::max(1.0, block_us_ * 1e-6 * setup.rate_hz);
  block_noise_mv_ = setup.noise_mv / std::sqrt(block_samples);
  constexpr double clamp_us = 2.7;  // of even weight that the back porch's taper is worth
  clamp_noise_mv_ = setup.noise_mv / std::sqrt(clamp_us * 1e-6 * setup.rate_hz);
}

std::size_t LevelMeter::bin_of(double mv) const {
  const double b = (mv / gain_ - lowest) / bin_mv;
  return static_cast<std::size_t>(std::clamp(b, 0.0, static_cast<double>(bins_.size() - 1)));
}

// A level is a [1 2 1]/4 mean of three blocks: 3/8 of a block's variance; the clamp's noise is common to a
// line.
double LevelMeter::spread() const { return std::hypot(0.61 * block_noise_mv_, clamp_noise_mv_); }

void LevelMeter::line(const LineView& v) {
  if (v.kind != LineKind::Picture || !v.sync_found) return;
  if (v.line > 0 && (static_cast<std::size_t>(v.line) >= picture_line_.size() ||
                     !picture_line_[static_cast<std::size_t>(v.line)])) {
    return;
  }
  const double from = v.position(active_from_us_);
  const double step = block_us_ * v.samples_per_us();
  const auto count = static_cast<std::size_t>((active_to_us_ - active_from_us_) / block_us_);
  if (from < 0 || from + step * static_cast<double>(count) >= static_cast<double>(v.mv.size()) || count < 4)
    return;
  const std::size_t g = group_of(v.index);
  blocks_.resize(count);
  sizes_.resize(count);
  double at = from;
  auto n = static_cast<std::size_t>(std::llround(at));
  for (std::size_t k = 0; k < count; ++k) {
    at += step;
    const auto end = static_cast<std::size_t>(std::llround(at));
    float sum = 0;
    const std::size_t size = end - n;
    for (; n < end; ++n) sum += v.mv[n];
    sizes_[k] = size;
    blocks_[k] = sum / static_cast<float>(size);
  }
  // Without vertical sync to number lines by, those of vertical blanking look like a black picture's.
  const double blank_mv = 12.0 * gain_ + 4.0 * spread();
  const bool blank = std::all_of(blocks_.begin(), blocks_.end(),
                                 [&](float b) { return std::abs(static_cast<double>(b)) < blank_mv; });
  if (v.line == 0 && blank) return;
  for (std::size_t k = 0; k < count; ++k) {
    sum_[g] += static_cast<double>(blocks_[k]) * static_cast<double>(sizes_[k]);
    count_[g] += static_cast<double>(sizes_[k]);
  }
  const auto still = static_cast<float>(8.0 * gain_ + 2.0 * block_noise_mv_);
  for (std::size_t k = 2; k + 2 < count; ++k) {
    if (std::abs(blocks_[k + 1] - blocks_[k - 1]) > still || std::abs(blocks_[k + 1] - blocks_[k]) > still)
      continue;
    const double level = 0.25 * static_cast<double>(blocks_[k - 1] + 2 * blocks_[k] + blocks_[k + 1]);
    Bin& b = bins_[bin_of(level)][g];
    ++b.count;
    b.sum += level;
  }
}

// Mean of the levels round the lowest peak of the count inside from..to that is not small beside the highest
// one.
std::optional<LevelMeter::Cluster> LevelMeter::gather(double from_mv, double to_mv, bool highest_peak) const {
  const std::size_t first = bin_of(from_mv);
  std::vector<double> near(bin_of(to_mv) - first + 1, 0.0);  // counts over five bins
  double best = 0;
  for (std::size_t i = 0; i < near.size(); ++i) {
    for (std::size_t k = first + i >= 2 ? first + i - 2 : 0; k < std::min(first + i + 3, bins_.size()); ++k) {
      for (const Bin& b : bins_[k]) near[i] += b.count;
    }
    best = std::max(best, near[i]);
  }
  double mode = from_mv;
  for (std::size_t n = 0; n < near.size(); ++n) {
    const std::size_t i = highest_peak ? near.size() - 1 - n : n;
    const std::size_t a = i >= 5 ? i - 5 : 0;
    const std::size_t b = std::min(near.size(), i + 6);
    const double around = *std::max_element(near.begin() + static_cast<std::ptrdiff_t>(a),
                                            near.begin() + static_cast<std::ptrdiff_t>(b));
    if (near[i] < 0.3 * best || around > near[i]) continue;
    mode = (lowest + (static_cast<double>(first + i) + 0.5) * bin_mv) * gain_;
    break;
  }
  if (best <= 0) return std::nullopt;
  Cluster c;
  c.mean = mode;
  // Wide enough for the noise, but not to the next bar: those of 75 % stand 56 mV apart.
  const double half = std::clamp(2.5 * spread(), 10.0 * gain_, 25.0 * gain_);
  for (int round = 0; round < 3; ++round) {
    c.from = c.mean - half;
    c.to = c.mean + half;
    double n = 0;
    double sum = 0;
    for (std::size_t i = bin_of(c.from); i <= bin_of(c.to); ++i) {
      for (const Bin& b : bins_[i]) {
        n += b.count;
        sum += b.sum;
      }
    }
    if (n <= 0) return std::nullopt;
    c.mean = sum / n;
    c.count = n;
  }
  return c;
}

std::optional<LevelMeter::Cluster> LevelMeter::white() const {
  double total = 0;
  for (const auto& b : bins_) {
    for (const Bin& x : b) total += x.count;
  }
  if (total < 100) return std::nullopt;
  double above = 0;
  for (std::size_t i = bins_.size(); i-- > 0;) {
    for (const Bin& x : bins_[i]) above += x.count;
    if (above < least_share * total) continue;
    const double top = (lowest + static_cast<double>(i) * bin_mv) * gain_;
    return gather(top - std::max(12.0 * gain_, 4.5 * spread()), top + 4 * gain_, true);
  }
  return std::nullopt;
}

std::optional<LevelMeter::Cluster> LevelMeter::black() const {
  double total = 0;
  for (const auto& bin : bins_) {
    for (const Bin& x : bin) total += x.count;
  }
  if (total < 100) return std::nullopt;
  const auto c = gather(-40 * gain_, 75 * gain_, false);
  if (!c || c->count < least_share * total) return std::nullopt;
  // A level, not a slope that passes: most of what lies within twice the width lies within it.
  double wide = 0;
  const double width = c->to - c->from;
  for (std::size_t i = bin_of(c->from - 0.5 * width); i <= bin_of(c->to + 0.5 * width); ++i) {
    for (const Bin& x : bins_[i]) wide += x.count;
  }
  if (c->count < 0.65 * wide) return std::nullopt;
  // All of one level: black only where black is known to stand; else it may as well be a dark grey field.
  if (c->count > 0.9 * total) {
    const double setup = standards::video_525.black_mv.nominal * gain_;
    const double near = 9 * gain_ + 2 * spread();
    if (std::abs(c->mean) > near && std::abs(c->mean - setup) > near) return std::nullopt;
  }
  return c;
}

std::optional<double> LevelMeter::black_mv() const {
  const auto c = black();
  return c ? std::optional(c->mean) : std::nullopt;
}

std::optional<double> LevelMeter::scatter(const Cluster& c) const {
  return group_uncertainty([&](std::size_t g) {
    double n = 0;
    double sum = 0;
    for (std::size_t i = bin_of(c.from); i <= bin_of(c.to); ++i) {
      n += bins_[i][g].count;
      sum += bins_[i][g].sum;
    }
    return n > 0 ? sum / n : std::nan("");
  });
}

void LevelMeter::finish(const VideoSetup& setup, Readings& out) {
  const auto level = [&](const char* id, const std::optional<Cluster>& c, const std::string& remark,
                         const std::string& reason) {
    const auto u = c ? scatter(*c) : std::nullopt;
    if (!c || !u) {
      out.push_back(unmeasurable(id, reason));
      return;
    }
    // Floor: levels within a cluster are not all one level, and blanking is known to a part in a thousand.
    out.push_back(number_reading(
        id, c->mean, together(*u, 0.0008 * std::abs(c->mean) + 0.2 * setup.gain() + 0.1 * spread()), remark));
  };
  const auto w = white();
  std::string remark;
  if (w) {
    const double share = 100 * w->mean / (nominal_white_mv_ * setup.gain());
    remark = share > 96
                 ? "brightest flat part of the picture"
                 : fmt::format(
                       "brightest flat part of the picture, {:.0f} % of white by the sync: the picture may "
                       "have no full white",
                       share);
  }
  const bool dark = w && w->mean < 0.12 * nominal_white_mv_ * setup.gain();
  level("video.white", dark ? std::nullopt : w, remark,
        dark ? "the picture is black; send one with a white part, e.g. colour bars"
             : "no flat part in the picture; send colour bars, a white field or a window");
  level("video.setup", black(), "",
        "no black part in the picture that could be told from grey; send colour bars or a black field");
  double sum = 0;
  double count = 0;
  for (std::size_t g = 0; g < line_groups; ++g) {
    sum += sum_[g];
    count += count_[g];
  }
  const auto u =
      group_uncertainty([&](std::size_t g) { return count_[g] > 0 ? sum_[g] / count_[g] : std::nan(""); });
  if (count <= 0 || !u) {
    out.push_back(
        unmeasurable("video.apl", "no whole picture lines in the capture; take at least one field (20 ms)"));
  } else {
    const double percent = 100 / nominal_white_mv_;
    const double mean = sum / count;
    out.push_back(number_reading("video.apl", mean * percent,
                                 together(*u * percent, 0.005 * std::abs(mean) * percent + 0.1),
                                 "of nominal white; a wrong level changes it too"));
  }
}

}  // namespace linebench::measure
