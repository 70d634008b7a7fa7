// Echoes after the direct sound: the path is levelled to a pulse of known shape, the direct pulse is taken
// away, and what stands out of the rest over the whole band is an echo. The shape is what a perfect path
// would give with the same signal and the same division: a signal that repeats itself gives a pulse that
// does.
#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/measure/statistics.hpp>
#include <numbers>

#include "response_path.hpp"

namespace linebench::measure::response {
namespace {

constexpr double shortest_s = 0.45e-3;
constexpr double longest_s = 2.05;
constexpr double weakest_db = -46;    // below, what the levelling leaves over looks the same
constexpr double standing_out = 6.5;  // over the rest's own scatter: some 100 000 places are looked at
constexpr double in_band_db = 30;
constexpr double smoothing_octaves = 0.5;  // half width: wide enough to pass over an echo's comb
constexpr double flat_enough = 0.35;       // an echo holds the whole band, ringing only an edge of it
constexpr int candidates = 24;
constexpr double repeats = 0.25;  // of the direct pulse: where its own image stands in for an echo
constexpr double flat_window_s = 2e-3;

struct Weighting {
  std::vector<double> w;      // per bin, 0..1
  std::vector<double> floor;  // regularising power per bin
  double low_hz = 0, high_hz = 0;
};

Weighting weighting(const PathSpectra& s, const std::vector<SubBand>& bands, const Profile& p) {
  Weighting r;
  const std::size_t bins = s.size() / 2 + 1;
  r.w.assign(bins, 0.0);
  r.floor.assign(bins, 0.0);
  if (p.hz.size() < 8) return r;
  const double strongest = *std::max_element(p.db.begin(), p.db.end());
  std::vector<double> good;
  for (std::size_t i = 0; i < p.hz.size(); ++i) {
    if (p.db[i] > strongest - in_band_db && p.snr[i] > 10) good.push_back(p.hz[i]);
  }
  if (good.size() < 8) return r;
  r.low_hz = good.front();
  r.high_hz = good.back();
  const double bin_hz = s.rate_hz() / static_cast<double>(s.size());
  const double low_width = std::log(1.8);
  const double high_width = std::log(1.35);
  std::size_t next = 0;
  std::size_t band = 0;
  double per_bin = 0;
  for (std::size_t k = 1; k < bins; ++k) {
    const double hz = static_cast<double>(k) * bin_hz;
    if (hz < r.low_hz || hz > r.high_hz) continue;
    while (next + 1 < good.size() && good[next + 1] < hz) ++next;
    // Bands without coherence are left out.
    if (next + 1 < good.size() && good[next + 1] > 1.3 * good[next] && hz > 1.13 * good[next] &&
        hz < good[next + 1] / 1.13) {
      continue;
    }
    const double up = std::min(1.0, std::log(hz / r.low_hz) / low_width);
    const double down = std::min(1.0, std::log(r.high_hz / hz) / high_width);
    const double a = std::sin(0.5 * std::numbers::pi * up);
    const double b = std::sin(0.5 * std::numbers::pi * down);
    r.w[k] = a * a * b * b;
    while (band + 1 < bands.size() && bands[band + 1].hz < hz) ++band;
    const SubBand& sb = bands[band];
    per_bin = sb.sent * s.independent() / std::max(sb.bins, 1e-9);
    const double explained = sb.sent > 0 ? std::norm(sb.cross) / sb.sent : 0;
    const double noise = explained > 0 ? std::max(0.0, sb.returned - explained) / explained : 1.0;
    r.floor[k] = per_bin * std::clamp(noise, 1e-4, 3.0);
  }
  return r;
}

struct Pulse {
  std::vector<double> rest;  // direct taken away
  double direct = 0;
  double scatter = 0;
  double repeats_at = 0;  // samples after the direct pulse at which its shape comes again; 0: not
};

// Levels the path by its smoothed minimum phase and takes the direct pulse away.
Pulse levelled(const PathSpectra& s, const Weighting& weights, const MinimumPhase& minimum, double late,
               std::size_t count) {
  const std::size_t bins = weights.w.size();
  const double bin_hz = s.rate_hz() / static_cast<double>(s.size());
  std::vector<Complex> factor(bins);
  double level = 0;
  dsp::RealFft ideal(s.size());
  const double turn =
      -2 * std::numbers::pi * (static_cast<double>(s.before()) + late) / static_cast<double>(s.size());
  for (std::size_t k = 0; k < bins; ++k) {
    const double w = weights.w[k];
    const double power = std::norm(s.sent()[k]);
    const double seen = w > 0 && power > 0 ? w * power / (power + weights.floor[k]) : 0.0;
    ideal.output()[k] = std::polar(seen, std::fmod(turn * static_cast<double>(k), 2 * std::numbers::pi));
    if (!(w > 0)) continue;
    level += seen;
    const double hz = static_cast<double>(k) * bin_hz;
    factor[k] = std::polar(w * amplitude_from_db(-minimum.db(hz)), -minimum.phase(hz));
  }
  ideal.inverse();
  const double scale = 0.5 / std::max(level, 1e-30);  // so that the ideal pulse is 1 high
  Pulse p;
  p.rest = s.impulse(count, factor, weights.floor);
  for (double& v : p.rest) v *= scale * static_cast<double>(s.size());
  const std::span<const double> shape = ideal.input();
  const auto reach = static_cast<std::ptrdiff_t>(1e-3 * s.rate_hz());
  const std::ptrdiff_t centre = std::lround(static_cast<double>(s.before()) + late);
  double ep = 0;
  double pp = 0;
  for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, centre - reach);
       i <= std::min(static_cast<std::ptrdiff_t>(count) - 1, centre + reach); ++i) {
    const double v = shape[static_cast<std::size_t>(i)] * scale;
    ep += v * p.rest[static_cast<std::size_t>(i)];
    pp += v * v;
  }
  p.direct = pp > 0 ? ep / pp : 0;
  for (auto i = centre + 4 * reach; i < static_cast<std::ptrdiff_t>(count); ++i) {
    if (std::abs(shape[static_cast<std::size_t>(i)]) * scale < repeats) continue;
    // A full image or one that the signal's ends have made smaller: up to its top.
    auto top = i;
    while (top + 1 < static_cast<std::ptrdiff_t>(count) &&
           shape[static_cast<std::size_t>(top + 1)] > shape[static_cast<std::size_t>(top)])
      ++top;
    p.repeats_at = static_cast<double>(top - centre);
    break;
  }
  for (std::size_t i = 0; i < count; ++i) p.rest[i] -= p.direct * shape[i] * scale;
  std::vector<double> magnitude;
  magnitude.reserve(count);
  for (const double v : p.rest) magnitude.push_back(std::abs(v));
  p.scatter = 1.4826 * dsp::median(std::move(magnitude));
  return p;
}

