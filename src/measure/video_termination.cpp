#include "video_termination.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <numbers>
#include <optional>
#include <string>

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

// How far another level is from nominal, dB.
std::optional<double> off_db(const Readings& out, const char* id, double nominal) {
  const Reading* r = find_reading(out, id);
  if (r == nullptr || !r->measured() || r->number() <= 0) return std::nullopt;
  return 20 * std::log10(r->number() / nominal);
}

}  // namespace

void TerminationMeter::finish(const VideoSetup& setup, Readings& out) {
  const Reading* sync = find_reading(out, "video.sync.amplitude");
  if (sync == nullptr || !sync->measured()) {
    out.push_back(unmeasurable("video.termination", "the sync amplitude could not be measured"));
    return;
  }
  const auto& nominal = standards::standard_of(setup.lines);
  const double seen_db = 20 * std::log10(sync->number() / -nominal.sync_mv.nominal);
  double db = seen_db;
  double within = within_db;
  std::string also;
  double fsc_loss_db = 0;
  const Reading* loss = find_reading(out, "video.cable.loss");
  if (loss != nullptr && loss->measured() && loss->number() > loss->uncertainty.value_or(0)) {
    // The picture's own tails move it too: only half of it is trusted.
    const double taken = taken_by_cable_db(loss->number());
    db += taken;
    within -= taken / 2;
    fsc_loss_db =
        loss->number() * std::sqrt(0.85);  // skin effect: by the root of the frequency, 4.25 MHz or so
    if (taken > 0.3) also += fmt::format("; {:.1f} dB of it taken as the cable's loss", taken);
  }
  const auto burst_db = off_db(out, "video.burst.amplitude", nominal.burst_pp_mv.nominal);
  if (burst_db && std::abs(*burst_db - seen_db) > 2.0)
    also += fmt::format("; the burst reads {:+.1f} dB, so it is not the level alone", *burst_db);
  const std::string level = fmt::format("sync is {:+.1f} dB re nominal", seen_db);
  // A divider takes all alike. A cable takes more of the burst than of sync, never less; white that a picture
  // does not reach says nothing, and white that it has was sent.
  const auto white_db = off_db(out, "video.white", nominal.white_mv.nominal);
  constexpr double apart_db = 2.0;
  const bool as_double = std::abs(db - double_db) < within;
  const bool as_missing = std::abs(db - missing_db) < within;
  const bool sync_alone = (as_double && ((burst_db && *burst_db > double_db + apart_db) ||
                                         (white_db && *white_db > double_db + apart_db))) ||
                          (as_missing && burst_db && *burst_db + fsc_loss_db < within_db);
  if (sync_alone) {
    const std::string why = fmt::format("{}, and {}{}{}: a load would take all alike, so it is sync alone",
                                        level, burst_db ? fmt::format("the burst {:+.1f} dB", *burst_db) : "",
                                        burst_db && white_db ? ", " : "",
                                        white_db ? fmt::format("white {:+.1f} dB", *white_db) : "");
    const bool both =
        burst_db && std::abs(*burst_db) < within_db && white_db && std::abs(*white_db) < within_db;
    out.push_back(both ? text_reading("video.termination", "correct", why)
                       : unmeasurable("video.termination", why));
  } else if (std::abs(db) < within) {
    out.push_back(text_reading("video.termination", "correct", level + also));
  } else if (as_missing) {
    out.push_back(text_reading("video.termination", "missing",
                               level +
                                   ": twice, as with nothing at the end of the line, or a recorder's own "
                                   "high-impedance input without a "
                                   "75 ohm load. A gain set 6 dB high looks the same: put a 75 ohm load on "
                                   "and see whether it halves" +
                                   also));
  } else if (as_double) {
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
