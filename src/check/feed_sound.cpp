#include "feed_sound.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
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

// What no ear hears takes headroom as dc does, and is held to what dc is held to. It is what the whole holds
// beside the noise of the band that is heard and what was found in it.
void add_unheard(const job::Capture& quiet, const Words& words, std::vector<Point>& points) {
  constexpr double most_crest_db = 6;  // more is an event: a click, a plug that was moved
  constexpr double most_heard = 0.5;
  const Reading* largest = nullptr;
  double most_dbfs = 0;
  for (const Reading& whole : quiet.readings) {
    if (base_id(whole.id) != "audio.level.rms" || !whole.measured()) continue;
    const std::string side(channel_of(whole.id));
    const Reading* peak = find_reading(quiet.readings, "audio.level.peak" + side);
    const Reading* dc = find_reading(quiet.readings, "audio.level.dc" + side);
    const Reading* noise = find_reading(quiet.readings, "audio.noise.unweighted" + side);
    if (peak == nullptr || !peak->measured() || peak->number() - whole.number() > most_crest_db ||
        dc == nullptr || !dc->limit || !dc->limit->max || noise == nullptr || !noise->measured())
      continue;
    const double all = power_from_db(whole.number());  // of a full-scale sine's
    double heard = power_from_db(noise->number());
    for (const char* id : {"audio.hum.level", "audio.tone.level", "audio.whistle.level", "audio.whine.level",
                           "audio.phone_burst.level"}) {
      const Reading* part = find_reading(quiet.readings, id + side);
      if (part != nullptr && part->measured()) heard += power_from_db(part->number());
    }
    if (heard > most_heard * all) continue;
    const double rest_dbfs = db_from_power(all - heard);
    if (amplitude_from_db(rest_dbfs) < *dc->limit->max) continue;
    if (largest != nullptr && rest_dbfs <= most_dbfs) continue;
    largest = &whole;
    most_dbfs = rest_dbfs;
  }
  if (largest == nullptr) return;
  points.push_back(
      {Weight::Change,
       words.text("feed-unheard", {{"level", fmt::format("{:.1f} {}", most_dbfs, largest->unit)}}),
       words.text("feed-unheard-why"), words.text("feed-unheard-do"), ""});
}

}  // namespace

bool sides_change(const job::Capture& sound) {
  const std::string found = steadiness(sound);
  return found.ends_with("lost") || found == "turned";
}

bool mixed_to_a_side(const job::Capture& sound, std::string_view id) {
  if (id != "audio.pair.gain") return false;
  const Reading* gain = find_reading(sound.readings, id);
  const Reading* sides = find_reading(sound.readings, "audio.pair.sides");
  // What is common to both tells it far better than its tolerance.
  return gain != nullptr && gain->limit && gain->limit->max && sides != nullptr && sides->measured() &&
         sides->text() == "both" && gain->uncertainty.value_or(0) > *gain->limit->max;
}

// A rest is the programme's own; silence to the end may be a source that gave up.
bool add_silence(const job::Capture& sound, const Words& words, std::vector<Point>& points) {
  const Reading* r = find_reading(sound.readings, "audio.programme.silent");
  if (r == nullptr || !r->measured()) return false;
  const bool ends = r->reason.ends_with("the end");
  leave_open(words, ends ? "feed-silent-end" : "feed-silent", {{"when", r->reason}}, points);
  return ends;
}

// Pauses that may be sent as they are, or made by a link that loses data on a cadence: whoever knows what was
// played can tell.
void add_keyed(const job::Capture& sound, const Words& words, std::vector<Point>& points) {
  for (const Reading& r : sound.readings) {
    if (base_id(r.id) != "audio.dropout.count" || !r.measured() || r.number() > 0 || r.reason.empty())
      continue;
    leave_open(words, "feed-keyed", {{"what", r.reason}}, points);
    return;
  }
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

// A held note that goes for a moment while a voice sounds on may as well have been struck anew: that is
// music, and nothing in the sound tells it from a loss.
void add_not_looked_for(const job::Capture& sound, const Words& words, std::vector<Point>& points) {
  const bool looked = std::ranges::any_of(sound.readings, [](const Reading& r) {
    return base_id(r.id) == "audio.dropout.count" && r.measured();
  });
  if (looked) leave_open(words, "feed-breaks-under", {}, points);
}

bool add_sound(const job::Capture& sound, const std::string& use, const Words& words,
               std::vector<Point>& points) {
  bool open = add_steadiness(sound, words, points);
  add_keyed(sound, words, points);
  open = add_silence(sound, words, points) || open;
  if (line_up_alone(sound)) {
    leave_open(words, "feed-tone-alone", {}, points);
    open = true;
  } else {
    add_not_looked_for(sound, words, points);
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
  add_unheard(quiet, words, points);
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