// How evenly a peak of the rest fills the band with one phase: 1 for a copy of the direct sound.
double flatness(std::span<const double> rest, double rate_hz, double at, double low_hz, double high_hz) {
  const double half = flat_window_s * rate_hz;
  constexpr int lines = 48;
  double real = 0;
  double square = 0;
  for (int i = 0; i < lines; ++i) {
    const double hz = low_hz + (high_hz - low_hz) * (0.06 + 0.88 * (i + 0.5) / lines);
    Complex sum;
    for (auto n = static_cast<std::ptrdiff_t>(std::ceil(at - half)); static_cast<double>(n) < at + half;
         ++n) {
      if (n < 0 || n >= static_cast<std::ptrdiff_t>(rest.size())) continue;
      const double t = static_cast<double>(n) - at;
      const double window = 0.5 + 0.5 * std::cos(std::numbers::pi * t / half);
      sum += window * rest[static_cast<std::size_t>(n)] *
             std::polar(1.0, 2 * std::numbers::pi * hz / rate_hz * t);
    }
    real += sum.real();
    square += std::norm(sum);
  }
  return square > 0 ? real * real / (lines * square) : 0;
}

// The rest between its samples: a windowed sinc, exact to 0.01 dB up to 0.9 of half the rate.
double between(std::span<const double> rest, double t) {
  constexpr std::ptrdiff_t reach = 24;
  const auto whole = static_cast<std::ptrdiff_t>(std::floor(t));
  double sum = 0;
  for (std::ptrdiff_t n = whole - reach + 1; n <= whole + reach; ++n) {
    if (n < 0 || n >= static_cast<std::ptrdiff_t>(rest.size())) continue;
    const double x = std::numbers::pi * (t - static_cast<double>(n));
    const double sinc = std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x;
    sum += rest[static_cast<std::size_t>(n)] * sinc * (0.5 + 0.5 * std::cos(x / reach));
  }
  return sum;
}

// Where it is highest within a sample of `at`.
double top_near(std::span<const double> rest, double at) {
  double low = at - 1;
  double high = at + 1;
  while (high - low > 1e-3) {
    const double a = low + (high - low) / 3;
    const double b = high - (high - low) / 3;
    if (std::abs(between(rest, a)) < std::abs(between(rest, b))) {
      low = a;
    } else {
      high = b;
    }
  }
  return 0.5 * (low + high);
}

