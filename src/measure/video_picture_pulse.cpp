// video.k2t, video.pulse_bar
#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/video.hpp>
#include <numbers>

#include "video_interpolate.hpp"
#include "video_picture.hpp"

namespace linebench::measure {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

constexpr double most_reach_us = 5.0;  // how far from the pulse its echoes are looked for
constexpr double least_reach_t = 8;    // in T; below that the rating would miss what counts fully
constexpr double fine = 4;             // points per sample

double t_us(const VideoSetup& s) { return 1e-3 * standards::standard_of(s.lines).t_ns; }

// Room round a pulse that belongs to nothing else on the line.
struct Room {
  double centre_us = 0;
  double from_us = 0;
  double to_us = 0;
};
Room room_of(const Pulse& p, const LineLayout& l, const VideoSetup& s) {
  const standards::VideoStandard& st = standards::standard_of(s.lines);
  const double t = t_us(s);
  Room r{p.centre_us, std::max(p.centre_us - most_reach_us, st.active_start_us.nominal + 0.5),
         std::min(p.centre_us + most_reach_us, st.active_end_us() - 0.5)};
  const auto block = [&](double from, double to) {
    if (to < p.centre_us) r.from_us = std::max(r.from_us, to + 3 * t);
    if (from > p.centre_us) r.to_us = std::min(r.to_us, from - 3 * t);
  };
  for (const Pulse& q : l.pulses) {
    if (&q != &p) block(q.centre_us - 2 * t, q.centre_us + 2 * t);
  }
  for (const ModulatedPulse& q : l.modulated)
    block(q.centre_us - 1.1 * q.had_us, q.centre_us + 1.1 * q.had_us);
  for (const Packet& q : l.packets) block(q.from_us - 0.5, q.to_us + 0.5);
  for (const Slope& q : l.slopes) block(q.from_us - 0.8, q.to_us + 0.8);
  // Levels of their own; an echo of the pulse is shorter than these, one of the bar smaller.
  const Plateau* base = nullptr;
  for (const Plateau& q : l.plateaus) {
    if (base == nullptr ||
        std::min(std::abs(q.edge_from_us - p.centre_us), std::abs(q.edge_to_us - p.centre_us)) <
            std::min(std::abs(base->edge_from_us - p.centre_us), std::abs(base->edge_to_us - p.centre_us)))
      base = &q;
  }
  for (const Plateau& q : l.plateaus) {
    if (base == nullptr || q.width_us() < 1.2) continue;
    if (std::abs(q.luma_mv - base->luma_mv) > 0.12 * p.height_mv || q.chroma_mv > 0.1 * p.height_mv)
      block(q.edge_from_us - 0.1, q.edge_to_us + 0.1);
  }
  return r;
}

struct Shape {
  double base_mv = nan;
  double peak_mv = nan;  // over the base
  double peak_us = nan;
  double from_us = 0;
  double step_us = 1;
  std::vector<double> y;  // re the base and the peak
};

// Top of the pulse: a curve of fourth order through it, within 1e-4 of a sin^2 there.
void find_peak(Shape& s, double centre_us, double had_us) {
  Eigen::Matrix<double, 5, 5> n = Eigen::Matrix<double, 5, 5>::Zero();
  Eigen::Matrix<double, 5, 1> r = Eigen::Matrix<double, 5, 1>::Zero();
  const double half = 0.45 * had_us;
  for (std::size_t i = 0; i < s.y.size(); ++i) {
    const double u = (s.from_us + s.step_us * static_cast<double>(i) - centre_us) / half;
    if (std::abs(u) > 1) continue;
    Eigen::Matrix<double, 5, 1> row;
    row << 1, u, u * u, u * u * u, u * u * u * u;
    n += row * row.transpose();
    r += row * s.y[i];
  }
  const Eigen::Matrix<double, 5, 1> c = n.ldlt().solve(r);
  double best = -1e9;
  for (int k = -50; k <= 50; ++k) {
    const double u = 0.012 * k;
    const double y = c(0) + u * (c(1) + u * (c(2) + u * (c(3) + u * c(4))));
    if (y > best) {
      best = y;
      s.peak_us = centre_us + u * half;
    }
  }
  s.peak_mv = best;
}

double ideal_pulse(double t, double had_us) {
  const double c = std::cos(std::numbers::pi * t / (2 * had_us));
  return std::abs(t) < had_us ? c * c : 0.0;
}

// What samples this far apart make of an ideal pulse: it reaches a little beyond half of slow sample rates,
// and comes back from there as ripples of up to 1 % that are not the path's.
void take_out_sampling(Shape& s, const AveragedLine& a, double had_us) {
  std::vector<float> sampled(a.luma.size());
  for (std::size_t i = 0; i < sampled.size(); ++i) {
    const double t = a.from_us + a.step_us * static_cast<double>(i) - s.peak_us;
    sampled[i] = static_cast<float>(ideal_pulse(t, had_us));
  }
  std::vector<float> seen(s.y.size());
  interpolate(sampled, (s.from_us - a.from_us) / a.step_us, 1 / fine, seen);
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const double t = s.from_us + s.step_us * static_cast<double>(i) - s.peak_us;
    s.y[i] -= s.peak_mv * (static_cast<double>(seen[i]) - ideal_pulse(t, had_us));
  }
}

