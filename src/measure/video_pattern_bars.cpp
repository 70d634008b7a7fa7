// Colour bars and staircases among the plateaus of a line.
#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <numbers>

#include "video_pattern.hpp"

namespace linebench::measure {
namespace {

constexpr double deg = 180 / std::numbers::pi;
constexpr double phase_near_deg = 20;  // colours lie 43 deg apart or more
constexpr double most_hue_deg = 40;    // hue error up to which bars are still known
constexpr double no_chroma = 0.035;    // of white, peak
constexpr std::size_t least_colours = 5;

const standards::VideoStandard& nominal(const VideoSetup& s) {
  const bool no_setup = s.lines == 525 && s.black_seen && !s.setup;
  return no_setup ? standards::video_525_no_setup : standards::standard_of(s.lines);
}

struct Colour {
  int bar;
  double phase_deg;
  double chroma;  // peak re the luminance range
};

// Which colour each plateau is when all hues are off by `rotation`; -1: none.
std::vector<int> match(const std::vector<Plateau>& plateaus, const std::array<Colour, 6>& colours,
                       double rotation, double least_mv) {
  std::vector<int> out;
  for (const Plateau& p : plateaus) {
    int best = -1;
    double nearest = phase_near_deg;
    for (const Colour& c : colours) {
      if (p.chroma_mv < least_mv) break;
      const double off = std::remainder(std::arg(p.chroma_undone) * deg - c.phase_deg - rotation, 360.0);
      if (std::abs(off) < nearest) {
        nearest = std::abs(off);
        best = c.bar;
      }
    }
    out.push_back(best);
  }
  return out;
}

// Luminance falls from yellow to blue; the chrominance of a colour re the others is by the matrix.
bool plausible(const FoundBars& f, const std::array<Colour, 6>& colours) {
  double last = 1e9;
  double ratio_min = 1e9;
  double ratio_max = 0;
  for (const Colour& c : colours) {
    const auto& p = f.bars[static_cast<std::size_t>(c.bar)];
    if (!p) continue;
    if (p->luma_mv > last) return false;
    last = p->luma_mv;
    ratio_min = std::min(ratio_min, p->chroma_mv / c.chroma);
    ratio_max = std::max(ratio_max, p->chroma_mv / c.chroma);
  }
  return ratio_max < 1.6 * ratio_min;
}

// The plateau next to one that has no chrominance.
std::optional<Plateau> neighbour(const std::vector<Plateau>& all, const Plateau& of, double most_chroma_mv,
                                 bool brighter) {
  std::optional<Plateau> out;
  for (const Plateau& p : all) {
    if (p.chroma_mv > most_chroma_mv || (p.luma_mv > of.luma_mv) != brighter) continue;
    if (std::abs(p.edge_to_us - of.edge_from_us) > 0.5 && std::abs(p.edge_from_us - of.edge_to_us) > 0.5)
      continue;
    if (!out || (p.luma_mv > out->luma_mv) == brighter) out = p;
  }
  return out;
}

// Whether something is wrong at all, 0 to 1: one thing far off is likelier than two things half as far.
double wrong(double ratio) {
  constexpr double much = 0.1;  // of a tenth
  const double off = std::log(ratio);
  return off * off / (off * off + much * much);
}

// Which form. White against the colours tells full white beside three quarters, without any scale. All of one
// measure are full or three quarters, whichever takes less of a wrong gain and a wrong sync: a source's own
// sync may be low.
standards::BarForm form_of(const FoundBars& f, const VideoSetup& setup) {
  const standards::VideoStandard& s = nominal(setup);
  double got = 0;
  double full = 0;
  const double range = 1 - s.setup_fraction;
  const double black = f.bars[7] ? f.bars[7]->luma_mv : setup.gain() * s.black_mv.nominal;
  for (int i = 1; i <= 6; ++i) {
    if (!f.bars[static_cast<std::size_t>(i)]) continue;
    const auto c = standards::composite_colour(s, standards::bar_rgb(standards::bars_100, i));
    got += f.bars[static_cast<std::size_t>(i)]->luma_mv - black;
    full += c.luma_mv - s.black_mv.nominal;
  }
  const double colour_level = got / full / setup.gain();
  const double white_level =
      f.bars[0] ? (f.bars[0]->luma_mv - black) / setup.gain() / (range * s.white_mv.nominal) : colour_level;
  if (white_level > 1.155 * colour_level) return standards::bars_100_0_75_0;
  if (!(got > 0)) return standards::bars_75;
  const auto unlikely = [&](double level) {
    const double gain = got / full / level;
    return wrong(gain) + wrong(setup.gain() / gain);
  };
  return unlikely(0.75) < unlikely(1) ? standards::bars_75 : standards::bars_100;
}

// How far levels (darkest first) are from these, both put on 0 to 1 by the first and the one at `one`; rms.
double away(const std::vector<Plateau>& levels, const std::vector<double>& expected, std::size_t one) {
  double sum = 0;
  const double range = levels[one].luma_mv - levels[0].luma_mv;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const double is = (levels[i].luma_mv - levels[0].luma_mv) / range;
    const double should = (expected[i] - expected[0]) / (expected[one] - expected[0]);
    sum += (is - should) * (is - should);
  }
  return std::sqrt(sum / static_cast<double>(levels.size()));
}

}  // namespace