struct Candidate {
  double at = 0;  // samples from the start of the stretch
  double height = 0;
  double flat = 0;
};

std::optional<Candidate> strongest(Pulse pulse, double rate_hz, double direct_at, const Weighting& w) {
  const std::vector<double> rest = pulse.rest;
  const auto first = static_cast<std::size_t>(std::ceil(direct_at + shortest_s * rate_hz));
  // Beyond a repetition of the signal an echo cannot be told from an earlier one.
  const std::size_t end = pulse.repeats_at > 0
                              ? std::min(rest.size(), static_cast<std::size_t>(direct_at + pulse.repeats_at -
                                                                               shortest_s * rate_hz))
                              : rest.size();
  const double least =
      std::max(standing_out * pulse.scatter, amplitude_from_db(weakest_db) * std::abs(pulse.direct));
  for (int tries = 0; tries < candidates; ++tries) {
    std::size_t best = 0;
    for (std::size_t i = first; i + 1 < end; ++i) {
      if (best == 0 || std::abs(pulse.rest[i]) > std::abs(pulse.rest[best])) best = i;
    }
    if (best == 0 || std::abs(pulse.rest[best]) < least) return std::nullopt;
    Candidate c;
    c.at = top_near(rest, static_cast<double>(best));
    c.height = between(rest, c.at);
    c.flat = flatness(rest, rate_hz, c.at, w.low_hz, w.high_hz);
    if (c.flat >= flat_enough) return c;
    const auto clear = static_cast<std::size_t>(0.25e-3 * rate_hz) + 1;
    for (std::size_t i = best > clear ? best - clear : 0; i < std::min(rest.size(), best + clear); ++i) {
      pulse.rest[i] = 0;
    }
  }
  return std::nullopt;
}

}  // namespace

EchoSearch find_echo(const PathSpectra& s, const std::vector<SubBand>& bands, const Profile& p, double late,
                     std::size_t returned_samples) {
  EchoSearch search;
  const Weighting weights = weighting(s, bands, p);
  if (!(weights.high_hz > 2 * weights.low_hz)) return search;
  const std::size_t count =
      std::min({returned_samples, s.size(), s.before() + static_cast<std::size_t>(longest_s * s.rate_hz())});
  const double direct_at = static_cast<double>(s.before()) + late;
  std::vector<double> db = p.db;
  std::optional<Candidate> found;
  double direct = 1;
  double scatter = 0;
  double repeats_at = 0;
  // An echo's comb is partly taken for the path's own response; once it is known it can be taken out of that.
  for (int round = 0; round < 3; ++round) {
    const MinimumPhase minimum(p.hz, db, p.snr, s.rate_hz(), smoothing_octaves);
    const Pulse pulse = levelled(s, weights, minimum, late, count);
    direct = pulse.direct;
    scatter = pulse.scatter;
    repeats_at = pulse.repeats_at;
    if (!(std::abs(direct) > 0)) return search;
    found = strongest(pulse, s.rate_hz(), direct_at, weights);
    if (!found) break;
    const double delay = (found->at - direct_at) / s.rate_hz();
    const double ratio = std::clamp(found->height / direct, -0.95, 0.95);
    for (std::size_t i = 0; i < db.size(); ++i) {
      const double width = p.hz[i] - (i > 0 ? p.hz[i - 1] : p.hz[i] * 0.985);
      const double arc = std::numbers::pi * width * delay;
      const double resolved = arc > 1e-6 ? std::sin(arc) / arc : 1;
      db[i] =
          p.db[i] - db_from_amplitude(std::abs(
                        1.0 + ratio * resolved * std::polar(1.0, -2 * std::numbers::pi * p.hz[i] * delay)));
    }
  }
  search.at_most_db =
      std::max(weakest_db, db_from_amplitude(standing_out * scatter / std::max(std::abs(direct), 1e-30)));
  search.up_to_s = repeats_at > 0 ? repeats_at / s.rate_hz() : longest_s;
  if (!found) return search;
  Echo e;
  e.delay_s = (found->at - direct_at) / s.rate_hz();
  e.delay_uncertainty_s = 0.1 / (weights.high_hz - weights.low_hz) + 0.05 / s.rate_hz();
  e.level_db = db_from_amplitude(std::abs(found->height / direct));
  e.level_uncertainty_db = expanded_u_db(std::abs(found->height), 2 * scatter) + 0.3 + 3 * (1 - found->flat);
  e.polarity = found->height * direct < 0 ? -1 : 1;
  search.strongest = e;
  return search;
}

}  // namespace linebench::measure::response
