#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/events.hpp>

#include "events_parts.hpp"
#include "keying.hpp"

namespace linebench::measure {
namespace {

constexpr double surroundings_s = 0.03;
constexpr double stretch_s = 0.1;
constexpr std::ptrdiff_t smoothed_step = 3;  // what a step takes in the mean of neighbours, in samples

Curve times_curve(const std::vector<Event>& events, const char* unit) {
  Curve c;
  c.x_unit = "s";
  c.y_unit = unit;
  for (const Event& e : events) {
    c.x.push_back(e.time_s);
    c.y.push_back(e.strength);
  }
  return c;
}

Reading dropout_count(const EventsResult& r, const std::string& id) {
  std::string remark;
  if (r.gone_from_s)
    remark = fmt::format("gone from {:.2f} s to the end, though it was sent for longer", *r.gone_from_s);
  const auto and_then = [&] { return remark.empty() ? "" : "; "; };
  if (r.keyed_pauses > 0)
    remark +=
        and_then() + fmt::format("{} pauses on the cadence of a keyed tone are not counted", r.keyed_pauses);
  if (r.doubtful_pauses > 0) {
    remark += fmt::format(
        "{}{} pauses of a tone that comes and goes: keyed where it is sent, or a contact that breaks; send a "
        "steady tone, and name it, to tell",
        and_then(), r.doubtful_pauses);
    if (r.dropouts == 0) return unmeasurable(id, remark, static_cast<double>(r.doubtful_pauses));
  }
  return number_reading(id, static_cast<double>(r.dropouts), std::nullopt, remark);
}

}  // namespace

void keep_event(std::vector<Event>& list, const Event& e) {
  if (list.size() < most_events_kept) list.push_back(e);
}

struct EventsAnalyser::Impl {
  Impl(double rate_hz, bool tone_sent)
      : rate(rate_hz),
        steady(tone_sent),
        context(static_cast<std::size_t>(surroundings_s * rate_hz) + 1),
        stretch(static_cast<std::size_t>(stretch_s * rate_hz) + 1) {}

  void run(std::size_t to) {
    const EventView v{buffer, left, to, rate, first};
    const EventView s{smooth, left, to, rate, first};
    clip.search(v);
    smoothed.search(s);
    coupled.search(v);
    click.search(v);
    const std::size_t known = pauses.size();
    dropout.search(v, pauses);
    for (std::size_t i = known; i < pauses.size(); ++i) {
      click.forget_near(pauses[i].from_s);
      if (pauses[i].ended) click.forget_near(pauses[i].from_s + pauses[i].length_s);
    }
    if (pauses.size() >= most_events_kept) tell_pauses();
    left = to;
    if (left > context) {
      const std::size_t gone = left - context;
      buffer.erase(buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(gone));
      smooth.erase(smooth.begin(), smooth.begin() + static_cast<std::ptrdiff_t>(gone));
      first += gone;
      left = context;
    }
  }

  // The low pass of a converter puts a ripple at its own edge on tops that were cut before it. Half the rate
  // is where it lies; the mean of neighbours has none of it, and leaves a corner a corner. It is a sample
  // late.
  void take(std::span<const float> samples) {
    buffer.insert(buffer.end(), samples.begin(), samples.end());
    for (const float x : samples) {
      smooth.push_back(0.25F * (before[0] + x) + 0.5F * before[1]);
      before = {before[1], x};
    }
  }

  // In a steady tone that was sent every pause is a dropout.
  void tell_pauses() {
    const auto kinds = steady ? std::vector(pauses.size(), PauseKind::Dropout) : pause_kinds(pauses);
    for (std::size_t i = 0; i < pauses.size(); ++i) {
      if (!pauses[i].ended) continue;
      if (kinds[i] == PauseKind::Dropout) {
        ++result.dropouts;
        keep_event(result.dropout_times, {pauses[i].from_s, pauses[i].length_s});
      } else {
        ++(kinds[i] == PauseKind::Keyed ? result.keyed_pauses : result.doubtful_pauses);
      }
    }
    pauses.clear();
  }

