#include "picture_hum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "picture_hum_gaps.hpp"
#include "picture_shading.hpp"

namespace linebench::measure {
namespace {

constexpr double stretch_s = 20;
constexpr double gap_s = 1;          // without frames, after which the bars are not followed on
constexpr double white_codes = 219;  // black to white [BT.601]

}  // namespace

PictureHumMeter::PictureHumMeter(const PictureSetup& setup, std::optional<double> mains_hz)
    : setup_(setup), noise_seen_(setup.noise) {
  const int rows = setup.height() / setup.fields;
  const bool bands = setup.rows_alike();
  choose_blocks();
  const auto shows = [&](int band) {
    const auto& use = level_blocks_[static_cast<std::size_t>(band)];
    return std::find(use.begin(), use.end(), 0xffff) != use.end();
  };
  for (int q = 0; q < setup.fields; ++q) {
    std::vector<int> used;
    // The first and last rows hold half lines and blanking's edge.
    for (int r = 3; r < rows - 3; ++r) {
      const auto row = static_cast<std::size_t>(setup.fields * r + q);
      const int band = setup.band_of_row[row];
      if (!bands || (band >= 0 && !setup.bent_row[row] && shows(band))) used.push_back(r);
    }
    shapes_[static_cast<std::size_t>(q)] = FieldShapes(std::move(used), setup.line_s);
  }
  problem_.shapes = &shapes_;
  if (!bands) problem_.difference_s = setup.frame_s;
  problem_.field_hz = setup.fields == 2 ? 1 / setup.field_s : 1 / setup.frame_s;
  if (mains_hz) {
    problem_.low_hz = *mains_hz * 0.94;
    problem_.high_hz = *mains_hz * 1.06;
  }
  for (int q = 0; q < setup.fields; ++q) {
    auto& standing = problem_.standing[static_cast<std::size_t>(q)];
    const FieldShapes& s = shapes_[static_cast<std::size_t>(q)];
    if (s.rows().empty()) continue;
    std::vector<std::array<double, hum_shapes>> directions;
    if (bands) {
      for (std::size_t b = 0; b < setup.bands.size(); ++b) {
        std::array<double, hum_shapes> d{};
        for (std::size_t i = 0; i < s.rows().size(); ++i) {
          const int row = setup.fields * s.rows()[i] + q;
          if (setup.band_of_row[static_cast<std::size_t>(row)] != static_cast<int>(b)) continue;
          for (int k = 0; k < hum_shapes; ++k) d[static_cast<std::size_t>(k)] += s.at(k, i);
        }
        directions.push_back(d);
      }
    }
    for (auto d : directions) {
      double before = 0;
      for (const double x : d) before += x * x;
      for (const auto& v : standing) {
        double a = 0;
        for (std::size_t k = 0; k < hum_shapes; ++k) a += v[k] * d[k];
        for (std::size_t k = 0; k < hum_shapes; ++k) d[k] -= a * v[k];
      }
      double norm = 0;
      for (const double x : d) norm += x * x;
      if (norm < 1e-6 * before || before <= 0) continue;
      for (double& x : d) x /= std::sqrt(norm);
      standing.push_back(d);
    }
  }
}

void PictureHumMeter::push(const PictureView& view) {
  if (view.repeated) {  // shows hum of another time, as the difference to it would
    before_.clear();
    return;
  }
  if (!fields_.empty() && !(std::abs(view.time_s - fields_.back().t) < gap_s)) {
    if (fields_.back().t - fields_.front().t > 0.5) {
      fit_stretch();
    } else {
      fields_.clear();
    }
  }
  if (setup_.rows_alike()) {
    push_means(view);
  } else {
    push_difference(view);
  }
  // The second field in rows may be the first in time.
  if (fields_.size() >= 2 && fields_[fields_.size() - 2].t > fields_.back().t)
    std::swap(fields_[fields_.size() - 2], fields_.back());
  if (!fields_.empty() && fields_.back().t - fields_.front().t >= stretch_s) fit_stretch();
}

// Frames whose numbers are not the device's count may not have come at the times these say.
HumFit PictureHumMeter::fit_by_phase(HumFit fit, const std::array<double, hum_strips>& weight) {
  if (setup_.format.counted || !(fit.base_hz > 0)) return fit;
  const HumPhase phase =
      follow_phase(weighed_mean(fields_, weight), problem_, fit.found ? fit.hz : fit.base_hz, setup_.frame_s);
  if (phase.jumps.empty() && !(std::isfinite(phase.from) || std::isfinite(phase.until))) return fit;
  std::vector<StripProfiles> as_they_came = fields_;
  std::erase_if(fields_,
                [&](const StripProfiles& f) { return f.t < phase.from - 1e-9 || f.t > phase.until - 1e-9; });
  for (StripProfiles& f : fields_) f.t += later_by(phase.jumps, f.t);
  const HumFit again = fit_hum(weighed_mean(fields_, weight), problem_);
  if (!again.found) {
    fields_ = std::move(as_they_came);
    return fit;
  }
  unexplained_ += phase.unexplained;
  for (const TimeJump& j : phase.jumps) (j.frames > 0 ? missing_ : doubled_) += std::abs(j.frames);
  return again;
}

void PictureHumMeter::fit_stretch() {
  problem_.rounding = rounding_rms(noise_seen_);
  const std::array<double, hum_strips> quiet = quiet_weights(fields_);
  HumFit fit = fit_by_phase(fit_hum(weighed_mean(fields_, quiet), problem_), quiet);
  StripView strips;
  // What changes little may do so because codes end there, or because it is dark.
  std::array<double, hum_strips> even{}, levels{};
  if (setup_.rows_alike()) {
    levels = strip_levels();
    for (std::size_t n = 0; n < hum_strips; ++n) even[n] = std::isfinite(levels[n]) ? 1 : 0;
    if (!fit.found && std::isfinite(fit.least_pp)) {
      const HumFit all = fit_hum(weighed_mean(fields_, even), problem_);
      if (all.found) fit = all;
    }
  }
  if (setup_.rows_alike() && fit.found) {
    strips = compare_strips(fields_, fit, problem_, levels);
    if (!strips.alike) {
      fit = fit_hum(weighed_mean(fields_, strips.with_level ? even : strips.weight), problem_);
      const std::array<double, hum_strips> kept = strips.weight;
      if (fit.found) strips = compare_strips(fields_, fit, problem_, levels);
      if (fit.found && !strips.with_level) {
        std::size_t same = 0;
        for (std::size_t n = 0; n < hum_strips; ++n) same += kept[n] > 0 && strips.weight[n] > 0 ? 1 : 0;
        strips.enough = strips.enough && same >= 2;
      }
    }
  }
  if (problem_.difference_s > 0 && fit.found)
    unsteady_ = std::max(unsteady_, unsteadiness(fields_, quiet, fit, problem_));
  fits_.push_back(fit);
  strips_.push_back(strips);
  fields_.clear();
}

void PictureHumMeter::finish(bool rolling, double noise, Readings& out, PictureTraces* traces) {
  noise_seen_ = noise;
  if (!fields_.empty() && (fits_.empty() || fields_.back().t - fields_.front().t > 1.0)) fit_stretch();
  const auto refuse = [&](const std::string& why, std::optional<double> at_most) {
    out.push_back(unmeasurable("picture.hum.level", why, at_most));
    out.push_back(unmeasurable("picture.hum.frequency", why));
    out.push_back(unmeasurable("picture.hum.bar_rate", why));
  };
  if (rolling) {
    return refuse(
        "the picture rolls, so its rows cannot be told from hum bars; cure the roll first, or send a flat "
        "field",
        std::nullopt);
  }
  if (held_) {
    return refuse(
        setup_.format.through_rgb
            ? "red, green or blue is near its end all over the picture, which cuts hum off where the "
              "picture went through RGB; send a grey field, or take it in as YUYV"
            : "all of the picture stands where its codes end, which cuts hum off; send a grey field "
              "or bars of 75 %",
        std::nullopt);
  }
  double seconds = 0, found = 0, level = 0, level_v = 0, hz = 0, hz_w = 0, least = 0, slowest = 0;
  int lowest = 0, highest = 0;
  bool still = false, unlike = false, cut_short = false;
  const HumFit* two = nullptr;
  const StripView* unlike_strips = nullptr;
  double scale = 1, scale_u = 0;
  for (std::size_t i = 0; i < fits_.size(); ++i) {
    const HumFit& f = fits_[i];
    seconds += f.seconds;
    least = std::max(least, f.least_pp);
    slowest = std::max(slowest, f.slowest_hz);
    unlike = unlike || f.unlike;
    if (!f.found) continue;
    found += f.seconds;
    if (!strips_[i].alike && (unlike_strips == nullptr || unlike_strips->enough)) unlike_strips = &strips_[i];
    level += f.seconds * f.pp;
    level_v += f.seconds * f.seconds * f.pp_u * f.pp_u;
    const double w = 1 / std::max(1e-16, f.hz_u * f.hz_u);
    if (lowest != 0 && f.lowest != lowest) continue;
    lowest = f.lowest;
    hz += f.hz * w;
    hz_w += w;
    still = still || f.standing_still;
    highest = std::max(highest, f.highest);
    cut_short = cut_short || f.cut_short;
    if (f.other_pp > 0 && problem_.difference_s <= 0) two = &f;  // things that move leave lines of their own
  }
  if (problem_.difference_s > 0 && 2 * used_ < seen_)
    return refuse("too much of the picture moves; hold the camera still, or send a flat field", std::nullopt);
  if (problem_.difference_s > 0 && seen_ > 0 && !setup_.noisy && (fits_.empty() || !std::isfinite(least)))
    return refuse(
        "nothing in the picture changes, and bars that stand still cannot be told from the picture: send a "
        "flat field or bars",
        std::nullopt);
  if (fits_.empty() || !std::isfinite(least)) {
    return refuse(fmt::format("{:.2g} s of frames do not show hum; take 4 s", seconds), std::nullopt);
  }
  const double to_percent = 100 / white_codes;
  if (found < 0.5 * seconds) {
    const auto tone = std::find_if(fits_.begin(), fits_.end(), [](const HumFit& f) { return f.tone_pp > 0; });
    if (tone != fits_.end() && tone->tone_pp > 2.4 * rounding_rms(noise))
      return refuse(fmt::format("rows change at {:.1f} Hz by {:.2g} % of nominal white peak to peak (by line "
                                "time, as far as 400 Hz), which is not mains: the picture flickers, or "
                                "something on another frequency comes in; look with the waveform view",
                                tone->tone_hz, tone->tone_pp * to_percent),
                    std::nullopt);
    if (unlike)
      return refuse(
          "rows change, but not as mains hum spreads over them: the picture flickers, or something on "
          "another "
          "frequency comes in; look with the waveform view",
          std::nullopt);
    if (slowest <= 0)
      return refuse(fmt::format("none found: less than {:.2g} % of nominal white", least * to_percent),
                    least * to_percent);
    return refuse(
        fmt::format("none found that moves through the picture in less than {:.2g} s (less than {:.2g} % of "
                    "nominal white); slower bars cannot be told from the picture: send a flat field or bars, "
                    "or take 20 s or more",
                    1 / slowest, least * to_percent),
        std::nullopt);
  }
  if (unlike_strips != nullptr || !setup_.held.empty())
    uneven_percent_ = (unlike_strips == nullptr ? 1 : unlike_strips->most) * level / found * to_percent;
  if (unlike_strips != nullptr) {
    const StripView& v = *unlike_strips;
    if (!v.with_level && !v.enough)
      return refuse(
          fmt::format("it is not the same side by side ({:.1f} to {:.1f} % of nominal white): codes "
                      "end there, or parts of the picture change by themselves; send a grey field",
                      v.least * level / found * to_percent, v.most * level / found * to_percent),
          std::nullopt);
    if (v.with_level) scale = v.scale, scale_u = v.scale_u;
  }
  const double pp = scale * level / found;
  const double u_noise = 2 * scale * std::sqrt(level_v) / found;
  // Rounding of a level picture bends the bars where no noise dithers it: each turning point by up to half a
  // code where they are few codes deep, less where they pass through many.
  const double u_rounding = (1.2 + 1.7 / std::max(1.0, pp / 4)) * rounding_rms(noise);
  const double f = hz / hz_w;
  std::string remark = "of nominal white, 219 codes";
  if (scale != 1)
    remark += fmt::format(
        "; on white, and {:.1f} % where it is darkest: it sits on the gain of what it comes "
        "through, rather than being added on the way",
        std::max(0.0, unlike_strips->least) * level / found * to_percent);
  if (lowest == 2) remark += "; at twice the mains: ripple of a supply";
  if (cut_short)
    remark +=
        fmt::format("; counted up to {:.0f} Hz, sharper edges are more", highest * f / std::max(1, lowest));
  if (two != nullptr)
    remark += fmt::format("; beside it another {:.2g} % at {:.2f} Hz: two supplies that are not in step",
                          two->other_pp * to_percent, two->other_hz);
  if (still)
    remark +=
        "; it stands still: shading of the picture itself would look alike; compare with another source, or "
        "take longer";
  const double u_pp = std::hypot(std::hypot(u_noise, u_rounding), 2 * scale_u * level / found, 0.004 * pp);
  if (still && straight_shading(setup_))
    return refuse(
        fmt::format(
            "rows go in a straight line from top to bottom, by about {:.2g} % of nominal white, and stand "
            "still: the source's own shading, or a field-rate tilt as a coupling capacitor makes it; "
            "compare with another source",
            pp * to_percent),
        (pp + u_pp) * to_percent);
  // Things that move leave changes of their own at all rates, and a broad light that goes down the picture is
  // fitted badly by any mains: hum among people who walk is known ten times better than this.
  if (problem_.difference_s > 0 && (pp < 8 * u_pp || unsteady_ > 0.6))
    return refuse(
        fmt::format("something changes near {:.1f} Hz by {:.2g} % of nominal white, but not clearly "
                    "more than what moves in the picture does: send a flat field or bars",
                    f, pp * to_percent),
        (pp + u_pp) * to_percent);
  out.push_back(number_reading("picture.hum.level", pp * to_percent, u_pp * to_percent, remark));
  const double u_hz = std::hypot(2 / std::sqrt(hz_w), 2e-5 * f);
  if (unexplained_ > 0) {
    const std::string why = fmt::format(
        "hum's phase jumps {} time{} by no whole number of frames: parts of it are of other times; take it "
        "in "
        "with capture picture",
        unexplained_, unexplained_ == 1 ? "" : "s");
    out.push_back(unmeasurable("picture.hum.frequency", why));
    out.push_back(unmeasurable("picture.hum.bar_rate", why));
    if (traces != nullptr) trace(*traces);
    return;
  }
  out.push_back(number_reading("picture.hum.frequency", f, u_hz,
                               "by the frame clock, taken as nominal" + clock_remark()));
  const double field_hz = problem_.field_hz;
  const double rate = f - field_hz * std::round(f / field_hz);
  const std::string direction = std::abs(rate) < u_hz ? "standing still"
                                : rate > 0            ? "moving upward"
                                                      : "moving downward";
  out.push_back(number_reading("picture.hum.bar_rate", rate, u_hz,
                               fmt::format("{:.0f} bar{} in the picture, {}", std::round(f / field_hz),
                                           std::round(f / field_hz) == 1 ? "" : "s", direction)));
  if (traces != nullptr) trace(*traces);
}

std::string PictureHumMeter::clock_remark() const {
  if (setup_.format.counted) return "";
  const auto frames = [](int n) { return fmt::format("{} frame{}", n, n == 1 ? "" : "s"); };
  std::string by_phase;
  if (missing_ > 0) by_phase = frames(missing_) + " missing";
  if (doubled_ > 0) by_phase += (missing_ > 0 ? " and " : "") + frames(doubled_) + " put in";
  if (!by_phase.empty())
    return "; the file does not count frames, but hum's phase shows " + by_phase + ", which is reckoned with";
  return "; the file does not count frames, and each that is missing would shift it";
}

// The hum on the rows of the first frame, and the spectrum of what moves in the last stretch.
void PictureHumMeter::trace(PictureTraces& traces) const {
  const HumFit& f = fits_.front();
  if (!f.found) return;
  traces.hum_row.assign(static_cast<std::size_t>(setup_.height()), 0);
  for (int r = 0; r < setup_.height(); ++r) {
    const double t = setup_.row_time(r);
    for (std::size_t j = 0; j < hum_harmonics; ++j) {
      traces.hum_row[static_cast<std::size_t>(r)] +=
          (f.a[j] * std::polar(1.0, 2 * std::numbers::pi * static_cast<double>(j + 1) * f.base_hz * t))
              .real();
    }
  }
}

}  // namespace linebench::measure
