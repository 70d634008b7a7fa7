#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/measure/video_receiver.hpp>
#include <linebench/standards/video.hpp>
#include <utility>

#include "video_engine.hpp"
#include "video_levels.hpp"

namespace linebench::measure {
namespace {

constexpr double acquire_s = 0.12;                        // seven fields of 525, six of 625
constexpr std::size_t acquire_most_samples = 40'000'000;  // 160 MB, for very fast recorders
constexpr double lowest_rate_hz = 2e6;                    // line sync is then nine samples wide
constexpr double shared_porch_end_us = 9.1;               // blanking in 525 and 625 alike

// Subcarriers of the other systems that share these line rates [BT.470]: 525 lines alternating, 625 lines
// at 3.58 MHz.
constexpr double subcarrier_525_alternating_hz = 3'575'611.49;
constexpr double subcarrier_625_low_hz = 3'582'056.25;

// Straight line through the edges found: the period, robust enough after the tracker's own checks.
void refine(std::span<const LineMark> marks, FoundSync& sync) {
  double n = 0;
  double si = 0;
  double st = 0;
  double sii = 0;
  double sit = 0;
  double t_first = 0;
  double i_first = 0;
  for (const LineMark& m : marks) {
    if (!m.found) continue;
    if (n == 0) {
      t_first = m.edge;
      i_first = static_cast<double>(m.index);
    }
    const double i = static_cast<double>(m.index) - i_first;
    const double t = m.edge - t_first;
    n += 1;
    si += i;
    st += t;
    sii += i * i;
    sit += i * t;
  }
  const double det = n * sii - si * si;
  if (n >= 16 && det > 0) sync.period_samples = (n * sit - si * st) / det;
  // From here on the first line of this run is line index 0 of every run.
  sync.edge = marks.front().t0;
  sync.first = true;
}

std::vector<LineMark> dry_run(const SampleBuffer& buffer, double rate_hz, const FoundSync& sync,
                              double probe_0, double probe_1) {
  std::vector<LineMark> marks;
  LineTracker tracker(rate_hz, sync, shared_porch_end_us, static_cast<double>(buffer.begin()));
  tracker.set_probe(0, probe_0);
  tracker.set_probe(1, probe_1);
  const SampleWindow w = buffer.window(sync.inverted);
  while (tracker.next() + tracker.reach() + 2 < static_cast<double>(buffer.end()))
    marks.push_back(tracker.measure(w));
  return marks;
}

// The step all differences of neighbouring samples are multiples of, volts; 0 when there is none to be seen.
double quantum_of(std::span<const float> volts) {
  constexpr std::size_t most = 20000;
  std::vector<float> steps;
  for (std::size_t i = 1; i < std::min(volts.size(), most); ++i)
    if (volts[i] != volts[i - 1]) steps.push_back(std::abs(volts[i] - volts[i - 1]));
  if (steps.size() < 100) return 0;
  const double q = static_cast<double>(*std::min_element(steps.begin(), steps.end()));
  std::size_t fits = 0;
  for (const float s : steps) {
    const double n = static_cast<double>(s) / q;
    fits += std::abs(n - std::round(n)) < 0.1 ? 1 : 0;
  }
  // By chance a fifth of them would.
  return fits > steps.size() - steps.size() / 50 ? q : 0.0;
}

bool good_burst(const FoundSubcarrier& f, double sync_v) {
  return f.found && f.coherence > 0.5 && f.amplitude_v > 0.03 * sync_v;
}

// What a tone below the subcarrier, or a level that jumps, does from line to line: to the distance of sync
// tip and blanking, 5 us apart; to blanking against that of the lines before and after; and to stretches of
// 0.8 us of the tip against one another. Each is blind to some tones.
class Wander {
 public:
  void line(const LineMark& m, const SampleWindow& w, double us) {
    if (!m.found || m.pulses) return;
    depth_.add(1e3 * (m.clamp_v - m.tip_v));
    if (two_before_.index + 2 == m.index && before_.index + 1 == m.index)
      bend_.add(1e3 * (m.clamp_v - 2 * before_.clamp_v + two_before_.clamp_v));
    two_before_ = std::exchange(before_, m);
    const auto tip = [&](double from_us) {
      return 1e3 * w.mean(m.edge + from_us * us, m.edge + (from_us + 0.8) * us);
    };
    const double middle = tip(1.7);
    beside_.add(tip(0.9) - middle);
    apart_.add(tip(3.1) - middle);
  }
  [[nodiscard]] double mv(const VideoSetup& s) const {
    const double noise = s.noise_mv * s.noise_mv / (1e-6 * s.rate_hz);  // of a mean of 1 us
    constexpr double of_bend = 6;                                       // squares of 1, 2, 1
    const double tips = 0.5 * std::max(beside_.variance(), apart_.variance()) - 1.5 * noise;
    const double beyond = std::max({depth_.variance() - 2 * noise, bend_.variance() / of_bend - noise, tips});
    return beyond > 0 ? std::min(std::sqrt(beyond), 0.15 * s.sync_mv) : 0.0;
  }