  double rate;
  bool steady;
  std::size_t context;
  std::size_t stretch;
  std::vector<float> buffer;
  std::vector<float> smooth;  // beside it
  std::array<float, 2> before{};
  std::size_t left = 0;     // samples at the front that have been searched and serve as surroundings
  std::uint64_t first = 0;  // index of buffer[0]
  ClipSearch clip;
  ClipSearch smoothed{smoothed_step};
  CoupledClipSearch coupled;
  ClickSearch click;
  DropoutSearch dropout;
  std::vector<Pause> pauses;  // not yet told apart
  EventsResult result;
};

EventsAnalyser::EventsAnalyser(double rate_hz, bool steady_tone_sent)
    : impl_(std::make_unique<Impl>(rate_hz, steady_tone_sent)) {}
EventsAnalyser::~EventsAnalyser() = default;
EventsAnalyser::EventsAnalyser(EventsAnalyser&&) noexcept = default;
EventsAnalyser& EventsAnalyser::operator=(EventsAnalyser&&) noexcept = default;

void EventsAnalyser::push(std::span<const float> channel_samples) {
  Impl& m = *impl_;
  // A stretch at a time: what was searched is taken from the front of what waits.
  while (!channel_samples.empty()) {
    const auto piece = channel_samples.first(std::min(channel_samples.size(), m.stretch));
    m.take(piece);
    while (m.buffer.size() >= m.left + m.stretch + m.context) m.run(m.left + m.stretch);
    channel_samples = channel_samples.subspan(piece.size());
  }
}

EventsResult EventsAnalyser::finish() {
  Impl& m = *impl_;
  if (m.left < m.buffer.size()) m.run(m.buffer.size());
  m.tell_pauses();
  m.result.seconds = static_cast<double>(m.first + m.buffer.size()) / m.rate;
  m.clip.finish(m.result);
  if (m.result.clipped_samples == 0) m.smoothed.finish(m.result);
  if (m.result.clipped_samples == 0) m.coupled.finish(m.result);
  m.click.finish(m.result);
  return m.result;
}

Readings to_readings(const EventsResult& r, std::string_view suffix) {
  const auto id = [&](std::string_view name) { return fmt::format("audio.{}{}", name, suffix); };
  Readings out;
  if (r.seconds < shortest_events_s) {
    const std::string reason = fmt::format("too short: {:g} s or more is needed", shortest_events_s);
    for (const auto* name : {"clip.samples", "click.count", "dropout.count"}) {
      out.push_back(unmeasurable(id(name), reason));
    }
    return out;
  }
  const auto kept = [](std::uint64_t count, const std::vector<Event>& list) {
    return count > list.size() && list.size() == most_events_kept
               ? fmt::format("the first {} are listed", most_events_kept)
               : std::string();
  };
  std::string leaning;
  if (r.clip_coupled_hz > 0)
    leaning = fmt::format(
        "cut before a coupling capacitor (a high pass near {:.0f} Hz, which leans flat tops): of which those "
        "are counted that stand level with that undone",
        r.clip_coupled_hz);
  out.push_back(
      number_reading(id("clip.samples"), static_cast<double>(r.clipped_samples), std::nullopt, leaning));
  if (r.clipped_samples > 0) {
    out.push_back(number_reading(id("clip.level"), db_from_amplitude(r.clip_level),
                                 2.0 * 20.0 / std::log(10.0) * r.clip_level_u / r.clip_level));
    out.push_back(
        curve_reading(id("clip.times"), times_curve(r.clips, "samples"), std::nullopt,
                      r.clips.size() == most_events_kept ? kept(most_events_kept + 1, r.clips) : ""));
  }
  out.push_back(number_reading(id("click.count"), static_cast<double>(r.clicks), std::nullopt));
  if (r.clicks > 0) {
    out.push_back(curve_reading(id("click.times"), times_curve(r.click_times, "of full scale"), std::nullopt,
                                kept(r.clicks, r.click_times)));
  }
  out.push_back(dropout_count(r, id("dropout.count")));
  if (r.dropouts > 0) {
    out.push_back(curve_reading(id("dropout.times"), times_curve(r.dropout_times, "s long"), std::nullopt,
                                kept(r.dropouts, r.dropout_times)));
  }
  return out;
}

}  // namespace linebench::measure
