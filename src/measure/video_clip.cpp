#include "video_clip.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/dsp/complex_product.hpp>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double lowest_mv = -300, highest_mv = 1500, bin_mv = 8;  // of a nominal signal
constexpr std::uint64_t every = 4;                                 // lines
constexpr double least_samples_a_cycle = 3.5;
// Below, a recorder's filter takes out twice the subcarrier, which flat peaks are made of: that they look
// whole then says nothing.
constexpr double least_samples_for_whole = 4.5;
constexpr double least_colour_mv = 30;                          // peak, of a nominal signal
constexpr double top_half_angle = 25 * std::numbers::pi / 180;  // of a cycle, round its peak
constexpr double least_lack = 0.05;  // of the amplitude: a sine cut 24 degrees from its peak
constexpr double least_steady = 40;  // steady colours that make a case
constexpr double least_corners = 30;
constexpr double mostly = 0.7;        // of all corners
constexpr double passes_over = 0.03;  // of what stands at the level: more, and it is no ceiling
constexpr double below_white = 0.97;

}  // namespace

ClipMeter::ClipMeter(const VideoSetup& setup)
    : gain_(setup.gain()),
      active_from_us_(standards::standard_of(setup.lines).active_start_us.nominal),
      active_to_us_(standards::standard_of(setup.lines).active_end_us()),
      white_mv_(standards::standard_of(setup.lines).white_mv.nominal * setup.gain()),
      fast_enough_(setup.rate_hz * 1e-6 * setup.subcarrier_us() >= least_samples_a_cycle),
      // What a filter at half the rate leaves of flat peaks ripples over their level: 7 mV at 27 MS/s, 28
      // at 17.7.
      level_share_(setup.rate_hz * 1e-6 * setup.subcarrier_us() < 6 ? 0.045 : 0.02),
      colour_block_us_(fast_enough_ ? 4 * setup.subcarrier_us() : 0),
      corner_block_us_(two_cycles_us(setup)),
      noise_mv_(setup.noise_mv) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  picture_line_.assign(static_cast<std::size_t>(setup.lines) + 1, false);
  for (int line = 1; line <= setup.lines; ++line) {
    const auto structure = standards::line_structure_in_frame(s, 0, line);
    picture_line_[static_cast<std::size_t>(line)] =
        structure.picture_first_half && structure.picture_second_half;
  }
  const auto bins = static_cast<std::size_t>((highest_mv - lowest_mv) / bin_mv) + 1;
  for (std::vector<Bin>* b : {&colours_, &corners_, &levels_}) b->resize(bins);
}

std::size_t ClipMeter::bin_of(double mv) const {
  const double at = (mv / gain_ - lowest_mv) / bin_mv;
  return static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(colours_.size() - 1)));
}

void ClipMeter::line(const LineView& v) {
  if (v.index % every != 0 || v.kind != LineKind::Picture || !v.sync_found) return;
  if (v.line > 0 && (static_cast<std::size_t>(v.line) >= picture_line_.size() ||
                     !picture_line_[static_cast<std::size_t>(v.line)])) {
    return;
  }
  if (!v.covers(active_from_us_, active_to_us_)) return;
  if (colour_block_us_ > 0 && v.subcarrier_hz > 0) colours(v);
  corners(v);
}

