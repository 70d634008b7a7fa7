// video.nonlinearity, video.differential_gain, video.differential_phase
#include <algorithm>
#include <cmath>
#include <numbers>

#include "video_picture.hpp"

namespace linebench::measure {
namespace {

constexpr double deg = 180 / std::numbers::pi;
constexpr std::size_t ramp_windows = 10;

// Luminance levels of a staircase, in order.
void nonlinearity(const KnownLines& known, Readings& out) {
  const KnownLine* k = known.find([](const KnownLine& x) { return x.staircase.has_value(); });
  if (k == nullptr) {
    out.push_back(unmeasurable("video.nonlinearity", "no staircase in the picture; send a staircase"));
    return;
  }
  const Values v = values_of(known.replicates_of(*k), [&](const AveragedLine& a) {
    std::vector<double> levels;
    for (const Plateau& p : k->staircase->levels) levels.push_back(a.level(p.from_us, p.to_us));
    return levels;
  });
  const auto e = figure(v, [](const std::vector<double>& level) {
    double least = 1e9;
    double most = 0;
    for (std::size_t i = 0; i + 1 < level.size(); ++i) {
      const double riser = level[i + 1] - level[i];
      least = std::min(least, riser);
      most = std::max(most, riser);
    }
    return 100 * (most - least) / most;
  });
  if (!e) {
    out.push_back(
        unmeasurable("video.nonlinearity", "too few lines of the staircase; take a longer capture"));
    return;
  }
  out.push_back(number_reading("video.nonlinearity", std::max(0.0, e->value), together(e->u, 0.03),
                               k->content->field_interval ? "on a test line" : ""));
}

// Stretches of one luminance each that all carry the same subcarrier, darkest first.
struct Stretches {
  const KnownLine* line = nullptr;
  std::vector<std::pair<double, double>> at;
  double unseen = 0;  // share of the range from black to white that they do not reach
};

// On a ramp each stretch is a mean over its part: at the ends straight on from the last two.
std::vector<double> to_the_ends(std::vector<double> x, const Stretches& s) {
  if (s.line->staircase || x.size() < 4) return x;
  const std::size_t n = x.size();
  x.front() += 0.5 * (x[0] - x[1]);
  x.back() += 0.5 * (x[n - 1] - x[n - 2]);
  return x;
}
Stretches subcarrier_stretches(const KnownLines& known) {
  Stretches s;
  s.line = known.find([](const KnownLine& x) { return x.staircase && x.staircase->subcarrier; });
  if (s.line != nullptr) {
    for (const Plateau& p : s.line->staircase->levels) s.at.emplace_back(p.from_us, p.to_us);
    return s;
  }
  s.line = known.find([&](const KnownLine& x) { return x.ramp && x.ramp->subcarrier; });
  if (s.line == nullptr) return s;
  const Slope& ramp = s.line->ramp->slope;
  const double width = (ramp.to_us - ramp.from_us) / ramp_windows;
  for (std::size_t i = 0; i < ramp_windows; ++i) {
    const double from = ramp.from_us + width * static_cast<double>(i);
    s.at.emplace_back(from, from + width);
  }
  if (ramp.to_mv < ramp.from_mv) std::reverse(s.at.begin(), s.at.end());
  double low = std::min(ramp.from_mv, ramp.to_mv);
  double high = std::max(ramp.from_mv, ramp.to_mv);
  const double reached = high - low;
  for (const Plateau& p : s.line->layout.plateaus) {
    low = std::min(low, p.luma_mv);
    high = std::max(high, p.luma_mv);
  }
  s.unseen = 1 - reached / (high - low);
  return s;
}

void differential(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  constexpr const char* gain_id = "video.differential_gain";
  constexpr const char* phase_id = "video.differential_phase";
  const Stretches s = subcarrier_stretches(known);
  if (s.line == nullptr) {
    const std::string reason =
        setup.colour ? "no staircase or ramp with subcarrier in the picture; send a staircase with subcarrier"
                     : "no colour burst was found; send a staircase with subcarrier and burst";
    out.push_back(unmeasurable(gain_id, reason));
    out.push_back(unmeasurable(phase_id, reason));
    return;
  }
  const Replicates& r = known.replicates_of(*s.line);
  const Values gain = values_of(r, [&](const AveragedLine& a) {
    std::vector<double> x;
    for (const auto& [from, to] : s.at) x.push_back(a.chroma_mv(from, to));
    return to_the_ends(std::move(x), s);
  });
  // Lines with V as is and reversed turn the same way: both against their own darkest level, then the mean.
  const Values phase = values_of(r, [&](const AveragedLine& a) {
    std::vector<double> x;
    const double n = a.chroma_lines[0] + a.chroma_lines[1];
    for (const auto& [from, to] : s.at) {
      double sum = 0;
      for (int v = 0; v < 2; ++v) {
        const double lines = a.chroma_lines[static_cast<std::size_t>(v)];
        if (lines > 0) {
          const auto dark = a.chroma(v, s.at.front().first, s.at.front().second);
          sum += lines / n * std::arg(a.chroma(v, from, to) * std::conj(dark));
        }
      }
      x.push_back(sum * deg);
    }
    return to_the_ends(std::move(x), s);
  });
  const auto dg = figure(gain, [](const std::vector<double>& a) {
    const auto [lo, hi] = std::minmax_element(a.begin(), a.end());
    return 100 * (*hi / *lo - 1);
  });
  const auto dp = figure(phase, range_of);
  const std::string remark = s.line->staircase ? (s.line->content->field_interval ? "on a test line" : "")
                                               : "on a ramp with subcarrier";
  const std::string few = "too few lines of the staircase; take a longer capture";
  out.push_back(dg ? number_reading(gain_id, std::max(0.0, dg->value),
                                    together(dg->u, together(0.04, s.unseen * dg->value)), remark)
                   : unmeasurable(gain_id, few));
  out.push_back(dp ? number_reading(phase_id, std::max(0.0, dp->value),
                                    together(dp->u, together(0.03, s.unseen * dp->value)), remark)
                   : unmeasurable(phase_id, few));
}

}  // namespace

void read_staircase(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  nonlinearity(known, out);
  differential(known, setup, out);
}

}  // namespace linebench::measure
