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

// A level is a [1 2 1]/4 mean of three blocks: 3/8 of a block's variance; clamp noise on top, common to a
// line.
double level_spread(const VideoSetup& setup, double block_us) {
  constexpr double clamp_us = 2.7;  // of even weight that the back porch's taper is worth
  const auto mean_of = [&](double us) {
    return setup.noise_mv / std::sqrt(std::max(1.0, us * 1e-6 * setup.rate_hz));
  };
  return std::hypot(0.61 * mean_of(block_us), mean_of(clamp_us), setup.wander_mv);
}

}  // namespace

LevelMeter::LevelMeter(const VideoSetup& setup)
    : gain_(setup.gain()),
      block_us_(two_cycles_us(setup)),
      spread_(level_spread(setup, block_us_)),
      bins_(gain_, spread_),
      black_(setup, spread_) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  nominal_white_mv_ = s.white_mv.nominal;
  active_from_us_ = s.active_start_us.nominal;
  active_to_us_ = s.active_end_us();
  picture_line_.assign(static_cast<std::size_t>(setup.lines) + 1, false);
  for (int line = 1; line <= setup.lines; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    picture_line_[static_cast<std::size_t>(line)] =
        structure.picture_first_half && structure.picture_second_half;
  }
  block_noise_mv_ = setup.noise_mv / std::sqrt(std::max(1.0, block_us_ * 1e-6 * setup.rate_hz));
}

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
  blocks_.take(v.mv, from, step, count);
  level_.resize(count);
  for (std::size_t k = 0; k < count; ++k) level_[k] = blocks_.sum[k] / blocks_.size[k];
  // Without vertical sync to number lines by, those of vertical blanking look like a black picture's.
  const double blank_mv = 12.0 * gain_ + 4.0 * spread_;
  const bool blank = std::all_of(level_.begin(), level_.end(),
                                 [&](float b) { return std::abs(static_cast<double>(b)) < blank_mv; });
  if (v.line == 0 && blank) return;
  for (std::size_t k = 0; k < count; ++k) {
    sum_[g] += static_cast<double>(blocks_.sum[k]);
    count_[g] += static_cast<double>(blocks_.size[k]);
  }
  const auto still = static_cast<float>(8.0 * gain_ + 2.0 * block_noise_mv_);
  black_.begin_line(v.line);
  for (std::size_t k = 2; k + 2 < count; ++k) {
    BlackLevel::Stretch stretch{.from_start_us = (static_cast<double>(k) + 0.5) * block_us_,
                                .to_end_us = (static_cast<double>(count - k) - 0.5) * block_us_};
    stretch.still =
        std::abs(level_[k + 1] - level_[k - 1]) <= still && std::abs(level_[k + 1] - level_[k]) <= still;
    if (stretch.still) {
      stretch.level_mv = 0.25 * static_cast<double>(level_[k - 1] + 2 * level_[k] + level_[k + 1]);
      stretch.ripple_mv2 = static_cast<double>(blocks_.square[k] / blocks_.size[k] - level_[k] * level_[k]);
      stretch.samples = static_cast<double>(blocks_.size[k]);
      bins_.add(stretch.level_mv, g);
    }
    black_.add(stretch, g);
  }
  black_.end_line();
}

std::optional<LevelCluster> LevelMeter::white() const {
  if (bins_.total() < 100) return std::nullopt;
  const auto top = bins_.top(least_share);
  if (!top) return std::nullopt;
  return bins_.gather(*top - std::max(12.0 * gain_, 4.5 * spread_), *top + 4 * gain_, true);
}

void LevelMeter::finish(const VideoSetup& setup, Readings& out) {
  const auto level = [&](const char* id, const LevelBins& bins, const std::optional<LevelCluster>& c,
                         const std::string& remark, const std::string& reason, double more = 0) {
    const auto u = c ? bins.scatter(*c) : std::nullopt;
    if (!c || !u) {
      out.push_back(unmeasurable(id, reason));
      return;
    }
    // Floor: levels within a cluster are not all one level, and blanking is known to a part in a thousand.
    out.push_back(number_reading(
        id, c->mean, more + together(*u, 0.0008 * std::abs(c->mean) + 0.2 * setup.gain() + 0.1 * spread_),
        remark));
  };
  const auto w = white();
  std::string remark;
  if (w) {
    const double share = 100 * w->mean / (nominal_white_mv_ * setup.gain());
    remark = share > 96
                 ? "brightest flat part of the picture"
                 : fmt::format(
                       "brightest flat part of the picture, {:.0f} % of white by the sync: the picture may "
                       "have no full white, or its source cuts it off there",
                       share);
  }
  const bool dark = w && w->mean < 0.12 * nominal_white_mv_ * setup.gain();
  level("video.white", bins_, dark ? std::nullopt : w, remark,
        dark ? "the picture is black; send one with a white part, e.g. colour bars"
             : "no flat part in the picture; send colour bars, a white field or a window");
  const BlackLevel::Finding black = black_.find();
  level("video.setup", black_.bins(), black.level, "", black.reason, black.shading_mv);
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
