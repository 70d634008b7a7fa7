#include "picture_shift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

struct Sums {
  float product, difference, squares;
};

// n a multiple of eight.
LINEBENCH_VECTORISED void compare(const float* row, const float* value, const float* slope, int n,
                                  Sums& out) {
  // Eight running sums, so that the loop needs no order of additions.
  dsp::Eight p{}, d{}, q{};
  for (int i = 0; i < n; i += 8) {
    dsp::Eight e, v, s;
    LINEBENCH_LOAD_EIGHT(e, row + i);
    LINEBENCH_LOAD_EIGHT(v, value + i);
    LINEBENCH_LOAD_EIGHT(s, slope + i);
    e = v - e;
    p += e * s;
    d += e;
    q += e * e;
  }
  Sums s{0, 0, 0};
  for (int k = 0; k < 8; ++k) {
    s.product += p[k];
    s.difference += d[k];
    s.squares += q[k];
  }
  out = s;
}

// Interpolation that keeps edges as sharp as a grabber gives them; a cubic would blunt them and make small
// shifts look larger. sinc(x) sinc(x / 6), and its slope.
constexpr int taps = 6;  // on either side
double sinc(double x) {
  const double a = std::numbers::pi * x;
  return std::abs(a) < 1e-9 ? 1.0 : std::sin(a) / a;
}
double kernel(double x) { return std::abs(x) >= taps ? 0.0 : sinc(x) * sinc(x / taps); }
double kernel_slope(double x) { return (kernel(x + 1e-4) - kernel(x - 1e-4)) / 2e-4; }

}  // namespace

ShiftReference::ShiftReference(std::span<const double> line, int first, int last, int reach,
                               double line_noise)
    : first_(first), last_(first + std::max(0, last - first) / 8 * 8), reach_(reach) {
  if (last_ == first_) return;
  const int w = static_cast<int>(line.size());
  const auto p = [&](int k) { return line[static_cast<std::size_t>(std::clamp(k, 0, w - 1))]; };
  double slope_noise = 0;  // power of unit noise in the slope at whole px
  for (int part = 0; part < parts; ++part) {
    // The line moved right by part/8, on columns first-reach .. last+reach.
    Plane plane;
    const double back = static_cast<double>(part) / parts;
    std::array<double, 2 * taps + 1> weight{}, slope{};
    double whole = 0, whole_slope = 0;
    for (int k = -taps; k <= taps; ++k) {
      whole += weight[static_cast<std::size_t>(k + taps)] = kernel(-back - k);
      whole_slope += slope[static_cast<std::size_t>(k + taps)] = kernel_slope(-back - k);
    }
    // Between samples the kernel's sum is not quite one: a level line would seem to slope there.
    for (std::size_t k = 0; k < slope.size(); ++k) {
      slope[k] = (slope[k] - weight[k] * whole_slope / whole) / whole;
      weight[k] /= whole;
      if (part == 0) slope_noise += slope[k] * slope[k];
    }
    for (int x = first_ - reach_ - 1; x < last_ + reach_ + 1; ++x) {
      double v = 0, d = 0;
      for (int k = -taps; k <= taps; ++k) {
        v += weight[static_cast<std::size_t>(k + taps)] * p(x + k);
        d += slope[static_cast<std::size_t>(k + taps)] * p(x + k);
      }
      plane.value.push_back(static_cast<float>(v));
      plane.slope.push_back(static_cast<float>(d));
    }
    planes_.push_back(std::move(plane));
  }
  const auto origin = static_cast<std::size_t>(reach_ + 1);
  const auto n = static_cast<std::size_t>(last_ - first_);
  for (Plane& plane : planes_) {
    double mean = 0;
    for (std::size_t i = 0; i < n; ++i) mean += static_cast<double>(plane.slope[origin + i]);
    mean /= static_cast<double>(n);
    double energy = 0;
    for (float& v : plane.slope) v -= static_cast<float>(mean);
    for (std::size_t i = 0; i < n; ++i) energy += std::pow(static_cast<double>(plane.slope[origin + i]), 2);
    const double of_noise = slope_noise * line_noise * line_noise * static_cast<double>(n);
    plane.energy = static_cast<float>(std::max(1.0, energy - of_noise));
    plane.seen = static_cast<float>(energy);
  }
  find_edges();
}