Shape shape_of(const AveragedLine& a, const Room& room, double had_us, double nominal_had_us) {
  Shape s;
  s.from_us = room.from_us;
  s.step_us = a.step_us / fine;
  const auto n = static_cast<std::size_t>((room.to_us - room.from_us) / s.step_us);
  std::vector<float> y(n);
  interpolate(a.trace().y, (room.from_us - a.from_us) / a.step_us, 1 / fine, y);
  s.y.assign(y.begin(), y.end());
  std::vector<double> away;
  for (std::size_t i = 0; i < n; ++i) {
    if (std::abs(s.from_us + s.step_us * static_cast<double>(i) - room.centre_us) > 2 * had_us)
      away.push_back(s.y[i]);
  }
  s.base_mv = dsp::median(std::move(away));
  for (double& v : s.y) v -= s.base_mv;
  find_peak(s, room.centre_us, had_us);
  take_out_sampling(s, a, nominal_had_us);
  find_peak(s, room.centre_us, had_us);
  return s;
}

// The largest lobe by the graticule of the 2T pulse: at 2T four times the rating is allowed, at 4T twice,
// from 8T on once, and between in proportion [J.61, from memory].
double rating(const Shape& s, double t) {
  double k = 0;
  for (std::size_t i = 0; i < s.y.size(); ++i) {
    const double away = std::abs(s.from_us + s.step_us * static_cast<double>(i) - s.peak_us) / t;
    if (away < 2) continue;
    k = std::max(k, std::abs(s.y[i]) * std::min(1.0, away / 8));
  }
  return k;
}

// Rating of an ideal pulse as sampled.
double sampling_rating(const AveragedLine& a, const Room& room, double had_us, double t) {
  Shape s;
  s.from_us = room.from_us;
  s.step_us = a.step_us / fine;
  s.y.assign(static_cast<std::size_t>((room.to_us - room.from_us) / s.step_us), 0.0);
  s.peak_us = room.centre_us;
  s.peak_mv = 1;
  take_out_sampling(s, a, had_us);
  return 100 * rating(s, t);
}

void push(Readings& out, const char* id, const std::optional<Estimate>& e, double floor,
          const std::string& remark, const char* what) {
  out.push_back(e ? number_reading(id, e->value, together(e->u, floor), remark)
                  : unmeasurable(id, fmt::format("too few lines of the {}; take a longer capture", what)));
}

