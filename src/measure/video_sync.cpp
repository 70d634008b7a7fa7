#include "video_sync.hpp"

#include <fmt/format.h>

#include <cmath>
#include <limits>
#include <linebench/standards/video.hpp>

namespace linebench::measure {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double least_rate_for_edges_hz = 10e6;  // below, an edge of 140 ns lies between two samples

double tip_of(const Trace& t) { return t.mean(1.0, 3.8); }

// A negative pulse that begins near 0: its 50 % points.
double leading(const Trace& t, double tip) { return t.crossing(0.5 * tip, -0.9, 1.2); }
double trailing(const Trace& t, double tip, double earliest, double latest) {
  return t.crossing(0.5 * tip, earliest, latest);
}
double rise(const Trace& t) {
  const double tip = tip_of(t);
  const double middle = leading(t, tip);
  return t.crossing(0.9 * tip, middle, middle + 1.0) - t.crossing(0.1 * tip, middle, middle - 1.0);
}
double line_width(const Trace& t) {
  const double tip = tip_of(t);
  return trailing(t, tip, 2.0, 7.5) - leading(t, tip);
}

void push(Readings& out, const char* id, const std::optional<Estimate>& e, double floor,
          const std::string& reason, const std::string& remark = {}) {
  if (e) {
    out.push_back(number_reading(id, e->value, together(e->u, floor), remark));
  } else {
    out.push_back(unmeasurable(id, reason));
  }
}

constexpr double least_full_lines = 24;

// Timing left over after interpolation at this rate, us: a fiftieth of a sample, as tests on known waveforms
// show.
double timing_floor(double rate_hz) { return 0.02e6 / rate_hz + 0.0005; }

}  // namespace

SyncMeter::SyncMeter(const VideoSetup& setup)
    : active_from_us_(standards::standard_of(setup.lines).active_start_us.nominal),
      front_porch_us_(standards::standard_of(setup.lines).front_porch_us.nominal),
      blanking_(-1.2, 8.0, setup.rate_hz),
      picture_end_(-4.6, 0.5, setup.rate_hz),
      early_end_(-4.6, 0.5, setup.rate_hz),
      picture_start_(7.9, active_from_us_ + 3.4, setup.rate_hz) {}

void SyncMeter::line(const LineView& v) {
  if (v.kind != LineKind::Picture || !v.sync_found || !v.covers(-4.9, 14.5)) return;
  blanking_.add(v);
  edge_noise2_ += v.edge_noise * v.edge_noise;
  // A picture's edge can be timed where the picture is bright and even next to it: brighter than noise makes
  // black, or the lines it lifts would be picked out.
  const double level_noise = v.setup->noise_mv / std::sqrt(v.samples_per_us());
  const double least = std::max(
      0.055 * v.setup->gain() * standards::standard_of(v.setup->lines).white_mv.nominal, 6 * level_noise);
  const double e1 = v.flat_level(-front_porch_us_ - 2.6, -front_porch_us_ - 1.4);
  const double e2 = v.flat_level(-front_porch_us_ - 1.6, -front_porch_us_ - 0.4);
  const double even = 0.15 + level_noise * 3 / std::max(least, e1);
  if (e1 > least && std::abs(e2 - e1) < even * e1) {
    // Pictures may end before blanking begins, never after it.
    const bool to_the_end = v.level(-front_porch_us_ - 0.35, -front_porch_us_ - 0.15) > 0.5 * e1;
    (to_the_end ? picture_end_ : early_end_).add(v, 0, e1, e1 * e1);
  }
  const double s1 = v.flat_level(active_from_us_ + 0.4, active_from_us_ + 1.6);
  const double s2 = v.flat_level(active_from_us_ + 1.4, active_from_us_ + 2.6);
  const double even_start = 0.15 + level_noise * 3 / std::max(least, s1);
  if (s1 > least && std::abs(s2 - s1) < even_start * s1) picture_start_.add(v, 0, s1, s1 * s1);
}

double SyncMeter::leading_us() const {
  const Trace t = blanking_.mean();
  return t.empty() ? nan : leading(t, tip_of(t));
}

std::optional<Estimate> SyncMeter::trailing_us() const {
  return blanking_.read([](const Trace& t) { return trailing(t, tip_of(t), 2.0, 7.5); });
}

bool SyncMeter::picture_ends_early() const { return picture_end_.count() < least_full_lines; }

