#include "feed_sound.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/report/format.hpp>
#include <linebench/standards/weighting.hpp>

#include "readings.hpp"

namespace linebench::check {
namespace {

using report::Point;
using report::Weight;

std::string steadiness(const job::Capture& c) {
  const Reading* r = find_reading(c.readings, "audio.pair.steady");
  return r != nullptr && r->measured() ? r->text() : "";
}

void leave_open(const Words& words, const std::string& key, const Values& values,
                std::vector<Point>& points) {
  points.push_back({Weight::Note, words.text(key, values), "", words.text(key + "-do"), ""});
}

// Left as it is while the other side goes on.
bool add_steadiness(const job::Capture& sound, const Words& words, std::vector<Point>& points) {
  const std::string found = steadiness(sound);
  if (found.empty() || found == "steady") return false;
  const Values when = {{"when", find_reading(sound.readings, "audio.pair.steady")->reason}};
  if (found.ends_with("pauses")) {
    leave_open(words, "feed-side-pauses", when, points);
    return true;
  }
  const Advice& a = *words.advice("audio.pair.steady", found);
  points.push_back({a.stop ? Weight::Stop : Weight::Change,
                    words.text(found == "turned" ? "feed-side-turned" : "feed-side-lost", when), a.why,
                    a.action, a.caution});
  return false;
}

std::string_view channel_of(const std::string& id) {
  return id.ends_with(".left") ? ".left" : id.ends_with(".right") ? ".right" : "";
}

// The tone of an idle lead is a fault of its own (a switching supply, line-up left on, a ship's supply):
// taken out of the noise, it is heard in every pause. It is held to what noise is held to, weighted as that.
void add_idle_tone(const job::Capture& quiet, const Words& words, std::vector<Point>& points) {
  const Reading* loudest = nullptr;
  double hz = 0, most = 0;
  for (const Reading& level : quiet.readings) {
    if (base_id(level.id) != "audio.tone.level" || !level.measured()) continue;
    const std::string side(channel_of(level.id));
    const Reading* frequency = find_reading(quiet.readings, "audio.tone.frequency" + side);
    const Reading* noise = find_reading(quiet.readings, "audio.noise.a" + side);
    if (frequency == nullptr || !frequency->measured() || noise == nullptr || !noise->limit ||
        !noise->limit->max)
      continue;
    const double over = level.number() + standards::a_weighting_db(frequency->number()) - *noise->limit->max;
    if (over <= most) continue;
    most = over;
    loudest = &level;
    hz = frequency->number();
  }
  if (loudest == nullptr) return;
  const Values values = {{"hz", fmt::format("{:.0f}", hz)},
                         {"level", fmt::format("{:.1f} {}", loudest->number(), loudest->unit)},
                         {"amount", fmt::format("{:.1f}", most)}};
  points.push_back({Weight::Change, words.text("feed-idle-tone", values),
                    words.text("feed-idle-tone-why", values), words.text("feed-idle-tone-do", values), ""});
}

}  // namespace

bool sides_change(const job::Capture& sound) {
  const std::string found = steadiness(sound);
  return found.ends_with("lost") || found == "turned";
}

// A rest is the programme's own; silence to the end may be a source that gave up.
bool add_silence(const job::Capture& sound, const Words& words, std::vector<Point>& points) {
  const Reading* r = find_reading(sound.readings, "audio.programme.silent");
  if (r == nullptr || !r->measured()) return false;
  const bool ends = r->reason.ends_with("the end");
  leave_open(words, ends ? "feed-silent-end" : "feed-silent", {{"when", r->reason}}, points);
  return ends;
}

// A steady tone on every side, and nothing beside it.
bool line_up_alone(const job::Capture& sound) {
  bool tone = false;
  for (const Reading& r : sound.readings) {
    if (base_id(r.id) != "audio.thd_n") continue;
    constexpr double most_percent = 10;
    if (!r.measured() || r.number() > most_percent) return false;
    tone = true;
  }
  return tone;
}

bool add_sound(const job::Capture& sound, const std::string& use, const Words& words,
               std::vector<Point>& points) {
  bool open = add_steadiness(sound, words, points);
  open = add_silence(sound, words, points) || open;
  if (line_up_alone(sound)) {
    leave_open(words, "feed-tone-alone", {}, points);
    open = true;
  }
  if (sound.facts.channels == 1 && use != "one") {
    leave_open(words, "feed-one-channel", {}, points);
    open = true;
  }
  // Sound that is passed on whole reaches to 15 kHz [ITU-T J.21, from memory]; a rate holds half of itself.
  constexpr double least_rate_hz = 32000;
  if (sound.facts.sample_rate_hz < least_rate_hz) {
    leave_open(words, "feed-low-rate", {{"khz", fmt::format("{:g}", sound.facts.sample_rate_hz / 2000)}},
               points);
    open = true;
  }
  return open;
}

bool add_quiet(const job::Capture& quiet, const job::Capture& sound, const Words& words,
               std::vector<Point>& points) {
  add_idle_tone(quiet, words, points);
  if (quiet.facts.channels < sound.facts.channels) {
    leave_open(words, "feed-quiet-one-channel", {}, points);
    return true;
  }
  // Steady noise alone is what a quiet lead carries; where none could be read, something was playing.
  for (const Reading& r : quiet.readings) {
    if (base_id(r.id) != "audio.noise.a" || r.measured() || r.at_most) continue;
    leave_open(words, "feed-not-quiet", {{"reason", r.reason}}, points);
    return true;
  }
  return false;
}

}  // namespace linebench::check
