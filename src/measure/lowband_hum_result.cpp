// What the looks for hum say together: its size with what is hidden and what stands above the highest
// multiple.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "lowband_hum.hpp"

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;

// Of the coupling's high-pass corners together.
double gain_of(double coupling, double hz) { return 1.0 / std::hypot(1.0, coupling / (2 * pi * hz)); }

}  // namespace

// The waveform over one period with the coupling's loss and lead undone.
double LowbandHum::peak_to_peak(const Fit& f, double coupling, double& variance) {
  const auto gain = [&](int m) { return gain_of(coupling, m * f.hz); };
  double high = -1e300;
  double low = 1e300;
  double high_at = 0;
  double low_at = 0;
  constexpr int points = 1440;
  for (int i = 0; i < points; ++i) {
    const double p = 2 * pi * i / points;
    double y = 0;
    for (int m = 1; m <= harmonics; ++m) {
      const auto h = static_cast<std::size_t>(m - 1);
      if (f.u[h] <= 0) continue;
      const double lead = std::atan2(coupling, 2 * pi * m * f.hz);
      y += (f.c[h] * std::cos(m * p - lead) + f.s[h] * std::sin(m * p - lead)) / gain(m);
    }
    if (y > high) high = y, high_at = p;
    if (y < low) low = y, low_at = p;
  }
  variance = 0.0625 * f.floor * f.floor;
  double quiet = 0;  // what those above the highest found may add unseen, peak to peak
  int top = 1;
  int looked = 1;
  for (int m = 1; m <= harmonics; ++m) {
    const auto h = static_cast<std::size_t>(m - 1);
    const double chord = 2 * std::sin(0.5 * m * (high_at - low_at));
    variance += std::pow(f.u[h] / gain(m) * chord, 2);
    if (f.u[h] > 0 || f.noise[h] > 0) looked = m;
    if (f.u[h] > 0) top = m, quiet = 0;
    quiet += 2 * clearly * f.noise[h] / gain(m);
  }
  // What stands above the highest multiple found. A wave with a corner in it (a rectifier's) falls off by the
  // square of the multiple's number and adds up at the corner: to a quarter of that number times the last
  // (the sum over every other multiple). Those looked for and not found may each be as large as noise hides:
  // a corner adds them up, too.
  if (top > 1) {
    double corner = 0;
    for (int m = std::max(2, 3 * top / 4); m <= top; ++m) {
      const auto h = static_cast<std::size_t>(m - 1);
      if (f.u[h] > 0) corner = std::max(corner, 0.25 * m * 2 * std::hypot(f.c[h], f.s[h]) / gain(m));
    }
    const bool end = top + 2 > looked;
    const double tail = end ? corner : std::min(corner, quiet);
    variance += 0.25 * tail * tail;
  }
  return high - low;
}

namespace {

// Harmonics of the supply's own voltage re its fundamental, at most (EN 50160, from memory).
double of_supply(int m) {
  if (m % 2 == 1 && m <= 13) return 0.06;
  return m < 6 ? 0.02 : 0.005;
}

// What a hidden multiple may have, by those of its kind (even, odd) beside it: twice the largest, four times
// for the second and third, which stand above theirs; and what the supply's own voltage may have of it.
void bound_hidden(LowbandHum::Result& r) {
  double sum = 0;
  for (int m = 2; m <= LowbandHum::harmonics; ++m) {
    const auto h = static_cast<std::size_t>(m - 1);
    if (!r.hidden[h]) continue;
    double beside = 0;
    for (const int n : {m - 2, m + 2, m + 4}) {
      if (n < 1 || n > LowbandHum::harmonics) continue;
      const auto i = static_cast<std::size_t>(n - 1);
      beside = std::max({beside, r.pp_of[i] + r.pp_of_expanded[i], r.unseen_pp[i]});
    }
    r.hidden_pp[h] = std::max((m < 4 ? 4 : 2) * beside, of_supply(m) * r.pp_of[0]);
    sum += r.hidden_pp[h];
  }
  r.whole = !r.hidden[0] && sum < 0.5 * r.pp;
  r.pp_expanded = std::hypot(r.pp_expanded, sum);
}

}  // namespace

LowbandHum::Result LowbandHum::put_together(std::span<const Fit> fits, double coupling) {
  Result r;
  double found = 0;
  double weight = 0;
  double variance = 0;
  double looked = 0;
  for (const Fit& f : fits) {
    if (f.seconds <= 0) continue;
    r.measured = true;
    r.seconds = std::max(r.seconds, f.seconds);
    r.field_hz = f.field_hz;
    r.beside_pp = std::max(r.beside_pp, f.beside_pp);
    r.least_pp = std::max({r.least_pp, f.least, above_floor * f.floor});
    looked += f.seconds;
    if (!f.found) continue;
    const auto gain = [&](int m) { return gain_of(coupling, m * f.hz); };
    double v = 0;
    const double pp = peak_to_peak(f, coupling, v);
    if (pp < above_floor * f.floor) continue;
    found += f.seconds;
    r.pp += f.seconds * pp;
    variance += f.seconds * f.seconds * v;
    // What the picture leaves turns the hum's phase by its share of the hum, at worst from end to end.
    const double turned = 0.25 * f.floor / pp;
    const double hz_variance = f.hz_u * f.hz_u + std::pow(std::sqrt(12.0) * turned / (2 * pi * f.seconds), 2);
    r.hz += f.hz / hz_variance;
    weight += 1 / hz_variance;
    for (int m = 1; m <= harmonics; ++m) {
      const auto h = static_cast<std::size_t>(m - 1);
      r.hidden[h] = r.hidden[h] || f.hidden[h];
      // Amplitude below which it was taken for noise.
      r.unseen_pp[h] = std::max(r.unseen_pp[h], 2 * clearly * f.noise[h] / gain(m));
      if (f.u[h] <= 0) continue;
      r.pp_of[h] += f.seconds * 2 * std::hypot(f.c[h], f.s[h]) / gain(m);
      r.pp_of_expanded[h] += std::pow(f.seconds * 2 * f.u[h] / gain(m), 2);
    }
  }
  if (r.seconds > 0) r.blind_hz = 1 / r.seconds;
  r.found = found > 0.5 * looked;
  if (!r.found) return r;
  r.pp /= found;
  for (std::size_t h = 0; h < harmonics; ++h) {
    r.pp_of[h] /= found;
    r.pp_of_expanded[h] = 2 * std::sqrt(r.pp_of_expanded[h]) / found;
  }
  r.pp_expanded = 2 * std::sqrt(variance) / found;
  bound_hidden(r);
  r.hz /= weight;
  r.hz_expanded = 2 / std::sqrt(weight);
  return r;
}

}  // namespace linebench::measure