void SyncMeter::finish(const VideoSetup& setup, Readings& out) {
  const std::string few = "too few picture lines with sync; take at least one field (20 ms)";
  const auto amplitude = blanking_.read([](const Trace& t) { return -tip_of(t); });
  const double level_floor =
      amplitude ? together(0.0008 * amplitude->value, setup.wander_of(blanking_.count())) : 0;
  push(out, "video.sync.amplitude", amplitude, level_floor, few);
  const double floor = timing_floor(setup.rate_hz);
  const double nominal_sync = -standards::standard_of(setup.lines).sync_mv.nominal;
  if (amplitude) {
    const double percent = 100 / nominal_sync;
    out.push_back(number_reading("video.gain", amplitude->value * percent,
                                 together(amplitude->u, level_floor) * percent,
                                 "from sync; compressed or restored sync reads otherwise than the picture"));
  } else {
    out.push_back(unmeasurable("video.gain", few));
  }
  push(out, "video.sync.width", blanking_.read(line_width), floor, few);
  const auto edge = blanking_.read(rise);
  if (setup.rate_hz < least_rate_for_edges_hz) {
    out.push_back(unmeasurable(
        "video.sync.rise",
        fmt::format("{:.1f} MS/s is too slow to see an edge of 0.14 us; take the capture at 10 MS/s "
                    "or more",
                    setup.rate_hz * 1e-6)));
  } else if (!edge) {
    out.push_back(unmeasurable("video.sync.rise", few));
  } else {
    // Lines laid over each other with a scatter s widen a 10 to 90 % time to sqrt(t^2 + (2.56 s)^2).
    const double scatter =
        1e6 / setup.rate_hz * std::sqrt(edge_noise2_ / std::max(1.0, blanking_.count())) * 0.3;
    const double t = edge->value;
    // A tone that moves the edges does the same, and is not taken out.
    const double moved = setup.sync_mv > 0 ? setup.wander_mv * t / (0.8 * setup.sync_mv) : 0.0;
    const double by_tone = t - std::sqrt(std::max(0.25 * t * t, t * t - std::pow(2.56 * moved, 2)));
    const double narrow = std::sqrt(std::max(0.25 * t * t, t * t - std::pow(2.56 * scatter, 2)));
    out.push_back(number_reading(
        "video.sync.rise", 1e3 * narrow,
        1e3 * together(together(edge->u, 2 * by_tone), together(3 * floor, 0.7 * (t - narrow)))));
  }
  porches(setup, out);
}

void SyncMeter::porches(const VideoSetup& setup, Readings& out) const {
  const double floor = timing_floor(setup.rate_hz);
  const Trace all = blanking_.mean();
  const double lead = all.empty() ? nan : leading(all, tip_of(all));
  const double trail = all.empty() ? nan : trailing(all, tip_of(all), 2.0, 7.5);
  const double porch = front_porch_us_;
  const LineStack& ends = picture_ends_early() ? early_end_ : picture_end_;
  const auto end = ends.read([&](const Trace& t) {
    const double top = t.mean(-porch - 2.2, -porch - 0.6);
    return lead - t.crossing(0.5 * top, -porch - 0.6, 0.2);
  });
  push(out, "video.front_porch", end, floor,
       "the picture is black at its right edge; send one that is bright there, e.g. a white field");
  const double start = active_from_us_;
  const auto begin = picture_start_.read([&](const Trace& t) {
    const double top = t.mean(start + 0.6, start + 2.2);
    return t.crossing(0.5 * top, start + 0.6, 8.1) - trail;
  });
  push(out, "video.back_porch", begin, floor,
       "the picture is black at its left edge; send one that is bright there, e.g. colour bars");
}

PulseMeter::PulseMeter(const VideoSetup& setup)
    : half_line_us_(0.5e6 * setup.line_period_samples / setup.rate_hz),
      equalising_(-1.2, 6.0, setup.rate_hz),
      broad_(-1.2, half_line_us_ + 0.2, setup.rate_hz) {}

void PulseMeter::half_line(const LineView& v, double at_us, bool broad) {
  const double middle = -0.5 * v.setup->sync_mv;
  const auto low = [&](double from, double to) { return v.level(at_us + from, at_us + to) < middle; };
  if (!low(0.5, 1.8)) return;
  if (broad) {
    if (v.covers(at_us - 1.4, at_us + half_line_us_ + 0.4)) broad_.add(v, at_us);
  } else if (!low(3.0, 4.0) && v.covers(at_us - 1.4, at_us + 6.2)) {
    equalising_.add(v, at_us);
  }
}

void PulseMeter::line(const LineView& v) {
  if (v.kind != LineKind::Pulses || !v.sync_found) return;
  half_line(v, 0, v.broad_first);
  half_line(v, 0.5e6 * v.line_period_samples / v.rate_hz, v.broad_second);
}

void PulseMeter::finish(const VideoSetup& setup, Readings& out) {
  const double floor = timing_floor(setup.rate_hz);
  push(out, "video.equalising.width", equalising_.read([](const Trace& t) {
    const double tip = t.mean(0.6, 1.7);
    return trailing(t, tip, 1.2, 5.0) - leading(t, tip);
  }),
       floor, "too few equalising pulses found; take at least two fields (40 ms), or the source sends none");
  push(out, "video.broad.width", broad_.read([&](const Trace& t) {
    const double tip = t.mean(2.0, half_line_us_ - 8.0);
    return trailing(t, tip, half_line_us_ - 9.0, half_line_us_ - 0.3) - leading(t, tip);
  }),
       floor,
       "too few broad pulses found; take at least two fields (40 ms), or the source sends no vertical sync");
}

}  // namespace linebench::measure
