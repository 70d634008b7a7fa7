// Which test picture stands on the bands, by the shape of their lines.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <linebench/standards/video_colour.hpp>
#include <optional>

#include "picture_multiburst.hpp"
#include "picture_plateaus.hpp"
#include "picture_view.hpp"

namespace linebench::measure {
namespace {

using standards::BarForm;

struct BarFit {
  double gain = 0;
  double offset = 0;
  double rms = 1e9;
};

// Levels of bars `first` to `last` against a form's luma codes.
BarFit fit_bars(std::span<const double> level, int first, int last, const BarForm& form) {
  double sx = 0, sy = 0, sxx = 0, sxy = 0;
  const double n = last - first + 1;
  const auto want = [&](int i) { return standards::code601_from_rgb(standards::bar_rgb(form, i)).y; };
  for (int i = first; i <= last; ++i) {
    const double x = want(i), y = level[static_cast<std::size_t>(i)];
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
  }
  BarFit f;
  f.gain = (n * sxy - sx * sy) / (n * sxx - sx * sx);
  f.offset = (sy - f.gain * sx) / n;
  double sum = 0;
  for (int i = first; i <= last; ++i)
    sum += std::pow(level[static_cast<std::size_t>(i)] - f.offset - f.gain * want(i), 2);
  f.rms = std::sqrt(sum / n);
  return f;
}

// Bars of one amplitude through a gain look like bars of the other through another gain; where white is
// clipped, so do those whose white alone is of 100 %.
bool has_other_amplitude(const Pattern& p) { return p.bar_white == p.bar_colour || p.first_bar > 0; }
double other_share(const Pattern& p) { return p.bar_colour < 1 ? 0.75 : 1 / 0.75; }
std::string other_amplitude(const Pattern& p, double gain) {
  if (p.bar_white != p.bar_colour || std::abs(gain - 1) < 0.05) return {};
  return fmt::format("had bars of {} % been sent, the gain would be {:.0f} %: say which with --signal",
                     p.bar_white < 1 ? 100 : 75, 100 * gain * other_share(p));
}

// Rms of the colour-difference signals over the line, codes; they rest at 128.
double colour_on(const PictureSetup& s, const PictureBand& b) {
  double sum = 0;
  const int from = s.first_col / 2, to = s.last_col / 2;
  for (int x = from; x < to; ++x) {
    const auto i = static_cast<std::size_t>(x);
    sum += std::pow(b.cb[i] - 128, 2) + std::pow(b.cr[i] - 128, 2);
  }
  return std::sqrt(sum / std::max(1, to - from));
}

// By their colours alone: how far six colours are from one turn and gain of the table's, 0 to 1.
double colour_misfit(const PictureBand& b, int count, double width) {
  const BarForm& form = standards::bars_100;
  std::complex<double> sum = 0;
  double have = 0, want = 0;
  for (int i = 1; i < 7; ++i) {
    const auto at = [&](const std::vector<double>& c) {
      return stretch(c, (i + 0.3) * width / count / 2, (i + 0.7) * width / count / 2).mean - 128;
    };
    const auto code = standards::code601_from_rgb(standards::bar_rgb(form, i));
    const std::complex<double> h(at(b.cb), at(b.cr)), w(code.cb - 128, code.cr - 128);
    sum += std::conj(w) * h;
    have += std::norm(h);
    want += std::norm(w);
  }
  return have < 6 * 15 * 15 ? 1 : 1 - std::norm(sum) / have / want;
}

// How far their colours are from the form's, whatever their hue; 0: there are none.
double colour_gain(const PictureBand& b, int count, double width, const BarForm& form) {
  std::complex<double> sum = 0;
  double want = 0;
  for (int i = 1; i < 7; ++i) {
    const auto at = [&](const std::vector<double>& c) {
      return stretch(c, (i + 0.3) * width / count / 2, (i + 0.7) * width / count / 2).mean;
    };
    const double cb = at(b.cb), cr = at(b.cr);
    if (std::min(cb, cr) < 4 || std::max(cb, cr) > 251) continue;  // cut off where codes end
    const auto code = standards::code601_from_rgb(standards::bar_rgb(form, i));
    const std::complex<double> w(code.cb - 128, code.cr - 128);
    sum += std::conj(w) * std::complex<double>(cb - 128, cr - 128);
    want += std::norm(w);
  }
  return want > 0 ? std::abs(sum) / want : 0;
}

constexpr double no_colour = 0.2;  // gain below which there is none

// How much is wrong at all: a grabber's gain goes by sync and its colour by the burst, and one thing far off
// is likelier than two half as far.
double unlikely(double gain, double colour) {
  constexpr double much = 0.1;
  const auto wrong = [](double ratio) {
    const double off = std::log(ratio);
    return off * off / (off * off + much * much);
  };
  return wrong(gain) + (colour > no_colour ? wrong(colour) : 0);
}

// Which amplitude was sent is told by what it leaves right, gain or colour, if the other leaves neither so.
bool amplitude_told(double gain, double colour, double other) {
  constexpr double right = 0.1;
  const auto fits = [&](double share) {
    return std::abs(std::log(gain * share)) < right ||
           (colour > no_colour && std::abs(std::log(colour * share)) < right);
  };
  return fits(1) && !fits(other);
}

struct BarLevels {
  std::vector<double> level;
  double steps = 0;   // squares of what luma and colour differ by within bars
  double spread = 0;  // rms within a bar, the largest
  [[nodiscard]] bool falling(double by) const {
    for (std::size_t i = 1; i < level.size(); ++i)
      if (!(level[i] < level[i - 1] - by)) return false;
    return spread <= 9;
  }
};
BarLevels bar_levels(const PictureSetup& s, const PictureBand& b, int count) {
  const double width = static_cast<double>(s.width()) / count;
  BarLevels out;
  for (int i = 0; i < count; ++i) {
    const LineStretch p = stretch(b.y, (i + 0.28) * width, (i + 0.72) * width);
    out.level.push_back(p.mean);
    out.spread = std::max(out.spread, p.rms);
    out.steps += p.rms * p.rms;
    for (const auto* c : {&b.cb, &b.cr})
      out.steps += std::pow(stretch(*c, (i + 0.3) * width / 2, (i + 0.7) * width / 2).rms, 2);
  }
  out.steps /= count;
  return out;
}

// How many bars: of the wrong number some have an edge in their middle.
int bar_count(const PictureSetup& s, const PictureBand& b) {
  return bar_levels(s, b, 7).steps < bar_levels(s, b, 8).steps ? 7 : 8;
}

// Which bars stand free of the ends of the range. By table [BT.601] neighbours at the ends differ by 0.6 of
// the next difference or more; where they do not, that end runs into a limit.
struct Limits {
  int first = 0, last = 0;
  std::string words;
};
Limits limits_of(const std::vector<double>& level) {
  const auto n = static_cast<int>(level.size());
  const auto at = [&](int i) { return level[static_cast<std::size_t>(i)]; };
  Limits l{0, n - 1, {}};
  if (at(0) > 252 || at(0) - at(1) < 0.35 * (at(1) - at(2))) {
    while (l.first < n - 1 && at(l.first) > at(0) - 4) ++l.first;
    // The echo of a bar falls on its right neighbour, and lifts all but the first.
    l.words = fmt::format("white is clipped at code {:.0f}{}", at(0),
                          at(0) < 225 ? ", or an echo lifts the bars beside it" : "");
  }
  if (at(n - 1) < 3 || at(n - 2) - at(n - 1) < 0.35 * (at(n - 3) - at(n - 2))) {
    while (l.last > 0 && at(l.last) < at(n - 1) + 4) --l.last;
    l.words += fmt::format("{}black is crushed at code {:.0f}", l.words.empty() ? "" : " and ", at(n - 1));
  }
  return l;
}

// Too many bars run into limits to say which they are, but their colours are those of bars.
std::optional<Pattern> limited_bars(const PictureSetup& s, const PictureBand& b) {
  const int count = bar_count(s, b);
  const BarLevels bars = bar_levels(s, b, count);
  if (!bars.falling(-1.5) || colour_misfit(b, count, s.width()) > 0.1) return std::nullopt;
  const Limits limits = limits_of(bars.level);
  if (limits.words.empty()) return std::nullopt;
  return Pattern{.kind = PatternKind::None,
                 .name = "bars",
                 .remark = limits.words + ": set level, contrast or brightness right first",
                 .limits = limits.words};
}

std::optional<Pattern> bars(const PictureSetup& s, const PictureBand& b, std::string_view sent) {
  const int count = bar_count(s, b);
  const BarLevels levels = bar_levels(s, b, count);
  const std::vector<double>& level = levels.level;
  if (!levels.falling(-1.5)) return std::nullopt;
  const Limits limits = limits_of(level);
  if ((limits.words.empty() && !levels.falling(1.5)) || limits.last - limits.first < 4) return std::nullopt;
  const bool named = sent.find("bars") != std::string_view::npos;
  std::optional<Pattern> best;
  double best_badness = 1e9;
  for (const BarForm& form : {standards::bars_75, standards::bars_100, standards::bars_100_0_75_0}) {
    const std::string name = fmt::format("bars-{}", form.name);
    if (named && !sent.ends_with(name)) continue;
    const BarFit f = fit_bars(level, limits.first, limits.last, form);
    if (f.gain < 0.3 || f.gain > 1.9 || f.rms > 6.5 * f.gain) continue;
    // What is clipped would have been higher, what is crushed lower.
    const auto beyond = [&](int i) {
      const double free = f.offset + f.gain * standards::code601_from_rgb(standards::bar_rgb(form, i)).y;
      return free - level[static_cast<std::size_t>(i)];
    };
    if ((limits.first > 0 && beyond(0) < -4) || (limits.last < count - 1 && beyond(count - 1) > 4)) continue;
    const double colour = colour_gain(b, count, s.width(), form);
    const double badness = f.rms / f.gain + 8 * unlikely(f.gain, colour);
    if (badness >= best_badness) continue;
    best_badness = badness;
    best = Pattern{.kind = PatternKind::Bars,
                   .name = name,
                   .remark = count == 7 ? "seven bars, white to blue" : "",
                   .bars = count,
                   .bar_white = form.white,
                   .bar_colour = form.colour,
                   .band = 0,
                   .first_bar = limits.first,
                   .last_bar = limits.last,
                   .limits = limits.words};
    if (!limits.words.empty()) best->remark += (best->remark.empty() ? "" : "; ") + limits.words;
    if (sent.empty()) {
      const std::string doubt = other_amplitude(*best, f.gain);
      best->remark += (best->remark.empty() || doubt.empty() ? "" : "; ") + doubt;
    }
    if (!named && has_other_amplitude(*best) && !amplitude_told(f.gain, colour, other_share(*best)))
      best->other_share = other_share(*best);
  }
  return best;
}

std::optional<Pattern> steps(const PictureSetup& s, const std::vector<FramePlateau>& p) {
  // The base on either side may have the level of the first or the last step, or stand apart.
  for (const auto& [skip, drop] : {std::pair{0, 0}, {0, 1}, {1, 0}, {1, 1}}) {
    const int n = static_cast<int>(p.size()) - skip - drop;
    if (n < 5 || n > 12) continue;
    std::vector<double> up;
    for (int i = skip + 1; i < skip + n; ++i)
      up.push_back(p[static_cast<std::size_t>(i)].mean - p[static_cast<std::size_t>(i - 1)].mean);
    const auto [lo, hi] = std::minmax_element(up.begin(), up.end());
    if (*lo * *hi <= 0) continue;
    const double least = std::min(std::abs(*lo), std::abs(*hi));
    const double most = std::max(std::abs(*lo), std::abs(*hi));
    if (least < 0.7 * most || most < 6 || std::abs(most) * static_cast<double>(up.size()) < 90) continue;
    const auto [dark, bright] = std::ranges::minmax(p, {}, &FramePlateau::mean);
    const bool cut = s.code_limits.cuts_black(dark.mean) || s.code_limits.cuts_white(bright.mean);
    return Pattern{
        .kind = PatternKind::Staircase,
        .name = "staircase",
        .remark = fmt::format("{} risers{}", up.size(), cut ? ", and what is cut off where codes end" : "")};
  }
  return std::nullopt;
}

std::optional<Pattern> hatch(const PictureSetup& s, const std::vector<Spike>& spikes, double base) {
  if (spikes.size() < 5) return std::nullopt;
  const double mean = (spikes.back().at - spikes.front().at) / static_cast<double>(spikes.size() - 1);
  for (std::size_t i = 1; i < spikes.size(); ++i) {
    if (std::abs(spikes[i].at - spikes[i - 1].at - mean) > 2.5) return std::nullopt;
    if (spikes[i].height < 0.5 * spikes[0].height) return std::nullopt;
  }
  // Bright rows between.
  int bright = 0;
  for (int r = 0; r < s.height(); ++r) {
    const float* row = s.mean.data() + static_cast<std::size_t>(r) * static_cast<std::size_t>(s.width());
    double sum = 0;
    for (int x = s.first_col; x < s.last_col; ++x) sum += static_cast<double>(row[x]);
    if (sum / (s.last_col - s.first_col) > base + 0.5 * spikes[0].height) ++bright;
  }
  if (bright < 4 || bright > s.height() / 4) return std::nullopt;
  return Pattern{.kind = PatternKind::Crosshatch,
                 .name = "crosshatch",
                 .remark = fmt::format("{} verticals, {} bright rows", spikes.size(), bright)};
}

double bar_level(const std::vector<FramePlateau>& p) {
  double high = 0;
  for (const FramePlateau& x : p) high = std::max(high, x.mean);
  return high;
}

// Low, then high, then low; the high part at least 40 px, no more than a few steps in all.
bool raised_once(const std::vector<FramePlateau>& p, double middle) {
  if (p.size() < 3 || p.size() > 9 || p.front().mean > middle || p.back().mean > middle) return false;
  int changes = 0;
  int wide = 0;
  bool up = false;
  for (const FramePlateau& x : p) {
    if ((x.mean > middle) != up) {
      ++changes;
      up = !up;
    }
    if (up) wide += x.width();
  }
  return changes == 2 && wide > 40;
}

std::optional<Pattern> other(const PictureSetup& s, const PictureBand& b) {
  const LineStretch all = stretch(b.y, s.first_col, s.last_col);
  if (all.highest - all.lowest < 8 && all.rms < 2.5)
    return Pattern{.kind = PatternKind::Flat, .name = "flat", .remark = ""};
  if (find_packets(b.y, s.format.lines, s.px_per_us, s.px_per_us_u).size() >= 4)
    return Pattern{.kind = PatternKind::Multiburst, .name = "multiburst", .remark = ""};
  const LineShape shape = line_shape(b.y, s.first_col, s.last_col);
  if (auto h = hatch(s, shape.spikes, shape.base)) return h;
  // The bar of a pulse and bar begins 12 us after sync [J.63], some 30 px into the line.
  const auto ground = line_shape(b.y, 4, s.width() - 4).plateaus;
  const bool before = !ground.empty() && ground.front().to < s.first_col + 24;
  const auto& p = before ? ground : shape.plateaus;
  // Neither staircase nor window has colour; colours' luma makes steps as well.
  if (colour_on(s, b) > 8) return std::nullopt;
  if (auto st = steps(s, p)) return st;
  // One raised stretch on level ground; echoes may step it and the ground.
  const double high = bar_level(p) - shape.base;
  if (high > 40 && raised_once(p, shape.base + 0.5 * high)) {
    if (shape.spikes.size() == 1 && shape.spikes[0].height > 0.3 * high)
      return Pattern{.kind = PatternKind::PulseBar, .name = "pulse-bar", .remark = ""};
    if (shape.spikes.empty()) return Pattern{.kind = PatternKind::Window, .name = "window", .remark = ""};
  }
  if (is_ramp(b.y, s.first_col, s.last_col))
    return Pattern{.kind = PatternKind::Ramp, .name = "ramp", .remark = ""};
  return std::nullopt;
}

}  // namespace

Pattern recognise_pattern(const PictureSetup& s, std::string_view sent) {
  if (!s.patterned()) return {};
  for (std::size_t i = 0; i < s.bands.size(); ++i) {
    const PictureBand& b = s.bands[i];
    const double share = static_cast<double>(b.rows.size()) / s.height();
    if (share < 0.3) break;
    std::optional<Pattern> p = bars(s, b, sent);
    if (!p) p = limited_bars(s, b);
    if (!p) p = other(s, b);
    if (!p) continue;
    if (p->kind == PatternKind::Flat && share < 0.8) continue;  // a level between other things
    p->band = i;
    if (p->kind == PatternKind::Bars && share < 0.85) {
      p->remark += (p->remark.empty() ? "" : "; ") + fmt::format("on {:.0f} % of the rows", 100 * share);
    }
    return *p;
  }
  return {};
}

}  // namespace linebench::measure
