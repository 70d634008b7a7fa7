#include "video_termination.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

// Levels re nominal, dB. Sources are commonly within a decibel of nominal; the three states lie 3.5 and 6 dB
// apart, so a decibel and a half either side tells them.
constexpr double missing_db = 6.02;
constexpr double double_db = -3.52;
constexpr double within_db = 1.5;

// What a cable's loss takes off the sync amplitude, dB, from its loss at 5 MHz. Skin effect: a step comes out
// as erfc(a / (2 sqrt t)), where e^(-a sqrt(s)) is the loss; closed form. The tip is read in sync's middle,
// blanking on the back porch while sync's tail still lies on it.
double taken_by_cable_db(double loss_5mhz_db) {
  constexpr double middle_s = 2.35e-6;
  constexpr double end_s = 4.7e-6;
  constexpr double porch_s = 7.5e-6;
  const double a = loss_5mhz_db / 8.685889638 / std::sqrt(std::numbers::pi * 5e6);
  const auto step = [a](double t) { return std::erfc(a / (2 * std::sqrt(t))); };
  const double left = step(middle_s) - (step(porch_s) - step(porch_s - end_s));
  return -20 * std::log10(std::max(left, 0.1));
}

}  // namespace

void TerminationMeter::finish(const VideoSetup& setup, Readings& out) {
  const Reading* sync = find_reading(out, "video.sync.amplitude");
  if (sync == nullptr || !sync->measured()) {
    out.push_back(unmeasurable("video.termination", "the sync amplitude could not be measured"));
    return;
  }
  const auto& nominal = setup.lines == 625 ? standards::video_625 : standards::video_525;
  const double seen_db = 20 * std::log10(sync->number() / -nominal.sync_mv.nominal);
  double db = seen_db;
  double within = within_db;
  std::string also;
  const Reading* loss = find_reading(out, "video.cable.loss");
  if (loss != nullptr && loss->measured() && loss->number() > loss->uncertainty.value_or(0)) {
    // The picture's own tails move it too: only half of it is trusted.
    const double taken = taken_by_cable_db(loss->number());
    db += taken;
    within -= taken / 2;
    if (taken > 0.3) also += fmt::format("; {:.1f} dB of it taken as the cable's loss", taken);
  }
  const Reading* burst = find_reading(out, "video.burst.amplitude");
  if (burst != nullptr && burst->measured() && burst->number() > 0) {
    const double burst_db = 20 * std::log10(burst->number() / nominal.burst_pp_mv.nominal);
    if (std::abs(burst_db - seen_db) > 2.0) {
      also += fmt::format("; the burst reads {:+.1f} dB, so it is not the level alone", burst_db);
    }
  }
  const std::string level = fmt::format("sync is {:+.1f} dB re nominal", seen_db);
  if (std::abs(db) < within) {
    out.push_back(text_reading("video.termination", "correct", level + also));
  } else if (std::abs(db - missing_db) < within) {
    out.push_back(text_reading("video.termination", "missing",
                               level +
                                   ": twice, as with nothing at the end of the line, or a recorder's own "
                                   "high-impedance input without a "
                                   "75 ohm load. A gain set 6 dB high looks the same: put a 75 ohm load on "
                                   "and see whether it halves" +
                                   also));
  } else if (std::abs(db - double_db) < within) {
    out.push_back(text_reading(
        "video.termination", "double",
        level +
            ": two thirds, as with two 75 ohm loads. A gain set 3.5 dB low looks the same: take one load off "
            "and see whether it rises by half" +
            also));
  } else {
    out.push_back(unmeasurable(
        "video.termination",
        level +
            ": neither right, nor twice (no load), nor two thirds (two loads); a gain fault, a wrong "
            "scale (volts per count, the probe's factor) or a long or "
            "damaged cable. Measure at the source's own output with one 75 ohm load" +
            also));
  }
}

}  // namespace linebench::measure