std::optional<FoundBars> find_grey_bars(const FoundStaircase& stairs, const LineLayout& layout,
                                        const VideoSetup& setup) {
  const std::vector<Plateau>& levels = stairs.levels;
  constexpr std::size_t colours = 6;  // and black below, white above where it is as far from yellow
  if (stairs.subcarrier || levels.size() < colours + 1 || levels.size() > colours + 2) return std::nullopt;
  std::vector<double> even, bars;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    even.push_back(static_cast<double>(i));
    bars.push_back(standards::composite_colour(
                       nominal(setup), standards::bar_rgb(standards::bars_100, 7 - static_cast<int>(i)))
                       .luma_mv);
  }
  // Even risers lie 0.03 from the luminances of bars, those at most 0.01 with the distortion that limits
  // allow.
  if (away(levels, bars, colours) > 0.5 * away(levels, even, colours)) return std::nullopt;
  FoundBars f;
  for (std::size_t i = 0; i < levels.size(); ++i) f.bars[7 - i] = levels[i];
  if (!f.bars[0]) f.bars[0] = neighbour(layout.plateaus, *f.bars[1], 1e9, true);
  f.form = form_of(f, setup);
  return f;
}

std::optional<FoundBars> find_bars(const LineLayout& layout, const VideoSetup& setup) {
  if (!setup.colour) return std::nullopt;
  const standards::VideoStandard& s = nominal(setup);
  const double white = white_by_sync(setup);
  std::array<Colour, 6> colours{};
  for (int i = 0; i < 6; ++i) {
    const auto c = standards::composite_colour(s, standards::bar_rgb(standards::bars_100, i + 1));
    colours[static_cast<std::size_t>(i)] = {i + 1, c.phase_deg, c.chroma_pp_mv / 2 / s.white_mv.nominal};
  }
  // In 625 an error of phase turns the two kinds of line apart and leaves their mean; in 525 it turns the
  // hue.
  std::optional<FoundBars> best;
  std::size_t most = least_colours - 1;
  const auto try_rotation = [&](double rotation) {
    const std::vector<int> bar = match(layout.plateaus, colours, rotation, 0.08 * white);
    FoundBars f;
    std::size_t n = 0;
    for (std::size_t i = 0; i < bar.size(); ++i) {
      if (bar[i] < 0) continue;
      auto& slot = f.bars[static_cast<std::size_t>(bar[i])];
      n += slot ? 0 : 1;
      // A colour that is there twice: the longer one.
      if (!slot || layout.plateaus[i].width_us() > slot->width_us()) slot = layout.plateaus[i];
    }
    if (n > most && plausible(f, colours)) {
      most = n;
      best = f;
    }
  };
  try_rotation(0);
  for (double r = 8; r <= most_hue_deg && most < 6; r += 8) {
    try_rotation(r);
    try_rotation(-r);
  }
  if (!best) return std::nullopt;
  for (int i = 1; i <= 6; ++i) {
    const auto& colour = best->bars[static_cast<std::size_t>(i)];
    if (!colour) continue;
    if (!best->bars[0]) best->bars[0] = neighbour(layout.plateaus, *colour, no_chroma * white, true);
    if (i == 6) best->bars[7] = neighbour(layout.plateaus, *colour, no_chroma * white, false);
  }
  best->form = form_of(*best, setup);
  return best;
}

std::optional<FoundStaircase> find_staircase(const LineLayout& layout, const VideoSetup& setup) {
  const double white = white_by_sync(setup);
  const std::vector<Plateau>& p = layout.plateaus;
  std::optional<FoundStaircase> best;
  const auto follows = [&](const Plateau& a, const Plateau& b, double direction) {
    if (std::abs(b.edge_from_us - a.edge_to_us) > 0.3) return false;
    if (direction * (b.luma_mv - a.luma_mv) < 0.02 * white) return false;
    const bool plain = a.chroma_mv < no_chroma * white && b.chroma_mv < no_chroma * white;
    if (plain) return true;
    if (std::min(a.chroma_mv, b.chroma_mv) < 0.6 * std::max(a.chroma_mv, b.chroma_mv)) return false;
    // One and the same subcarrier on either side, on lines of one kind or the other.
    const std::size_t v = std::abs(a.chroma[0]) > 0 ? 0 : 1;
    return std::abs(std::arg(b.chroma[v] * std::conj(a.chroma[v]))) * deg < 25;
  };
  for (const double direction : {1.0, -1.0}) {
    for (std::size_t i = 0; i < p.size(); ++i) {
      std::size_t k = i;
      while (k + 1 < p.size() && follows(p[k], p[k + 1], direction)) ++k;
      if (k - i < 4) continue;
      std::vector<Plateau> levels(p.begin() + static_cast<std::ptrdiff_t>(i),
                                  p.begin() + static_cast<std::ptrdiff_t>(k) + 1);
      // Of even spacing, in level and (but for the ends) in time.
      const double mean =
          std::abs(levels.back().luma_mv - levels.front().luma_mv) / static_cast<double>(k - i);
      double width = 0;
      for (std::size_t n = 1; n + 1 < levels.size(); ++n)
        width += levels[n].width_us() / static_cast<double>(k - i - 1);
      bool even = true;
      for (std::size_t n = 0; n + 1 < levels.size(); ++n) {
        const double riser = std::abs(levels[n + 1].luma_mv - levels[n].luma_mv);
        even = even && riser > 0.45 * mean && riser < 1.7 * mean;
        if (n > 0) even = even && std::abs(levels[n].width_us() / width - 1) < 0.15;
      }
      if (!even) continue;
      if (direction < 0) std::reverse(levels.begin(), levels.end());
      if (!best || levels.size() > best->levels.size())
        best = FoundStaircase{levels, levels.back().chroma_mv > no_chroma * white};
    }
  }
  return best;
}

}  // namespace linebench::measure