void ClipMeter::colours(const LineView& v) {
  const auto count = static_cast<std::size_t>((active_to_us_ - active_from_us_) / colour_block_us_);
  const auto start = [&](std::size_t k) {
    return active_from_us_ + static_cast<double>(k) * colour_block_us_;
  };
  colour_.resize(count);
  for (std::size_t k = 0; k < count; ++k)
    colour_[k] = {v.flat_level(start(k), start(k + 1)), v.tone(v.subcarrier_hz, start(k), start(k + 1))};
  const double block_noise_mv = noise_mv_ / std::sqrt(colour_block_us_ * v.samples_per_us());
  const double w = 2 * std::numbers::pi * v.subcarrier_hz / v.rate_hz;
  const std::complex<double> a_sample = std::polar(1.0, w);
  const double least_high = std::cos(top_half_angle);
  for (std::size_t k = 1; k + 1 < count; ++k) {
    const Colour& c = colour_[k];
    const double amplitude = std::abs(c.peak);
    if (amplitude < least_colour_mv * gain_ + 4 * block_noise_mv) continue;
    const double steady = 0.03 * amplitude + 4 * block_noise_mv;
    const auto alike = [&](const Colour& o) {
      return std::abs(o.mean - c.mean) < steady && std::abs(o.peak - c.peak) < 2 * steady;
    };
    if (!alike(colour_[k - 1]) || !alike(colour_[k + 1])) continue;
    // The samples round the peaks, beside what mean and fundamental make of them.
    const auto from = static_cast<std::size_t>(std::ceil(v.position(start(k))));
    const auto to = static_cast<std::size_t>(v.position(start(k + 1)));
    const double offset = static_cast<double>(v.first) - v.t0;
    const double phase = std::arg(c.peak) - 0.5 * std::numbers::pi;  // a sine's peak
    std::complex<double> turn = std::polar(1.0, w * (static_cast<double>(from) + offset) + phase);
    double tops = 0, seen = 0, expected = 0;
    for (std::size_t i = from; i < to; ++i, turn = dsp::product(turn, a_sample)) {
      const double high = turn.real();
      if (high < least_high) continue;
      tops += 1;
      seen += static_cast<double>(v.mv[i]);
      expected += c.mean + amplitude * high;
    }
    if (tops < 1) continue;
    const double top = seen / tops, lack = (expected - seen) / tops;
    Bin& b = colours_[bin_of(top)];
    b.count += 1;
    b.top += top;
    b.lack += lack;
    b.lack_square += lack * lack;
    b.amplitude += amplitude;
  }
}

// Four even steps of brightness, then four blocks that stand still, with at most one between them (an edge
// between two colours, where a block holds a part of either, makes three); and the same from right to left.
void ClipMeter::corners(const LineView& v) {
  const double from = v.position(active_from_us_);
  const double step = corner_block_us_ * v.samples_per_us();
  const auto count = static_cast<std::size_t>((active_to_us_ - active_from_us_) / corner_block_us_);
  blocks_.take(v.mv, from, step, count);
  level_.resize(count);
  for (std::size_t k = 0; k < count; ++k) {
    level_[k] = static_cast<double>(blocks_.sum[k] / blocks_.size[k]);
    levels_[bin_of(level_[k])].count += 1;
  }
  const double noise = noise_mv_ / std::sqrt(std::max(1.0, step));
  const double least_step = 6 * gain_ + 5 * noise;
  constexpr std::size_t climb = 4, stand = 4;
  for (int pass = 0; pass < 2; ++pass) {
    for (std::size_t k = climb + 1; k + stand < count; ++k) {
      // level_[k-1] is the last of the climb, level_[k] the one the corner may lie in.
      double least = 1e9, most = -1e9;
      for (std::size_t i = 0; i < climb; ++i) {
        const double d = level_[k - 1 - i] - level_[k - 2 - i];
        least = std::min(least, d);
        most = std::max(most, d);
      }
      if (least < least_step || most - least > 0.4 * least + 4 * noise) continue;
      double low = 1e9, high = -1e9, sum = 0;
      for (std::size_t i = 1; i <= stand; ++i) {
        low = std::min(low, level_[k + i]);
        high = std::max(high, level_[k + i]);
        sum += level_[k + i];
      }
      if (high - low > 0.15 * least + 4 * noise) continue;
      const double flat = sum / stand;
      if (flat < level_[k - 1] - 4 * noise || flat > level_[k - 1] + 1.9 * most + 4 * noise) continue;
      Bin& b = corners_[bin_of(flat)];
      b.count += 1;
      b.top += flat;
    }
    std::reverse(level_.begin(), level_.end());
  }
}

ClipMeter::Bin ClipMeter::around(const std::vector<Bin>& bins, std::size_t middle, std::size_t reach) {
  Bin sum;
  for (std::size_t i = middle - reach; i <= middle + reach; ++i) {
    sum.count += bins[i].count;
    sum.top += bins[i].top;
    sum.lack += bins[i].lack;
    sum.lack_square += bins[i].lack_square;
    sum.amplitude += bins[i].amplitude;
  }
  return sum;
}

