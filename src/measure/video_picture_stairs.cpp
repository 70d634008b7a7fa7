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
  double dark_end = 0;    // of a ramp: from the middle of the first stretch to its dark end, in stretches
  double bright_end = 0;  // and from the last
  double unseen = 0;      // share of the range from black to white that they do not reach
};

// On a ramp each stretch is a mean over its part: at the ends straight on from the last two.
std::vector<double> to_the_ends(std::vector<double> x, const Stretches& s) {
  if (s.line->staircase || x.size() < 4) return x;
  const std::size_t n = x.size();
  x.front() += s.dark_end * (x[0] - x[1]);
  x.back() += s.bright_end * (x[n - 1] - x[n - 2]);
  return x;
}

// Outward from `from_us` for as long as `goes_on` of the place before and the place; at most `most_us`.
template <typename GoesOn>
double walk(double from_us, double step_us, double most_us, const GoesOn& goes_on) {
  double at = from_us;
  while (std::abs(at + step_us - from_us) < most_us && goes_on(at, at + step_us)) at += step_us;
  return at;
}

// A ramp as found ends well clear of the line's ends, and may take in what holds its last level there.
// Where it truly begins and ends: where its straight line meets the least and the most of those levels.
std::pair<double, double> ends_of_ramp(const AveragedLine& line, const Slope& found) {
  constexpr double half_us = 0.15;
  constexpr double step_us = 0.1;
  constexpr double after_sync_us = 5.2;
  const double before_sync_us = line.end_us() - LineSums::beyond_us - 0.5;
  const double length = found.to_us - found.from_us;
  const auto mean_at = [&](double from, double to) {
    return line.level(found.from_us + from * length, found.from_us + to * length);
  };
  const double first = mean_at(0.2, 0.4);
  const double per_us = (mean_at(0.6, 0.8) - first) / (0.4 * length);
  const auto straight_at = [&](double t) { return first + per_us * (t - found.from_us - 0.3 * length); };
  const auto level = [&](double t) { return line.level(t - half_us, t + half_us); };
  const double slack = 0.02 * std::abs(per_us) * length;
  const auto end = [&](double from, double step) {
    const double at = walk(from, step, 8.0, [&](double before, double t) {
      const auto [low, high] = std::minmax({level(before), straight_at(t)});
      return t > after_sync_us && t < before_sync_us && level(t) > low - slack && level(t) < high + slack;
    });
    const double clear = at == from ? at : at - step;
    const double held = found.from_us + 0.3 * length + (level(clear) - first) / per_us;
    // No farther than it was seen.
    return step > 0 ? std::min(held, at + half_us) : std::max(held, at - half_us);
  };
  return {end(found.from_us, -step_us), end(found.to_us, step_us)};
}

Stretches ramp_stretches(const KnownLine& known) {
  constexpr double drop_us = 1.2;  // the subcarrier's own end is over in this
  constexpr double step_us = 0.2;
  Stretches s{&known, {}};
  const AveragedLine& line = known.average;
  const Slope& found = known.ramp->slope;
  const auto [begin, end] = ends_of_ramp(line, found);
  const double middle = 0.5 * (begin + end);
  const auto carries_on = [&](double before, double t) {
    return line.chroma_mv(t - drop_us / 2, t + drop_us / 2) >
           0.96 * line.chroma_mv(before - drop_us / 2, before + drop_us / 2);
  };
  const double from =
      std::max(begin, walk(middle, -step_us, middle - begin - drop_us / 2, carries_on) - drop_us / 4);
  const double to =
      std::min(end, walk(middle, step_us, end - middle - drop_us / 2, carries_on) + drop_us / 4);
  const double width = (to - from) / ramp_windows;
  for (std::size_t i = 0; i < ramp_windows; ++i) {
    const double at = from + width * static_cast<double>(i);
    s.at.emplace_back(at, at + width);
  }
  s.dark_end = 0.5 + (from - begin) / width;
  s.bright_end = 0.5 + (end - to) / width;
  s.unseen = 1 - (to - from) / (end - begin);
  if (found.to_mv < found.from_mv) {
    std::reverse(s.at.begin(), s.at.end());
    std::swap(s.dark_end, s.bright_end);
  }
  return s;
}

Stretches subcarrier_stretches(const KnownLines& known) {
  const KnownLine* stairs =
      known.find([](const KnownLine& x) { return x.staircase && x.staircase->subcarrier; });
  if (stairs != nullptr) {
    Stretches s{stairs, {}};
    for (const Plateau& p : stairs->staircase->levels) s.at.emplace_back(p.from_us, p.to_us);
    return s;
  }
  const KnownLine* ramp = known.find([](const KnownLine& x) { return x.ramp && x.ramp->subcarrier; });
  return ramp != nullptr ? ramp_stretches(*ramp) : Stretches{};
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
