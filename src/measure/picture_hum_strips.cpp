#include "picture_hum_strips.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double white = 235;
constexpr double black = 16;

double dot(const FieldProfile& a, const FieldProfile& b) {
  double s = 0;
  for (std::size_t k = 0; k < hum_shapes; ++k) s += a.c[k] * b.c[k];
  return s;
}

// What the fit says each field holds.
std::vector<FieldProfile> model(const std::vector<StripProfiles>& fields, const HumFit& fit,
                                const HumProblem& problem) {
  std::array<std::array<FieldShapes::Turning, hum_harmonics>, 2> e{};
  for (std::size_t q = 0; q < 2; ++q)
    for (std::size_t j = 0; j < hum_harmonics; ++j)
      e[q][j] = (*problem.shapes)[q].turning(fit.base_hz * static_cast<double>(j + 1));
  const auto shown = [&](std::size_t j) {
    const double turns = static_cast<double>(j + 1) * fit.base_hz * problem.difference_s;
    return problem.difference_s > 0 ? 1.0 - std::polar(1.0, -2 * std::numbers::pi * turns)
                                    : std::complex<double>(1.0);
  };
  std::vector<FieldProfile> out;
  out.reserve(fields.size());
  for (const StripProfiles& f : fields) {
    FieldProfile p{f.t, f.parity, {}};
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      const double turns = std::fmod(static_cast<double>(j + 1) * fit.base_hz * f.t, 1.0);
      const std::complex<double> turn = shown(j) * fit.a[j] * std::polar(1.0, 2 * std::numbers::pi * turns);
      for (std::size_t k = 0; k < hum_shapes; ++k)
        p.c[k] += (turn * e[static_cast<std::size_t>(f.parity)][j][k]).real();
    }
    out.push_back(p);
  }
  take_out_standing(out, problem);
  return out;
}

// How much of what is expected the data hold, part of the time by part; and the power of what is expected
// there.
struct Parts {
  static constexpr std::size_t count = 6;
  std::array<double, count> product{}, power{};
};
Parts in_parts(std::vector<FieldProfile> data, const std::vector<FieldProfile>& expected,
               const HumProblem& problem) {
  take_out_standing(data, problem);
  Parts p;
  for (std::size_t i = 0; i < data.size(); ++i) {
    const std::size_t part = i * Parts::count / data.size();
    p.product[part] += dot(data[i], expected[i]);
    p.power[part] += dot(expected[i], expected[i]);
  }
  return p;
}

struct Line {
  double at_black = 0, slope = 0, rest = 0;  // slope from black to white
};
Line straight(const std::vector<std::array<double, 2>>& points) {
  double sx = 0, sy = 0, sxx = 0, sxy = 0;
  const auto n = static_cast<double>(points.size());
  for (const auto& [x, y] : points) sx += x, sy += y, sxx += x * x, sxy += x * y;
  Line l;
  const double spread = sxx - sx * sx / n;
  l.slope = spread > 1e-3 ? (sxy - sx * sy / n) / spread : 0;
  l.at_black = (sy - l.slope * sx) / n;
  for (const auto& [x, y] : points) l.rest = std::max(l.rest, std::abs(y - l.at_black - l.slope * x));
  return l;
}

}  // namespace

std::vector<FieldProfile> weighed_mean(const std::vector<StripProfiles>& fields,
                                       const std::array<double, hum_strips>& weight) {
  double sum = 0;
  for (const double w : weight) sum += w;
  std::vector<FieldProfile> out;
  out.reserve(fields.size());
  for (const StripProfiles& f : fields) {
    FieldProfile p{f.t, f.parity, {}};
    for (std::size_t n = 0; n < hum_strips; ++n)
      for (std::size_t k = 0; k < hum_shapes; ++k) p.c[k] += weight[n] / sum * static_cast<double>(f.c[n][k]);
    out.push_back(p);
  }
  return out;
}

