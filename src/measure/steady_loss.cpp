#include "steady_loss.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/quantile.hpp>
#include <numbers>
#include <string>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.02;
// A signal this far under itself is gone, not quieter (common practice: 20 dB is inaudible beside it).
constexpr double gone_db = 20;
// Shorter ones are found by their edges. The steadiest noise dips so far for one block now and then.
constexpr std::size_t least_blocks = 3;
// The loudest half second stands for the signal: it may be there for a small part of the capture only.
constexpr std::size_t reference_blocks = 25;
// What the end of the sending and delays of a path come to.
constexpr double least_missing_s = 0.25;
// From block to block, of the middle one: a tone stands still, noise of a band of 300 Hz and more moves by
// 1 to 2 dB, what is left in the band where nothing comes back by 4 dB, speech by more.
constexpr double tone_moves_db = 2;
constexpr double noise_moves_db = 3;
constexpr double tone_q = 10;
// Under it lie hum and rumble; every band that intelligibility is sent in reaches above it.
constexpr double highpass_hz = 300;
// STIPA's slowest modulation takes 1.6 s: two of it.
constexpr std::size_t side_blocks = 160;
constexpr double least_step_db = 1.0;
// An hour; the long run looks at more.
constexpr std::size_t most_blocks = 180000;

bool is_tone(const signals::Recipe& sent) { return sent.kind->name == "sine"; }

// A resonance, 0 dB at its middle.
dsp::Section bandpass(double hz, double rate_hz) {
  const double w = 2 * std::numbers::pi * hz / rate_hz;
  const double alpha = std::sin(w) / (2 * tone_q);
  return {alpha / (1 + alpha), 0, -alpha / (1 + alpha), -2 * std::cos(w) / (1 + alpha),
          (1 - alpha) / (1 + alpha)};
}

dsp::Cascade filter_for(double rate_hz, const signals::Recipe& sent) {
  return is_tone(sent) ? dsp::Cascade({bandpass(sent.number("frequency_hz"), rate_hz)})
                       : dsp::butterworth_highpass(2, highpass_hz, rate_hz);
}

double middle(std::vector<double> v) { return v.empty() ? 0 : dsp::median(v); }

std::vector<double> in_db(std::span<const float> blocks) {
  std::vector<double> db;
  db.reserve(blocks.size());
  for (const float p : blocks) db.push_back(dbfs_from_power(std::max<double>(p, 1e-16)));
  return db;
}

double loudest_stretch(const std::vector<double>& db) {
  double best = -400;
  for (std::size_t i = 0; i + reference_blocks <= db.size(); i += reference_blocks / 5)
    best = std::max(best, middle({db.begin() + static_cast<std::ptrdiff_t>(i),
                                  db.begin() + static_cast<std::ptrdiff_t>(i + reference_blocks)}));
  return best;
}

struct Run {
  std::size_t from = 0, to = 0;
  bool there = false;
  [[nodiscard]] std::size_t size() const { return to - from; }
};

std::vector<Run> runs_of(const std::vector<char>& there) {
  std::vector<Run> runs;
  for (std::size_t i = 0; i < there.size(); ++i) {
    if (runs.empty() || runs.back().there != (there[i] != 0)) runs.push_back({i, i, there[i] != 0});
    runs.back().to = i + 1;
  }
  return runs;
}

// A crackle in the midst of a loss is no return, a dip of one block no loss.
std::vector<Run> runs_that_last(std::vector<char> there) {
  for (const bool kind : {true, false}) {
    for (const Run& r : runs_of(there)) {
      if (r.there == kind && r.size() < least_blocks)
        std::fill(there.begin() + static_cast<std::ptrdiff_t>(r.from),
                  there.begin() + static_cast<std::ptrdiff_t>(r.to), kind ? 0 : 1);
    }
  }
  return runs_of(there);
}

bool holds_still(const std::vector<double>& db, const std::vector<Run>& runs, bool tone) {
  std::vector<double> moves;
  for (const Run& r : runs) {
    if (!r.there) continue;
    for (std::size_t i = r.from + 1; i < r.to; ++i) moves.push_back(std::abs(db[i] - db[i - 1]));
  }
  return !moves.empty() && middle(std::move(moves)) < (tone ? tone_moves_db : noise_moves_db);
}

// A signal that has become quieter for good dips as deep as it did, seen from where it is now.
bool is_gone(const std::vector<double>& db, const std::vector<Run>& runs, std::size_t i) {
  constexpr std::size_t beside = 80;
  const auto level = [&](const Run& r, bool its_end) {
    const std::size_t n = std::min(beside, r.size());
    const std::size_t from = its_end ? r.to - n : r.from;
    return middle(
        {db.begin() + static_cast<std::ptrdiff_t>(from), db.begin() + static_cast<std::ptrdiff_t>(from + n)});
  };
  double before = level(runs[i - 1], true);
  if (i + 1 < runs.size()) before = std::min(before, level(runs[i + 1], false));
  return level(runs[i], false) < before - gone_db;
}

