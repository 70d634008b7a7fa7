#include "video_steady.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_lines.hpp>

#include "video_statistics.hpp"

namespace linebench::measure {
namespace {

constexpr std::uint64_t stretch_lines = 32;  // two milliseconds
constexpr double least_lines = 16;
constexpr double least_move = 0.01;     // of the level: what the picture beside it does to sync by streaking
constexpr double least_missing = 0.02;  // of the bursts, before the burst is said to come and go
constexpr double db = 8.685889638;
// A source's burst blanking may be longer than the standard's by a few lines before the picture; more is
// loss.
constexpr int most_blanked = 9;

}  // namespace

void SteadyMeter::Extremes::add(double value) {
  if (n_ > 0) {
    moved2_ += (value - last_) * (value - last_);
    moves_ += 1;
  }
  last_ = value;
  sum_ += value;
  n_ += 1;
}

void SteadyMeter::Extremes::close() {
  if (n_ >= least_lines) {
    const double mean = sum_ / n_;
    if (before_ > 0) {
      const double two = 0.5 * (before_ + mean);
      lowest_ = highest_ > 0 ? std::min(lowest_, two) : two;
      highest_ = std::max(highest_, two);
    }
    before_ = mean;
  } else {
    before_ = 0;
  }
  sum_ = n_ = 0;
}

// The extremes of many means lie some four of their standard deviations from the middle, on either side.
double SteadyMeter::Extremes::noise() const {
  if (moves_ < 1) return 0;
  const double of_line = std::sqrt(0.5 * moved2_ / moves_);
  return 8 * of_line / std::sqrt(2.0 * least_lines);
}

SteadyMeter::SteadyMeter(const VideoSetup& setup, const BurstMeter& burst) : burst_(burst) {
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  burst_expected_.assign(static_cast<std::size_t>(s.lines_per_frame) + 1, false);
  seen_.assign(burst_expected_.size(), 0);
  without_ = seen_;
  if (!setup.numbered || !setup.colour) return;
  // Of lines that carry a burst in some frames of the sequence only, nothing is expected.
  for (int line = 1; line <= s.lines_per_frame; ++line) {
    bool always = true;
    for (int frame = 0; frame < 4; ++frame)
      always = always && standards::line_structure_in_frame(s, frame, line).burst;
    burst_expected_[static_cast<std::size_t>(line)] = always;
  }
}

void SteadyMeter::line(const LineView& v) {
  const std::uint64_t now = v.index / stretch_lines;
  if (now != stretch_) {
    sync_.close();
    amplitude_.close();
    if (now != stretch_ + 1) {
      sync_.part();
      amplitude_.part();
    }
    stretch_ = now;
  }
  if (v.kind != LineKind::Picture || !v.sync_found || !std::isfinite(v.tip_mv)) return;
  sync_.add(-v.tip_mv);
  if (v.colour_burst) amplitude_.add(2 * std::abs(v.burst));
  const bool expected = v.line > 0 && static_cast<std::size_t>(v.line) < burst_expected_.size() &&
                        burst_expected_[static_cast<std::size_t>(v.line)];
  if (!expected) return;
  expected_ += 1;
  seen_[static_cast<std::size_t>(v.line)] += 1;
  if (v.colour_burst) return;
  missing_ += 1;
  without_[static_cast<std::size_t>(v.line)] += 1;
}

// Lines that never carry a burst where those that should begin or end.
std::vector<int> SteadyMeter::blanked() const {
  std::vector<int> out;
  const int end = static_cast<int>(burst_expected_.size());
  const auto expected = [&](int line) {
    return line > 0 && line < end && burst_expected_[static_cast<std::size_t>(line)];
  };
  const auto never = [&](int line) {
    const auto i = static_cast<std::size_t>(line);
    return expected(line) && seen_[i] >= 2 && without_[i] == seen_[i];
  };
  for (int edge = 1; edge < end; ++edge) {
    for (const int step : {1, -1}) {
      if (!expected(edge) || expected(edge - step)) continue;
      std::vector<int> run;
      for (int line = edge; never(line); line += step) run.push_back(line);
      if (static_cast<int>(run.size()) <= most_blanked) out.insert(out.end(), run.begin(), run.end());
    }
  }
  std::ranges::sort(out);
  out.erase(std::ranges::unique(out).begin(), out.end());
  return out;
}

// 0: it does not move by more than noise and streaking do.
double SteadyMeter::range_of(const Extremes& e) const {
  const double range = e.highest() - e.lowest();
  return e.known() && range > e.noise() + least_move * e.highest() ? range : 0.0;
}

void SteadyMeter::widen(Readings& out) const {
  const double sync = range_of(sync_);
  const double ratio = sync > 0 ? sync_.highest() / std::max(1e-3, sync_.lowest()) - 1 : 0.0;
  const double share = expected_ > 0 ? missing_ / expected_ : 0.0;
  const auto more = [](Reading& r, double by, const std::string& why) {
    r.uncertainty = together(r.uncertainty.value_or(0.0), by);
    if (!why.empty()) r.reason = r.reason.empty() ? why : why + "; " + r.reason;
  };
  const std::string moves =
      fmt::format("the level moves by {:.1f} dB during the capture", db_from_amplitude(1 + ratio));
  for (Reading& r : out) {
    if (!r.measured() || !r.uncertainty) continue;
    const bool bar = r.id.starts_with("video.bars.");
    const bool level = r.id == "video.sync.amplitude" || r.id == "video.gain" || r.id == "video.white" ||
                       r.id == "video.setup" || r.id == "video.apl" || (bar && r.unit == "mV");
    if (r.id == "video.burst.amplitude") {
      const double alone = range_of(amplitude_);
      if (share > least_missing) {
        more(r, r.number(), fmt::format("{:.0f} % of the lines have none: it comes and goes", 100 * share));
      } else if (alone > 0) {
        more(r, alone,
             ratio > 0 ? moves
                       : fmt::format("it moves between {:.0f} and {:.0f} mV during the capture",
                                     amplitude_.lowest(), amplitude_.highest()));
      }
    } else if (level && ratio > 0) {
      more(r, ratio * std::abs(r.number()), moves);
    } else if (r.id.starts_with("video.snr.") && ratio > 0) {
      more(r, db_from_amplitude(1 + ratio), moves);
    }
    // Phase that is restless from line to line takes of chrominance what it takes of the burst, or nothing.
    if (bar && r.id.ends_with(".chroma")) more(r, burst_.phase_loss() * r.number(), "");
  }
}

void SteadyMeter::finish(const VideoSetup&, Readings& out) {
  sync_.close();
  amplitude_.close();
  widen(out);
  if (!sync_.known()) {
    out.push_back(
        unmeasurable("video.level.step", "too few lines with sync; take at least one field (20 ms)"));
  } else if (range_of(sync_) > 0) {
    const double low = std::max(1e-3, sync_.lowest());
    out.push_back(number_reading(
        "video.level.step", db_from_amplitude(sync_.highest() / low), db * sync_.noise() / low + 0.02,
        fmt::format("sync stands between {:.0f} and {:.0f} mV", low, sync_.highest())));
  } else {
    const double most =
        db_from_amplitude(1 + (sync_.noise() + least_move * sync_.highest()) / sync_.lowest());
    out.push_back(
        unmeasurable("video.level.step", fmt::format("none found: less than {:.2f} dB", most), most));
  }
  if (!(expected_ > 0)) return;
  const std::vector<int> lines = blanked();
  double of_them = 0;
  for (const int line : lines) of_them += without_[static_cast<std::size_t>(line)];
  out.push_back(number_reading("video.burst.missing", 100 * missing_ / expected_, std::nullopt));
  if (lines.empty()) return;
  const std::string which = fmt::format("in every frame on the same line{} {}: off standard, and no loss",
                                        lines.size() == 1 ? "" : "s", fmt::join(lines, ", "));
  const double blanked = 100 * of_them / expected_;
  out.back().reason = fmt::format("{:.2f} % never have one beside the vertical interval, {}", blanked, which);
  out.push_back(number_reading("video.burst.blanked", blanked, std::nullopt, which));
}

}  // namespace linebench::measure