std::optional<ClipMeter::Cut> ClipMeter::cut_colours(double noise_mv) const {
  double total = 0;
  for (const Bin& b : colours_) total += b.count;
  std::optional<Cut> best;
  double above = 0;
  // A top is the mean of three samples or more: what noise spreads it over, to both sides.
  const auto reach = 1 + static_cast<std::size_t>(2 * noise_mv / std::sqrt(3.0) / (gain_ * bin_mv));
  for (std::size_t i = colours_.size() - 1 - reach; i >= reach; --i) {
    if (i + reach + 1 < colours_.size()) above += colours_[i + reach + 1].count;
    const Bin c = around(colours_, i, reach);
    if (c.count < least_steady || above > passes_over * c.count) continue;
    const double lack = c.lack / c.count;
    const double scatter = std::sqrt(std::max(0.0, c.lack_square / c.count - lack * lack) / c.count);
    if (lack < least_lack * c.amplitude / c.count || lack < 1.5 * gain_ + 5 * scatter) continue;
    if (best && c.count <= best->share * total) continue;
    best = Cut{c.top / c.count, level_share_ * white_mv_ + noise_mv / std::sqrt(c.count), c.count / total,
               total};
  }
  return best;
}

std::optional<ClipMeter::Cut> ClipMeter::cut_brightness() const {
  double total = 0, picture = 0;
  for (const Bin& b : corners_) total += b.count;
  for (const Bin& b : levels_) picture += b.count;
  if (total < least_corners) return std::nullopt;
  double above = 0;
  constexpr std::size_t reach = 1;
  for (std::size_t i = corners_.size() - 1 - reach; i >= reach; --i) {
    if (i + reach + 1 < corners_.size()) above += levels_[i + reach + 1].count;
    const Bin c = around(corners_, i, reach);
    if (c.count < mostly * total) continue;
    const double level = c.top / c.count;
    const double stand = around(levels_, i, reach).count;
    if (level > below_white * white_mv_ || level < 0.3 * white_mv_ || above > passes_over * stand)
      return std::nullopt;
    return Cut{level, 0.01 * white_mv_, stand / picture, picture};
  }
  return std::nullopt;
}

void ClipMeter::finish(const VideoSetup& setup, Readings& out) {
  const double noise_mv = setup.noise_mv;
  std::optional<Cut> cut = cut_colours(noise_mv);
  const bool by_colour = cut.has_value();
  if (!cut) cut = cut_brightness();
  if (cut) {
    out.push_back(number_reading(
        "video.clipped", 100 * cut->share, 100 * 2 * std::sqrt(cut->share * (1 - cut->share) / cut->of) + 0.5,
        by_colour
            ? "of the steady colours have their peaks cut off flat: the source does that, or something on "
              "the way that is driven too far"
            : "of the picture stands where brightness stops climbing: the source cuts it off there, or "
              "something on the way that is driven too far"));
    out.push_back(number_reading("video.clipped.level", cut->level_mv, cut->level_u_mv, "re blanking"));
    return;
  }
  double steady = 0, corners = 0, highest = 0;
  for (const Bin& b : corners_) corners += b.count;
  for (std::size_t i = 0; i < colours_.size(); ++i) {
    steady += colours_[i].count;
    if (colours_[i].count >= least_steady / 4)
      highest = std::max(highest, colours_[i].top / colours_[i].count);
  }
  const double samples_a_cycle = setup.rate_hz * 1e-6 * setup.subcarrier_us();
  if (steady < least_steady || samples_a_cycle < least_samples_for_whole) {
    out.push_back(unmeasurable(
        "video.clipped",
        setup.colour && samples_a_cycle < least_samples_for_whole
            ? fmt::format("{:.3g} MS/s do not show the peaks of colour; take {:.0f} MS/s or more",
                          setup.rate_hz * 1e-6, std::ceil(least_samples_for_whole / setup.subcarrier_us()))
        : !setup.colour
            ? "no colour burst was found to follow colours by, and a flat white alone does not show whether "
              "it "
              "was cut off"
            : "no steady colour in the picture, and a flat white alone does not show whether it was cut off; "
              "send colour bars"));
  } else {
    out.push_back(number_reading("video.clipped", 0, 300 / steady,
                                 fmt::format("colours are whole up to {:.0f} mV", highest)));
  }
  out.push_back(unmeasurable("video.clipped.level", "nothing is seen to be cut off"));
}

}  // namespace linebench::measure
