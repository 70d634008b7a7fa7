#include "crackle.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <numbers>
#include <string>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.01;
constexpr std::size_t around = 50;       // blocks on each side
constexpr std::size_t least_blocks = 3;  // the edge of a step or a gap lies in two
constexpr double stands_out_db = 12;
// Further under the tone it is not heard beside it (common practice).
constexpr double heard_db = 40;
// Where less than this is between tone and rest there is no tone to speak of.
constexpr double tone_leads_db = 10;
// So low that a step in the tone rings for less than a millisecond.
constexpr double notch_q = 2;
constexpr double highpass_hz = 300;  // rumble, and the strongest hum

dsp::Section notch(double hz, double rate_hz) {
  const double w = 2 * std::numbers::pi * hz / rate_hz;
  const double alpha = std::sin(w) / (2 * notch_q);
  const double a0 = 1 + alpha;
  return {1 / a0, -2 * std::cos(w) / a0, 1 / a0, -2 * std::cos(w) / a0, (1 - alpha) / a0};
}

dsp::Cascade beside(double hz, double rate_hz) {
  const dsp::Cascade high = dsp::butterworth_highpass(2, highpass_hz, rate_hz);
  std::vector<dsp::Section> sections(high.sections().begin(), high.sections().end());
  sections.push_back(notch(hz, rate_hz));
  sections.push_back(notch(hz, rate_hz));
  return dsp::Cascade(std::move(sections));
}

}  // namespace

CrackleSearch::CrackleSearch(double rate_hz, double tone_hz)
    : block_s_(std::round(block_s * rate_hz) / rate_hz),
      block_samples_(static_cast<std::size_t>(std::lround(block_s * rate_hz))),
      rest_filter_(beside(tone_hz, rate_hz)) {}

void CrackleSearch::push(std::span<const float> samples) {
  for (const float x : samples) {
    const double whole{x};
    const double rest = rest_filter_.step(whole);
    open_.tone += whole * whole;
    open_.rest += rest * rest;
    if (++filled_ == block_samples_) close_block();
  }
}

void CrackleSearch::close_block() {
  held_.push_back(open_);
  open_ = {};
  filled_ = 0;
  while (looked_ + around < first_ + held_.size()) look(looked_++);
  if (held_.size() < 4 * around) return;
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(2 * around));
  first_ += 2 * around;
}

void CrackleSearch::look(std::size_t at) {
  const std::size_t i = at - first_;
  const std::size_t from = i > around ? i - around : 0;
  const std::size_t to = std::min(held_.size(), i + around + 1);
  std::vector<double> tone, rest;
  for (std::size_t k = from; k < to; ++k) {
    tone.push_back(held_[k].tone);
    rest.push_back(held_[k].rest);
  }
  const double tone_db = db_from_power(std::max(dsp::median(std::move(tone)), 1e-30));
  const double usual_db = db_from_power(std::max(dsp::median(std::move(rest)), 1e-30));
  const double db = db_from_power(std::max(held_[i].rest, 1e-30));
  const bool loud =
      usual_db < tone_db - tone_leads_db && db > usual_db + stands_out_db && db > tone_db - heard_db;
  if (loud) {
    most_db_ = loud_ == 0 ? db - tone_db : std::max(most_db_, db - tone_db);
    ++loud_;
    return;
  }
  if (loud_ >= least_blocks) keep_event(found_, {static_cast<double>(at - loud_) * block_s_, most_db_});
  loud_ = 0;
}

std::vector<Event> CrackleSearch::finish() {
  while (looked_ < first_ + held_.size()) look(looked_++);
  return found_;
}

Readings crackle_readings(const std::vector<Event>& bursts, std::string_view suffix) {
  const std::string id = "audio.crackle";
  Readings out = {
      number_reading(id + ".count" + std::string(suffix), static_cast<double>(bursts.size()), std::nullopt)};
  if (bursts.empty()) return out;
  Curve times{{}, {}, "s", "dB re the tone", {}};
  for (const Event& e : bursts) {
    times.x.push_back(e.time_s);
    times.y.push_back(e.strength);
  }
  out.push_back(curve_reading(id + ".times" + std::string(suffix), std::move(times), std::nullopt,
                              bursts.size() == most_events_kept ? "the first are listed" : ""));
  return out;
}

}  // namespace linebench::measure
