#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/tone_track.hpp>
#include <linebench/standards/weighting.hpp>
#include <numbers>
#include <numeric>
#include <utility>

namespace linebench::measure {
namespace {

constexpr double lowest_tone_hz = 15.0;
constexpr std::size_t candidates = 10;
constexpr double switch_ratio = 4.0;            // a line 6 dB stronger takes over
constexpr double same_line_bins = 0.7;          // how far a tone may move between segments
constexpr std::size_t gap_allowed = 3;          // segments
constexpr double level_step[] = {0.003, 0.12};  // allowed from segment to segment: strict, loose (1 dB)
constexpr double skirt_step = 8.0;              // power ratio from segment to segment
constexpr double skirt_floor = 1e-13;           // of the tone's power, per bin: less does not matter
constexpr std::size_t most_harmonics = 255;
constexpr double certain_tone = 0.5e-7;  // mean square of -70 dBFS
constexpr double histogram_floor_db = -220.0;
constexpr double histogram_step_db = 0.5;
constexpr double active_range_db = 20.0;
constexpr double two_pi = 2.0 * std::numbers::pi;

double wrap(double phase) { return std::remainder(phase, two_pi); }

}  // namespace

double ToneRun::fitted_bins(const SpectrumShape& shape) const {
  if (segments < 2) return bins;
  const auto n = static_cast<double>(segments);
  const double middle = (n - 1.0) / 2.0;
  const double spread = n * (n * n - 1.0) / 12.0;
  const double slope = (sums[1] - middle * sums[0]) / spread;  // rad per segment
  return reference + slope / two_pi * static_cast<double>(shape.n) / static_cast<double>(shape.hop);
}

double ToneRun::phase_residual() const {
  if (segments < 3) return 0;
  const auto n = static_cast<double>(segments);
  const double middle = (n - 1.0) / 2.0;
  const double spread = n * (n * n - 1.0) / 12.0;
  const double cross = sums[1] - middle * sums[0];
  return std::max(0.0, (sums[2] - sums[0] * sums[0] / n - cross * cross / spread) / (n - 2.0));
}

std::optional<SpectralPeak> ToneTracker::candidate(const SpectrumShape& shape) const {
  if (tone_hz_) {
    const double bins = *tone_hz_ / shape.bin_hz;
    if (const auto sent = peak_near(power_, shape, bins, std::max(2.0, 0.005 * bins))) return sent;
  }
  const auto from = static_cast<std::size_t>(std::ceil(lowest_tone_hz / shape.bin_hz));
  const auto to = static_cast<std::size_t>(1.02 * standards::audio_band_top_hz(shape.rate_hz) / shape.bin_hz);
  for (const SpectralPeak& p : find_peaks(power_, summary_, shape, from, to, candidates)) {
    if (!is_line_rate(p.bins * shape.bin_hz) && !is_mains_hum(p, power_, shape)) return p;
  }
  return std::nullopt;
}

void ToneTracker::add(const SpectrumShape& shape, const Segment& segment) {
  const std::size_t bins = segment.spectrum.size();
  if (power_.size() != bins) {
    power_.assign(bins, 0.0);
    all_.assign(bins, 0.0);
  }
  for (std::size_t b = 0; b < bins; ++b) {
    const double re = segment.spectrum[b].real();
    const double im = segment.spectrum[b].imag();
    power_[b] = re * re + im * im;
  }
  summary_.set(power_, static_cast<std::size_t>(std::ceil(10.0 / shape.bin_hz)));
  const double total = summary_.total();
  if (!(total > 0)) {  // digital silence
    for (std::size_t w = 0; w < 2; ++w) end_run(w);
    return;
  }
  for (std::size_t b = 0; b < bins; ++b) all_[b] += power_[b];
  texture_.add(power_);
  compare(shape, segment);
  ++segments_;
  const double level = (dbfs_from_power(total) - histogram_floor_db) / histogram_step_db;
  ++level_counts_[static_cast<std::size_t>(std::clamp(level, 0.0, 511.0))];

  std::optional<SpectralPeak> here;
  if (track_.bins > 0) here = peak_near(power_, shape, track_.bins, 1.5);
  if (here && std::abs(here->bins - track_.bins) > same_line_bins) here.reset();
  const bool leads = here && std::abs(here->bins - static_cast<double>(summary_.strongest(power_))) < 8.0;
  std::optional<SpectralPeak> rival;
  if (!leads) {
    rival = candidate(shape);
    if (rival && here && std::abs(rival->bins - here->bins) < 8.0) rival.reset();
    if (rival && here && rival->mean_square < switch_ratio * here->mean_square) rival.reset();
  }
  const SpectralPeak* tonal = rival ? &*rival : here ? &*here : nullptr;
  if (tonal != nullptr && tonal->mean_square > 0.5 * total) ++tonal_;

  if (rival && (here || track_.bins == 0 || track_.present < gap_allowed || track_.gap >= gap_allowed)) {
    end_track();
    track_.bins = rival->bins;
    here = rival;
  }
  if (here) {
    follow(shape, segment, *here);
  } else if (track_.bins > 0) {
    ++track_.gap;
    for (std::size_t w = 0; w < 2; ++w) end_run(w);
  }
}

void ToneTracker::compare(const SpectrumShape& shape, const Segment& segment) {
  // Segments that share few samples, so that what they have in common is the signal's doing.
  if (!earlier_.empty() && 4 * (segment.start - earlier_start_) < 3 * shape.n) return;
  const auto sums = summary_.sums();
  if (!earlier_.empty()) {
    double shared = 0;
    const double before = std::accumulate(earlier_.begin(), earlier_.end(), 0.0);
    for (std::size_t k = 0; k < sums.size(); ++k) {
      shared += std::min(sums[k] / summary_.total(), earlier_[k] / before);
    }
    likeness_sum_ += shared;
    ++likenesses_;
  }
  earlier_.assign(sums.begin(), sums.end());
  earlier_start_ = segment.start;
}

void ToneTracker::follow(const SpectrumShape& shape, const Segment& segment, const SpectralPeak& peak) {
  track_.gap = 0;
  ++track_.present;
  track_.energy += peak.mean_square;
  track_.bins = peak.bins;
  track_.levels.push_back({segment.start, peak.mean_square});
  for (std::size_t w = 0; w < 2; ++w) {
    ToneRun* run = &track_.current[w];
    // Several segments' phases tell the frequency better than one segment's bins.
    double bins = peak.bins;
    const double reach = static_cast<double>(run->segments * shape.hop) / static_cast<double>(shape.n);
    if (run->segments > 0) {
      bins =
          reach >= 1.0 ? run->bins : (run->sum_bins + peak.bins) / (static_cast<double>(run->segments) + 1.0);
    }
    std::complex<double> line = shape.line(segment.spectrum, bins);
    const double noise = std::sqrt(peak.noise * shape.line_noise(bins) / peak.mean_square);
    const double allowed = level_step[w] + 4.0 * noise;
    const bool moved = std::abs(std::abs(line) / run->magnitude - 1.0) > allowed;
    // A fade that only the window's foot sees shows by its skirt beside the tone before it shows in the
    // level.
    const double skirt = std::max(peak.noise, run->noise);
    const bool skirted = w == 0 && skirt > skirt_floor * peak.mean_square &&
                         skirt > skirt_step * std::min(peak.noise, run->noise);
    if (run->segments > 0 && (moved || skirted)) {
      end_run(w);
      run = &track_.current[w];
      bins = peak.bins;
      line = shape.line(segment.spectrum, bins);
    }
    run->sum_bins += peak.bins;
    run->noise = peak.noise;
    extend(*run, shape, segment, bins, line);
  }
}

void ToneTracker::extend(ToneRun& run, const SpectrumShape& shape, const Segment& segment, double bins,
                         std::complex<double> line) {
  const double hops = static_cast<double>(shape.hop) / static_cast<double>(shape.n);
  const double phase = std::arg(line);
  if (run.segments == 0) {
    run.first_start = segment.start;
    run.reference = bins;
    run.bins = bins;
    run.deviation = 0;
    run.power.assign(power_.size(), 0.0);
    const auto count = static_cast<std::size_t>((static_cast<double>(power_.size()) - 2.0) / bins);
    run.harmonics.assign(std::clamp<std::size_t>(count, 1, most_harmonics), {});
  } else {
    const double expected = run.deviation + two_pi * (run.bins - run.reference) * hops;
    const double turned = wrap(phase - run.phase - two_pi * run.bins * hops);
    const double deviation = expected + turned;
    const double now = run.reference + (deviation - run.deviation) / (two_pi * hops);
    // A mean of the steps so far, then one that forgets, so that a slow drift is followed.
    const double weight = std::max(1.0 / static_cast<double>(run.segments), 0.1);
    run.bins += weight * (now - run.bins);
    run.deviation = deviation;
  }
  run.phase = phase;
  run.magnitude = std::abs(line);
  run.last_start = segment.start;
  const auto number = static_cast<double>(run.segments);
  run.sums[0] += run.deviation;
  run.sums[1] += number * run.deviation;
  run.sums[2] += run.deviation * run.deviation;
  const double mean_square = std::norm(line);
  run.sum_mean_square += mean_square;
  run.sum_level2 += mean_square * mean_square;
  const std::complex<double> back = std::conj(line) / run.magnitude;
  std::complex<double> turn = back;
  for (std::size_t k = 1; k <= run.harmonics.size(); ++k, turn *= back) {
    run.harmonics[k - 1] +=
        turn * (k == 1 ? line : shape.line(segment.spectrum, bins * static_cast<double>(k)));
  }
  for (std::size_t b = 0; b < power_.size(); ++b) run.power[b] += power_[b];
  ++run.segments;
}

void ToneTracker::end_run(std::size_t which) {
  ToneRun& current = track_.current[which];
  ToneRun& best = track_.best[which];
  if (current.sum_mean_square > best.sum_mean_square) std::swap(current, best);
  // Keeps the buffers.
  ToneRun empty;
  empty.harmonics.swap(current.harmonics);
  empty.power.swap(current.power);
  current = std::move(empty);
}

void ToneTracker::end_track() {
  for (std::size_t w = 0; w < 2; ++w) end_run(w);
  if (track_.energy > best_.energy) std::swap(track_, best_);
  track_ = Track{};
}

bool ToneTracker::on_tone() const {
  return track_.present >= 4 && track_.gap == 0 &&
         track_.energy > certain_tone * static_cast<double>(track_.present);
}

ToneTrack ToneTracker::finish() {
  end_track();
  ToneTrack result;
  result.segments = segments_;
  result.tonal = tonal_;
  if (likenesses_ > 0) result.likeness = likeness_sum_ / static_cast<double>(likenesses_);
  result.over_time = texture_.over_time();
  result.over_bins = texture_.over_bins();
  result.power = std::move(all_);
  std::size_t loudest = level_counts_.size() - 1;
  while (loudest > 0 && level_counts_[loudest] == 0) --loudest;
  const auto range = static_cast<std::size_t>(active_range_db / histogram_step_db);
  for (std::size_t i = loudest > range ? loudest - range : 0; i <= loudest; ++i)
    result.active += level_counts_[i];
  if (!(best_.bins > 0)) return result;
  result.present = best_.present;
  result.levels = std::move(best_.levels);
  ToneRun& strict = best_.best[0];
  ToneRun& loose = best_.best[1];
  result.steady = 2 * strict.segments >= loose.segments;
  result.run = std::move(result.steady ? strict : loose);
  result.bins = result.run->segments > 0 ? result.run->bins : best_.bins;
  return result;
}

}  // namespace linebench::measure