// From one quiet stretch to the next.
void ShiftReference::find_edges() {
  constexpr int some = 8;
  const float* slope = planes_[0].slope.data() + reach_ + 1;
  const int n = last_ - first_;
  const double quiet = 0.1 * static_cast<double>(planes_[0].seen) * some / n;
  Edge now{0, 0};
  bool holds = false;
  for (int at = 0; at < n; at += some) {
    double energy = 0;
    for (int i = at; i < at + some; ++i) energy += std::pow(static_cast<double>(slope[i]), 2);
    now.to = at + some;
    if (energy > quiet) {
      holds = true;
    } else if (holds) {
      edges_.push_back(now);
      now = {now.to, now.to};
      holds = false;
    }
  }
}

bool ShiftReference::usable(double noise, double least_energy) const {
  return energy() > least_energy && std::sqrt((noise * noise + 0.083) / energy()) < 0.5;
}

ShiftReference::Moved ShiftReference::moved(int eighths) const {
  const int whole = static_cast<int>(std::floor(static_cast<double>(eighths) / parts));
  const Plane& plane = planes_[static_cast<std::size_t>(eighths - parts * whole)];
  const int origin = reach_ + 1 - whole;
  return {plane.value.data() + origin, plane.slope.data() + origin, plane.energy, whole};
}

ShiftReference::Match ShiftReference::match(std::span<const float> row, int eighths) const {
  const Moved line = moved(eighths);
  const auto n = static_cast<int>(row.size());
  Sums s{};
  compare(row.data(), line.value, line.slope, n, s);
  Match m;
  // A row moved right by d is value(x - d) = value - d slope: the error's slope part is d.
  // The constant between the two goes by the slope's zero mean; its square is taken out of the rest.
  const double energy = static_cast<double>(line.energy);
  m.step = static_cast<double>(s.product) / energy;
  m.before = std::max(0.0, static_cast<double>(s.squares) -
                               static_cast<double>(s.difference) * static_cast<double>(s.difference) / n);
  m.rest = std::max(0.0, m.before - m.step * m.step * energy);
  return m;
}

int ShiftReference::coarse(std::span<const float> row) const {
  double best = 1e30;
  int at = 0;
  for (int d = -reach_; d <= reach_; ++d) {
    const double cost = match(row, parts * d).before * (1 + 0.004 * std::abs(d));
    if (cost < best) best = cost, at = d;
  }
  return at;
}

// Puts the line itself where a few samples stand far off it, clear of the edges: those there may be off since
// the row is not yet in its place. @return whether some did
bool ShiftReference::without_specks(std::span<float> row, int eighths, double noise) const {
  constexpr double most_share = 0.1;
  constexpr float edge = 2;  // codes a px
  const Moved line = moved(eighths);
  std::vector<float> apart(row.size());
  for (std::size_t i = 0; i < row.size(); ++i) apart[i] = row[i] - line.value[i];
  const float level = dsp::quantile(apart, 0.5);
  const auto far = static_cast<float>(std::max(12.0, 6 * noise));
  std::size_t found = 0;
  for (std::size_t i = 0; i < row.size(); ++i) {
    const float off = row[i] - line.value[i] - level;
    if (std::abs(off) <= far || std::abs(line.slope[i]) > edge) continue;
    row[i] -= off;
    ++found;
  }
  return found > 0 && static_cast<double>(found) < most_share * static_cast<double>(row.size());
}