 private:
  struct Sums {
    double n = 0, first = 0, sum = 0, sum2 = 0;
    void add(double x) {
      if (n == 0) first = x;
      n += 1;
      sum += x - first;
      sum2 += (x - first) * (x - first);
    }
    [[nodiscard]] double variance() const { return n < 64 ? 0.0 : (sum2 - sum * sum / n) / n; }
  };
  Sums depth_;
  Sums bend_;
  Sums beside_;
  Sums apart_;
  LineMark before_;
  LineMark two_before_;
};

}  // namespace

struct VideoReceiver::Impl {
  Impl(capture::VideoSource& s, const VideoOptions& o) : source(s), options(o), buffer(s) {}

  capture::VideoSource& source;
  VideoOptions options;
  SampleBuffer buffer;
  VideoSetup setup;
  FoundSync sync;
  FieldStructure fields;
  FoundSubcarrier colour;
  std::string reason;
  Counts counts;

  [[nodiscard]] double back_porch_end_us() const { return setup.lines == 625 ? 10.2 : shared_porch_end_us; }
  bool find_signal();
  void find_colour(std::vector<LineMark>& marks);
  void find_black();
};

VideoReceiver::VideoReceiver(capture::VideoSource& source, const VideoOptions& options)
    : impl_(std::make_unique<Impl>(source, options)) {}
VideoReceiver::~VideoReceiver() = default;
const std::string& VideoReceiver::reason() const { return impl_->reason; }
const VideoSetup& VideoReceiver::setup() const { return impl_->setup; }
const VideoReceiver::Counts& VideoReceiver::counts() const { return impl_->counts; }

// Looks through the capture, a stretch at a time, until there is a signal.
bool VideoReceiver::Impl::find_signal() {
  const auto stretch = std::min(acquire_most_samples, static_cast<std::size_t>(acquire_s * setup.rate_hz));
  // A short capture does not fill it.
  const std::uint64_t frames = source.facts().frames;
  buffer.make_room(frames > 0 ? std::min<std::size_t>(stretch + 200'000, frames + 100'000) : stretch);
  while (true) {
    (void)buffer.reach(buffer.begin() + static_cast<std::int64_t>(stretch));
    const auto have = static_cast<std::size_t>(buffer.end() - buffer.begin());
    if (have == 0) break;
    if (buffer.begin() == 0 && have < stretch &&
        static_cast<double>(have) < least_to_find_s * setup.rate_hz) {
      throw unusable(
          fmt::format("{}: {:.2f} ms long, too short to find line sync in; take at least 1 ms, better three "
                      "fields (60 ms)",
                      source.facts().source, 1e3 * static_cast<double>(have) / setup.rate_hz));
    }
    sync = find_sync({buffer.data(), have}, setup.rate_hz);
    if (buffer.begin() == 0) {
      if (const auto fits = rate_that_fits({buffer.data(), have}, setup.rate_hz, sync)) {
        constexpr double middle_line_us = 63.8;
        reason = fmt::format(
            "line pulses come every {:.3g} us by the {:.4g} MS/s given, as in no television system; at about "
            "{:.3g} MS/s they would fit: is the rate in the sidecar, the header or the time column right?",
            middle_line_us * *fits / setup.rate_hz, setup.rate_hz * 1e-6, *fits * 1e-6);
        sync.found = false;
        return false;
      }
    }
    if (sync.found) {
      sync.edge += static_cast<double>(buffer.begin());
      return true;
    }
    if (reason.empty()) reason = sync.reason;
    if (have < stretch) break;
    buffer.forget(buffer.begin() + static_cast<std::int64_t>(stretch / 2));
  }
  if (buffer.end() == 0)
    throw unusable(source.facts().source + ": there are no samples in it; take the capture again");
  return false;
}

void VideoReceiver::Impl::find_colour(std::vector<LineMark>& marks) {
  const double low = standards::video_525.subcarrier_hz.value();
  const double high = standards::video_625.subcarrier_hz.value();
  const FoundSubcarrier at_low = find_subcarrier(marks, 0, low, setup.rate_hz);
  const FoundSubcarrier at_high = find_subcarrier(marks, 1, high, setup.rate_hz);
  // Each probe hears a little of the other's subcarrier: the louder one is it.
  colour = good_burst(at_high, sync.sync_v) && at_high.amplitude_v > at_low.amplitude_v ? at_high : at_low;
  if (!good_burst(colour, sync.sync_v)) {
    colour = {};
    return;
  }
  if (colour.nominal_hz == low && (setup.lines == 625 || colour.alternates)) {
    const double other = setup.lines == 625 ? subcarrier_625_low_hz : subcarrier_525_alternating_hz;
    marks = dry_run(buffer, setup.rate_hz, sync, other, 0);
    const FoundSubcarrier f = find_subcarrier(marks, 0, other, setup.rate_hz);
    if (good_burst(f, sync.sync_v) && std::abs(f.hz / other - 1) < std::abs(colour.hz / low - 1)) colour = f;
  }
}

// Whether the picture's black stands on setup can only be told from picture lines: a first look at what is in
// memory.
void VideoReceiver::Impl::find_black() {
  LevelMeter levels(setup);
  LineEngine engine(buffer, setup, sync, fields, colour, back_porch_end_us());
  engine.keep_all();
  LineMeter* const meters[] = {&levels};
  while (engine.tracker().next() + engine.tracker().reach() + 4 < static_cast<double>(buffer.end())) {
    if (!engine.step(meters)) break;
  }
  setup.black_seen = levels.black_mv().has_value();
  setup.setup = setup.lines == 525 && levels.black_mv() &&
                *levels.black_mv() > 0.5 * standards::video_525.black_mv.nominal * setup.gain();
  if (options.system == SystemChoice::S525) setup.setup = true;
  if (options.system == SystemChoice::S525NoSetup) setup.setup = false;
}

bool VideoReceiver::acquire() {
  Impl& d = *impl_;
  d.setup.rate_hz = d.source.facts().sample_rate_hz;
  if (!(d.setup.rate_hz >= lowest_rate_hz)) {
    throw unusable(
        fmt::format("{}: {:.4g} MS/s is too slow to see line sync; take the capture at 10 MS/s or more",
                    d.source.facts().source, d.setup.rate_hz * 1e-6));
  }
  if (!d.find_signal()) {
    d.buffer.count_into(d.counts);
    return false;
  }
  const double low = standards::video_525.subcarrier_hz.value();
  const double high = standards::video_625.subcarrier_hz.value();
  std::vector<LineMark> marks = dry_run(d.buffer, d.setup.rate_hz, d.sync, low, high);
  const auto found = std::count_if(marks.begin(), marks.end(), [](const LineMark& m) { return m.found; });
  if (marks.size() < 16 || found < static_cast<std::ptrdiff_t>(marks.size() / 3)) {
    d.reason = "line sync was seen but could not be followed; the signal may be too weak or too noisy";
    d.buffer.count_into(d.counts);
    return false;
  }
  refine(marks, d.sync);
  const int force = d.options.system == SystemChoice::Auto   ? 0
                    : d.options.system == SystemChoice::S625 ? 625
                                                             : 525;
  const double line_hz = d.setup.rate_hz / d.sync.period_samples;
  d.fields = find_fields(marks, line_hz, force);
  VideoSetup& s = d.setup;
  s.lines = d.fields.lines;
  s.lines_per_frame = d.fields.lines_per_frame;
  s.interlaced = d.fields.counted && d.fields.interlaced;
  s.numbered = d.fields.seen;
  s.inverted = d.sync.inverted;
  s.quantum_mv =
      1e3 * quantum_of({d.buffer.data(), static_cast<std::size_t>(d.buffer.end() - d.buffer.begin())});
  s.line_period_samples = d.sync.period_samples;
  LineTracker settled(s.rate_hz, d.sync, shared_porch_end_us);
  const SampleWindow w = d.buffer.window(s.inverted);
  Wander wander;
  while (settled.next() + settled.reach() + 2 < static_cast<double>(d.buffer.end()))
    wander.line(settled.measure(w), w, s.rate_hz * 1e-6);
  d.sync.sync_v = settled.sync_v();
  s.sync_mv = 1e3 * settled.sync_v();
  s.noise_mv = 1e3 * settled.noise_v();
  s.wander_mv = wander.mv(s);
  s.edge_jitter_samples = settled.jitter_samples();
  d.find_colour(marks);
  s.colour = d.colour.found;
  s.subcarrier_hz = d.colour.found ? d.colour.nominal_hz : 0.0;
  s.subcarrier_true_hz = d.colour.found ? d.colour.hz : 0.0;
  s.v_alternates = d.colour.alternates;
  d.find_black();
  return true;
}

void VideoReceiver::run(std::span<LineMeter* const> meters, const Progress& progress, const StopFlag* stop) {
  Impl& d = *impl_;
  LineEngine engine(d.buffer, d.setup, d.sync, d.fields, d.colour, d.back_porch_end_us());
  const auto frames = static_cast<double>(d.source.facts().frames);
  while (engine.step(meters)) {
    if (engine.lines() % 2048 != 0) continue;
    if (stop != nullptr && stop->load()) break;
    if (progress) progress(frames > 0 ? engine.tracker().next() / frames : -1.0, "measuring lines");
  }
  d.buffer.count_into(d.counts);
  d.counts.lines = engine.lines();
  d.counts.missing = engine.missing();
  d.counts.relocks = engine.relocks();
  d.setup.sync_mv = 1e3 * engine.tracker().sync_v();
  d.setup.noise_mv = 1e3 * engine.tracker().noise_v();
  d.setup.edge_jitter_samples = engine.tracker().jitter_samples();
  if (d.colour.found) d.setup.subcarrier_true_hz = engine.subcarrier_hz();
}

}  // namespace linebench::measure
