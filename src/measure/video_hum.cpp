#include "video_hum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <numeric>

#include "video_statistics.hpp"

namespace linebench::measure {
namespace {
constexpr int slot_lines = 8;                // half a millisecond
constexpr std::size_t stretch_slots = 8192;  // 4.2 s
constexpr double shortest_s = 0.05;          // two and a quarter cycles of 45 Hz
// What a path may do to blanking at the field rate beyond one coupling capacitor: of the tilt it makes, and
// of white, peak to peak.
constexpr double unknown_of_tilt = 0.1;
constexpr double unknown_tilt = 0.0008;
constexpr double nominal_white_mv = 700;

}  // namespace

VideoHumMeter::VideoHumMeter(const VideoSetup& setup, std::optional<double> mains_hz, double clock_error_ppm)
    : low_hz_(mains_hz ? 0.94 * *mains_hz : 45.0),
      high_hz_(mains_hz ? 1.06 * *mains_hz : 65.0),
      clock_(1 / (1 + clock_error_ppm * 1e-6)) {
  const double line_hz = setup.rate_hz / setup.line_period_samples;
  const double per_frame = setup.lines_per_frame > 0 ? setup.lines_per_frame : setup.lines;
  field_hz_ = line_hz / per_frame * (setup.interlaced || setup.lines_per_frame == 0 ? 2 : 1);
  slot_s_ = slot_lines / line_hz;
}

void VideoHumMeter::line(const LineView& v) {
  if (v.index / slot_lines != slot_index_) {
    close_slot();
    slot_index_ = v.index / slot_lines;
  }
  // Field pulses leave no back porch: their lines are left out.
  if (v.kind == LineKind::Picture && v.sync_found) {
    slot_t_ += v.t0 / v.rate_hz;
    slot_mv_ += v.blanking_mv;
    slot_drive_ += charge_;
    ++slot_n_;
  }
  const auto first = static_cast<std::size_t>(std::max(0.0, v.position(0)));
  const auto last =
      std::min(v.mv.size(), static_cast<std::size_t>(std::max(0.0, v.position(0) + v.line_period_samples)));
  // Lanes, so that the sum does not wait for itself.
  std::array<float, 8> lanes{};
  std::size_t i = first;
  for (; i + lanes.size() <= last; i += lanes.size()) {
    for (std::size_t k = 0; k < lanes.size(); ++k) lanes[k] += v.mv[i + k];
  }
  for (; i < last; ++i) lanes[0] += v.mv[i];
  const float sum = std::accumulate(lanes.begin(), lanes.end(), 0.0F);
  charge_ += static_cast<double>(sum) / v.rate_hz;
}

void VideoHumMeter::close_slot() {
  if (slot_n_ >= slot_lines / 2)
    points_.push_back({slot_t_ / slot_n_, slot_mv_ / slot_n_, slot_drive_ / slot_n_});
  slot_t_ = slot_mv_ = slot_drive_ = 0;
  slot_n_ = 0;
  if (points_.size() == stretch_slots) close_stretch();
}

void VideoHumMeter::close_stretch() {
  fits_.push_back(fit_hum(points_, slot_s_, low_hz_, high_hz_, field_hz_));
  points_.clear();
}

void VideoHumMeter::finish(const VideoSetup& setup, Readings& out) {
  close_slot();
  // A short rest says less than the stretches before it.
  if (fits_.empty() || points_.size() > stretch_slots / 4) close_stretch();
  double level = 0;
  double level_variance = 0;
  double weight = 0;
  double pp = 0;
  double pp_variance = 0;
  double found = 0;
  double hz = 0;
  double hz_weight = 0;
  double least = 0;
  double seconds = 0;
  double tilt = 0;
  bool near_field = false;
  for (const auto& f : fits_) {
    if (f.seconds <= 0) continue;
    level += f.seconds * f.level_mv;
    level_variance += f.seconds * f.seconds * f.level_u * f.level_u;
    weight += f.seconds;
    least = std::max(least, f.least_pp_mv);
    seconds += f.seconds;
    tilt = std::max(tilt, f.tilt_pp_mv);
    if (!f.found) continue;
    pp += f.seconds * f.pp_mv;
    pp_variance += f.seconds * f.seconds * f.pp_u * f.pp_u;
    found += f.seconds;
    hz += f.hz / (f.hz_u * f.hz_u);
    hz_weight += 1 / (f.hz_u * f.hz_u);
    near_field = near_field || f.near_field_rate;
  }
  if (weight <= 0) {
    for (const char* id : {"video.blanking.level", "video.hum.level", "video.hum.frequency"}) {
      out.push_back(unmeasurable(id, "too few lines for it; take at least 0.1 s"));
    }
    return;
  }
  level /= weight;
  out.push_back(number_reading(
      "video.blanking.level", level,
      together(2 * std::sqrt(level_variance) / weight,
               together(0.001 * std::abs(level) + 0.1 * setup.gain(), setup.wander_of(1000))),
      std::string(setup.inverted ? "with the signal turned the right way up, " : "") +
          "re the recorder's 0 V; a coupling capacitor on the way makes it follow the picture"));
  const double reach = seconds;
  if (reach < shortest_s) {
    const auto reason = fmt::format(
        "{:.0f} ms of lines do not hold two mains cycles; take at least 0.1 s, better 2 s", 1e3 * reach);
    out.push_back(unmeasurable("video.hum.level", reason));
    out.push_back(unmeasurable("video.hum.frequency", reason));
    return;
  }
  if (found < 0.5 * seconds) {
    out.push_back(unmeasurable("video.hum.level",
                               fmt::format("none found: less than {:.2g} mV peak to peak", least), least));
    out.push_back(unmeasurable("video.hum.frequency", "no hum found, so it has no frequency"));
    return;
  }
  pp /= found;
  double u = 2 * std::sqrt(pp_variance) / found;
  std::string remark;
  const double mean_hz = hz / hz_weight;
  double u_hz = together(2 / std::sqrt(hz_weight), 1e-6 * mean_hz);
  const double unknown = together(unknown_tilt * nominal_white_mv * setup.gain(), unknown_of_tilt * tilt);
  if (near_field) {
    u = together(u, unknown);
    // A second wave beside this one turns its phase to and fro.
    const double turned = std::min(1.0, unknown / std::max(pp, 1e-6));
    u_hz = together(u_hz, turned * std::max(std::abs(mean_hz - field_hz_), 0.1 / seconds));
    remark = fmt::format(
        "it cannot be told from a field-rate tilt ({:.3f} Hz) in {:.2g} s: take {} to "
        "be sure",
        field_hz_, seconds, setup.lines == 625 ? "a second capture with another picture" : "20 s or more");
  }
  if (near_field && pp < u) {
    out.push_back(unmeasurable("video.hum.level", remark, pp + u));
    out.push_back(unmeasurable("video.hum.frequency", remark));
    return;
  }
  out.push_back(number_reading("video.hum.level", pp, together(u, 0.004 * pp), remark));
  out.push_back(number_reading("video.hum.frequency", mean_hz * clock_, u_hz, remark));
  for (std::size_t i = 0; i < hum_multiples; ++i) {
    double size = 0;
    double variance = 0;
    for (const auto& f : fits_) {
      if (!f.found) continue;
      size += f.seconds * f.pp_of[i] / found;
      variance += std::pow(f.seconds * f.pp_of_u[i] / found, 2);
    }
    double of = 2 * std::sqrt(variance);
    if (near_field) of = together(of, unknown);
    // Noise alone stands some way above nought; what is clearly more is a multiple.
    if (near_field && size < 2 * of) {
      out.push_back(unmeasurable(fmt::format("video.hum.harmonic.{}", i + 1), remark, size + of));
      continue;
    }
    if (size < 2 * of) continue;
    out.push_back(
        number_reading(fmt::format("video.hum.harmonic.{}", i + 1), size, together(of, 0.004 * size)));
  }
}

}  // namespace linebench::measure