void k2t(const KnownLines& known, const VideoSetup& setup, const KnownLine* k, Readings& out) {
  if (k == nullptr) {
    const char* reason = "no 2T pulse in the picture; send a 2T pulse and bar";
    out.push_back(unmeasurable("video.k2t", reason));
    out.push_back(unmeasurable("video.pulse_bar", reason));
    return;
  }
  const double t = t_us(setup);
  const Replicates& r = known.replicates_of(*k);
  // The pulse with most room round it.
  Room room;
  double had = 0;
  for (const Pulse& p : k->layout.pulses) {
    const Room here = room_of(p, k->layout, setup);
    const auto reach = [](const Room& x) { return std::min(x.centre_us - x.from_us, x.to_us - x.centre_us); };
    if (had == 0 || reach(here) > reach(room)) {
      room = here;
      had = p.had_us;
    }
  }
  const std::string where = k->content->field_interval ? "on a test line; " : "";
  if (std::min(room.centre_us - room.from_us, room.to_us - room.centre_us) < least_reach_t * t) {
    out.push_back(unmeasurable("video.k2t",
                               "the 2T pulse stands too near to other parts of the line; send a 2T "
                               "pulse with 1 us of black on either side"));
  } else {
    // The samples round the pulse and where it stands; the largest lobe is looked for in the figure.
    Shape frame;
    const Values v = values_of(r, [&](const AveragedLine& a) {
      frame = shape_of(a, room, had, 2 * t);
      std::vector<double> x = frame.y;
      for (double& y : x) y /= frame.peak_mv;
      x.push_back(frame.peak_us);
      return x;
    });
    const auto e = figure(v, [&](const std::vector<double>& x) {
      Shape s{0, 1, x.back(), frame.from_us, frame.step_us, {x.begin(), x.end() - 1}};
      return 100 * rating(s, t);
    });
    // A filter before the recorder's converter may leave of an ideal pulse as little as sampling does.
    push(out, "video.k2t", e ? std::optional(Estimate{std::max(0.0, e->value), e->u}) : e,
         together(0.05, sampling_rating(r.all, room, 2 * t, t)),
         fmt::format("{}lobes from {:.1f} us before to {:.1f} us after the pulse", where,
                     room.centre_us - room.from_us, room.to_us - room.centre_us),
         "2T pulse");
  }
  const KnownLine* bar = k->bar ? k : known.find([](const KnownLine& x) { return x.bar.has_value(); });
  if (bar == nullptr) {
    out.push_back(
        unmeasurable("video.pulse_bar", "no white bar beside the 2T pulse; send a 2T pulse and bar"));
    return;
  }
  const auto height =
      value_at(values_of(r,
                         [&](const AveragedLine& a) {
                           const double p = shape_of(a, room, had, 2 * t).peak_mv;
                           return std::vector<double>{bar == k ? 100 * p / bar_height_mv(a, *k->bar) : p};
                         }),
               0);
  std::optional<Estimate> ratio = height;
  if (height && bar != k) {
    const auto b = value_at(
        values_of(known.replicates_of(*bar),
                  [&](const AveragedLine& a) { return std::vector<double>{bar_height_mv(a, *bar->bar)}; }),
        0);
    ratio = std::nullopt;
    if (b) {
      const double x = 100 * height->value / b->value;
      ratio = Estimate{x, x * std::hypot(height->u / height->value, b->u / b->value)};
    }
  }
  const double p = ratio ? ratio->value / 100 : 1;
  // What line sync's noise took off the top is put right to a third of it; most of the pulse lies below the
  // frequency of its width.
  const double smeared = 30 * r.all.smeared(0.35e6 / had);
  push(out, "video.pulse_bar", ratio, together(0.1 + smeared, sampling_rating(r.all, room, 2 * t, t)),
       fmt::format("{}K of it {:.1f} %", where, 100 * std::abs(1 - p) / (4 * p)), "pulse and bar");
}

}  // namespace

void read_pulse(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  const KnownLine* pulse = known.find([](const KnownLine& x) { return !x.layout.pulses.empty() && x.bar; });
  if (pulse == nullptr) pulse = known.find([](const KnownLine& x) { return !x.layout.pulses.empty(); });
  k2t(known, setup, pulse, out);
}

}  // namespace linebench::measure