std::array<double, hum_strips> quiet_weights(const std::vector<StripProfiles>& fields) {
  std::array<double, hum_strips> change{};
  std::array<const StripProfiles*, 2> before{};
  for (const StripProfiles& f : fields) {
    const StripProfiles*& b = before[static_cast<std::size_t>(f.parity)];
    if (b != nullptr) {
      for (std::size_t n = 0; n < hum_strips; ++n)
        for (std::size_t k = 1; k < hum_shapes; ++k) {
          const double d = static_cast<double>(f.c[n][k] - b->c[n][k]);
          change[n] += d * d;
        }
    }
    b = &f;
  }
  // A strip without level ground carries nothing and does not change at all.
  double least = 0;
  for (const double c : change)
    if (c > 0) least = least > 0 ? std::min(least, c) : c;
  std::array<double, hum_strips> weight{};
  for (std::size_t n = 0; n < hum_strips; ++n) {
    weight[n] = change[n] > 0 ? least / change[n] : least > 0 ? 0 : 1;
    if (change[n] > 0 && change[n] < 1.5 * least) weight[n] = 1;  // alike: the plain mean
  }
  return weight;
}

StripView compare_strips(const std::vector<StripProfiles>& fields, const HumFit& fit,
                         const HumProblem& problem, const std::array<double, hum_strips>& level) {
  StripView view;
  view.weight.fill(1);
  const std::vector<FieldProfile> expected = model(fields, fit, problem);
  std::array<double, hum_strips> gain{}, gain_v{};
  std::vector<std::size_t> used;
  std::vector<double> sorted;
  for (std::size_t n = 0; n < hum_strips; ++n) {
    view.weight[n] = std::isfinite(level[n]) ? 1 : 0;
    if (!std::isfinite(level[n])) continue;
    std::array<double, hum_strips> only{};
    only[n] = 1;
    const auto [product, power] = in_parts(weighed_mean(fields, only), expected, problem);
    double p = 0, w = 0;
    for (std::size_t k = 0; k < Parts::count; ++k) p += product[k], w += power[k];
    if (!(w > 0)) return view;
    gain[n] = p / w;
    for (std::size_t k = 0; k < Parts::count; ++k)
      gain_v[n] += std::pow((product[k] - gain[n] * power[k]) / w, 2) * Parts::count / (Parts::count - 1);
    used.push_back(n);
    sorted.push_back(gain[n]);
  }
  if (used.size() < 3) return view;
  std::sort(sorted.begin(), sorted.end());
  view.least = sorted.front();
  view.most = sorted.back();
  const double middle = sorted[sorted.size() / 2];
  const auto tolerance = [&](std::size_t n) {
    return std::max(4 * std::sqrt(gain_v[n]),
                    0.03 * std::abs(middle) + problem.rounding / std::max(0.1, fit.pp));
  };
  std::size_t agree = 0;
  for (const std::size_t n : used) agree += std::abs(gain[n] - middle) < tolerance(n) ? 1 : 0;
  if (agree == used.size()) return view;
  view.alike = false;
  // Sitting on the gain it grows in a straight line with the level.
  std::vector<std::array<double, 2>> points;
  double worst = 0;
  for (const std::size_t n : used) {
    points.push_back({(level[n] - black) / (white - black), gain[n]});
    worst = std::max(worst, tolerance(n));
  }
  const Line line = straight(points);
  if (line.rest < worst && line.slope > 3 * worst) {
    view.with_level = true;
    view.scale = line.at_black + line.slope;
    view.scale_u = std::max(line.rest, worst / 2);
    return view;
  }
  for (const std::size_t n : used) view.weight[n] = std::abs(gain[n] - middle) < tolerance(n) ? 1 : 0;
  view.enough = 2 * agree >= used.size();
  return view;
}

double unsteadiness(const std::vector<StripProfiles>& fields, const std::array<double, hum_strips>& weight,
                    const HumFit& fit, const HumProblem& problem) {
  const auto [product, power] = in_parts(weighed_mean(fields, weight), model(fields, fit, problem), problem);
  double all = 0;
  for (const double w : power) all += w;
  double most = 0;
  for (std::size_t k = 0; k < Parts::count; ++k) {
    // A part in which slow bars hardly move shows nothing either way.
    if (power[k] > 0.3 * all / Parts::count) most = std::max(most, std::abs(product[k] / power[k] - 1));
  }
  return most;
}

}  // namespace linebench::measure