void find_step(const std::vector<double>& db, const std::vector<Run>& runs, double length_s,
               SteadyLossResult& out) {
  // Of the signal alone, losses cut out.
  std::vector<double> level;
  std::vector<std::size_t> at;
  for (const Run& r : runs) {
    if (!r.there) continue;
    for (std::size_t i = r.from; i < r.to; ++i) {
      level.push_back(db[i]);
      at.push_back(i);
    }
  }
  if (level.size() < 2 * side_blocks) return;
  double most = 0;
  for (std::size_t i = side_blocks; i + side_blocks <= level.size(); i += 5) {
    const auto split = level.begin() + static_cast<std::ptrdiff_t>(i);
    const std::vector<double> before(split - side_blocks, split);
    const std::vector<double> after(split, split + side_blocks);
    const double low = middle(before);
    const double step = middle(after) - low;
    if (std::abs(step) <= std::abs(most)) continue;
    most = step;
    std::vector<double> spread;
    for (const double v : before) spread.push_back(std::abs(v - low));
    // 1.4826: from the middle deviation to the standard one; 1.2533: of a median over that of a mean.
    const double sd = 1.4826 * middle(std::move(spread));
    out.step_u_db = 2 * std::numbers::sqrt2 * 1.2533 * sd / std::sqrt(static_cast<double>(side_blocks));
    out.step_at_s = static_cast<double>(at[i]) * length_s;
  }
  if (std::abs(most) >= least_step_db && std::abs(most) > 2 * out.step_u_db) out.step_db = most;
}

}  // namespace

bool SteadyLoss::tells(const signals::Recipe& sent, double rate_hz) {
  constexpr double of_rate = 0.45;
  if (is_tone(sent) && sent.number("frequency_hz") > of_rate * rate_hz) return false;
  constexpr std::array kinds = {"sine", "multitone", "two-tone", "noise", "stipa"};
  return std::ranges::find(kinds, sent.kind->name) != kinds.end() && sent.has("seconds");
}

SteadyLoss::SteadyLoss(double rate_hz, const signals::Recipe& sent)
    : tone_(is_tone(sent)),
      // Fades are part of the length.
      sent_s_(sent.number("seconds") - sent.number("fade_in_seconds") - sent.number("fade_out_seconds")),
      block_s_(std::round(block_s * rate_hz) / rate_hz),
      block_samples_(static_cast<std::size_t>(std::lround(block_s * rate_hz))),
      filter_(filter_for(rate_hz, sent)) {}

void SteadyLoss::push(std::span<const float> samples) {
  for (const float x : samples) {
    const double y = filter_.step(x);
    sum_ += y * y;
    if (++filled_ < block_samples_) continue;
    if (blocks_.size() < most_blocks)
      blocks_.push_back(static_cast<float>(sum_ / static_cast<double>(block_samples_)));
    filled_ = 0;
    sum_ = 0;
  }
}

SteadyLossResult SteadyLoss::finish() const {
  SteadyLossResult out;
  if (blocks_.size() < 2 * reference_blocks) return out;
  const std::vector<double> db = in_db(blocks_);
  const double gone = loudest_stretch(db) - gone_db;
  std::vector<char> there;
  for (const double v : db) there.push_back(v > gone ? 1 : 0);
  std::vector<Run> runs = runs_that_last(std::move(there));
  if (!runs.empty() && !runs.front().there) runs.erase(runs.begin());
  if (runs.empty() || !holds_still(db, runs, tone_)) return out;

  const std::size_t onset = runs.front().from;
  const double due_s = std::min(static_cast<double>(onset) * block_s_ + sent_s_,
                                static_cast<double>(blocks_.size()) * block_s_);
  for (std::size_t i = 1; i < runs.size(); ++i) {
    const Run& r = runs[i];
    if (r.there || !is_gone(db, runs, i)) continue;
    const double from_s = static_cast<double>(r.from) * block_s_;
    const bool last = r.to == blocks_.size();
    const double length_s = last ? due_s - from_s : static_cast<double>(r.size()) * block_s_;
    if (last && length_s < least_missing_s) continue;
    keep_event(out.losses, {from_s, length_s});
    out.to_the_end = last;
  }
  if (!tone_) find_step(db, runs, block_s_, out);
  return out;
}

void add_losses(EventsResult& events, const SteadyLossResult& loss) {
  constexpr double near_s = 0.06;
  for (const Event& e : loss.losses) {
    const double end_s = e.time_s + e.strength;
    const bool counted = std::ranges::any_of(events.dropout_times, [&](const Event& d) {
      return d.time_s < end_s + near_s && d.time_s + d.strength > e.time_s - near_s;
    });
    if (counted) continue;
    ++events.dropouts;
    keep_event(events.dropout_times, e);
  }
  std::ranges::sort(events.dropout_times, {}, &Event::time_s);
  events.gone_from_s = loss.to_the_end ? std::optional(loss.losses.back().time_s) : std::nullopt;
}

Readings to_readings(const SteadyLossResult& loss, std::string_view suffix) {
  if (!loss.step_db) return {};
  const std::string id = "audio.signal.step";
  return {number_reading(id + std::string(suffix), *loss.step_db, loss.step_u_db),
          number_reading(id + ".time" + std::string(suffix), loss.step_at_s, 2 * block_s)};
}

}  // namespace linebench::measure