RowShift ShiftReference::find(const std::uint8_t* codes, double noise, bool far) const {
  RowShift r;
  const double n = last_ - first_;
  // Once: it is compared up to a hundred times.
  std::vector<float> row(codes + first_, codes + last_);
  const double quiet = n * (1.6 * (noise * noise + 0.083) + 0.15);
  const int limit = parts * reach_;
  int at = 0;
  Match m = match(row, at);
  const double start = m.before;
  const auto refine = [&](int rounds) {
    int last = 0;
    for (int i = 0; i < rounds; ++i) {
      const int move = static_cast<int>(std::lround(m.step * parts));
      if (move == 0) break;
      const int next = std::clamp(at + std::clamp(move, -12, 12), -limit + 1, limit - 1);
      if (next == at || move == -last) break;  // at the end of the reach, or to and fro between two parts
      last = move;
      at = next;
      m = match(row, at);
    }
  };
  refine(far ? 3 * reach_ : 5);  // in steps of 1.5 px at most
  // A long way may end in a hollow that is not the deepest.
  if (far && m.rest > quiet && (m.rest > 0.3 * start || std::abs(at) > 2 * parts)) {
    const int whole = coarse(row);
    const Match c = match(row, parts * whole);
    if (c.before < m.before) {
      at = std::clamp(parts * whole, -limit + 1, limit - 1);
      m = match(row, at);
      refine(12);
    }
  }
  // Specks that lie on the row would pull the edge they are next to.
  if (m.rest > 1.5 * quiet && without_specks(row, at, noise)) {
    m = match(row, at);
    refine(12);
  }
  r.rest = m.rest / n;
  r.px = static_cast<double>(at) / parts + std::clamp(m.step, -0.25, 0.25);
  const auto& plane = planes_[0];
  // A row's noise meets the line's own noise as well as its edges.
  r.variance = static_cast<double>(plane.seen) / std::pow(energy(), 2);
  // What is left must be noise, or small beside what the shift explained or the line holds.
  r.valid = m.rest < 2.5 * quiet || m.rest < 0.2 * start || m.rest < 0.05 * energy();
  r.sure = m.rest < 1.2 * quiet + 0.02 * energy();
  return r;
}

double ShiftReference::by_tone(double radians_per_px) const {
  std::complex<double> sum = 0;
  for (int i = 0; i < last_ - first_; ++i)
    sum += static_cast<double>(planes_[0].slope[static_cast<std::size_t>(reach_ + 1 + i)]) *
           std::polar(1.0, radians_per_px * i);
  return 0.5 * std::norm(sum) / (energy() * energy());
}

// Each edge tells the shift by itself; by how they differ the error of the shift all together tell is known,
// whatever makes it [MacKinnon and White 1985, HC2].
std::optional<double> ShiftReference::disagreement(const std::uint8_t* codes, double px) const {
  const auto eighths = static_cast<int>(std::lround(px * parts));
  const Moved line = moved(eighths);
  struct Told {
    double product = 0, energy = 0;
  };
  std::vector<Told> told;
  Told all;
  for (const Edge& edge : edges_) {
    const int from = std::max(0, edge.from + line.whole);
    const int to = std::min(last_ - first_, edge.to + line.whole);
    if (to - from < 8) continue;
    double e = 0, s = 0, es = 0, ss = 0;
    for (int i = from; i < to; ++i) {
      const auto error = static_cast<double>(line.value[i] - static_cast<float>(codes[first_ + i]));
      const auto v = static_cast<double>(line.slope[i]);
      e += error, s += v, es += error * v, ss += v * v;
    }
    told.push_back({es - e * s / (to - from), ss - s * s / (to - from)});
    all.product += told.back().product;
    all.energy += told.back().energy;
  }
  if (told.size() < 3 || !(all.energy > 0)) return std::nullopt;
  double sum = 0;
  for (const Told& t : told)
    sum += std::pow(t.product - t.energy * all.product / all.energy, 2) /
           std::max(0.1, 1 - t.energy / all.energy);
  return sum / (all.energy * all.energy);
}

}  // namespace linebench::measure
