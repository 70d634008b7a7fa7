// What was being sent while a sound capture was taken, and what of it is lost along a line.
#include <algorithm>
#include <array>
#include <cmath>

#include "gather.hpp"
#include "gather_multiples.hpp"

namespace linebench::diagnose {

bool ruled_from_outside(const Readings& r, const std::string& suffix) {
  const auto rms = number_of(r, "audio.level.rms" + suffix);
  return std::ranges::any_of(std::array{"audio.hum.level", "audio.whistle.level", "audio.phone_burst.level"},
                             [&](const char* id) {
                               const auto v = number_of(r, id + suffix);
                               return v && rms && v->value > rms->value - 6;
                             });
}

Sent sent_on(const Capture& c, const std::string& suffix) {
  const std::string& signal = c.facts.signal;
  if (signal.starts_with("tone") || signal.starts_with("alignment")) return Sent::Tone;
  if (signal.starts_with("silence")) return Sent::Idle;
  const auto rms = number_of(c.readings, "audio.level.rms" + suffix);
  const auto tone = number_of(c.readings, "audio.tone.level" + suffix);
  if (!signal.empty()) return Sent::Other;
  // What rules the channel must not be interference if its level is to say anything of the source's.
  if (ruled_from_outside(c.readings, suffix)) return Sent::Idle;
  if (number_of(c.readings, "audio.tone.step" + suffix)) return Sent::Tone;
  if (tone && rms && rms->value - tone->value < 0.7 && tone->value > idle_dbfs) return Sent::Tone;
  if (rms && rms->value > idle_dbfs && !tone) return Sent::Programme;
  return Sent::Idle;
}

// Mains is never so pure that no other multiple of it is within some 50 dB, and at the level of what is sent
// those stand out of any path's noise: a lone line so strong may be a tone that nobody told of, but not where
// silence was sent, nor off the round figure by more than crystals are.
bool may_be_a_tone(const Capture& c, const std::string& suffix) {
  constexpr double crystals = 300e-6;  // how far a generator's and the recorder's together may be off
  const auto hum = number_of(c.readings, "audio.hum.level" + suffix);
  if (!hum || hum->value < idle_dbfs || c.facts.signal.starts_with("silence")) return false;
  int found = 0;
  for (int n = 1; n <= most_multiples; ++n)
    found += number_of(c.readings, fmt::format("audio.hum.harmonic.{}{}", n, suffix)) ? 1 : 0;
  const auto hz = number_of(c.readings, "audio.hum.frequency" + suffix);
  const bool fundamental = number_of(c.readings, "audio.hum.harmonic.1" + suffix).has_value();
  if (fundamental && hz && std::abs(hz->value / std::round(hz->value) - 1) > crystals + hz->u / hz->value)
    return false;
  return found == 1;
}

std::string question_of_lone_line(const Capture& c, const std::string& suffix) {
  return fmt::format(
      "{}: a line of {:.2f} Hz, {:.1f} dBFS, and no other multiple of it: was it sent? Record with nothing "
      "sent, "
      "and say so with --signal silence; if it is still there, it is hum.",
      c.name, number_of(c.readings, "audio.hum.frequency" + suffix).value_or(Number{}).value,
      number_of(c.readings, "audio.hum.level" + suffix)->value);
}

namespace {

struct Level {
  double dbfs = 0;
  double u = 0;  // k=2, of what is compared with another take of the same
};

// Programme is another piece of it in each take: the project's estimate of how far its level moves.
constexpr double programme_u_db = 6;
// What is found on a line is set against what left the source by one card, and its gain is hardly moved: the
// project's estimate.
constexpr double same_card_u_db = 3;
// Less says nothing: cables, matching and a hand on a gain control.
constexpr double worth_telling_db = 3;

std::optional<Level> sent_level(const Capture& c, const std::string& suffix) {
  const Sent sent = sent_on(c, suffix);
  const auto tone = number_of(c.readings, "audio.tone.level" + suffix);
  const auto rms = number_of(c.readings, "audio.level.rms" + suffix);
  if (sent == Sent::Tone && tone) return Level{tone->value, std::hypot(tone->u, same_card_u_db)};
  if (sent == Sent::Programme && rms) return Level{rms->value, std::hypot(programme_u_db, same_card_u_db)};
  return std::nullopt;
}

}  // namespace

std::optional<Loss> loss_along(const Capture& before, const Capture& here) {
  // A tone at one place says nothing of a silence that was asked for at the next.
  if (before.facts.signal != here.facts.signal) return std::nullopt;
  std::optional<Loss> most;
  for (const std::string& suffix : suffixes_of(here)) {
    const auto came = sent_level(before, suffix);
    if (!came) continue;
    Loss l;
    // However weak, a tone that is found is what came, weaker.
    const auto tone = number_of(here.readings, "audio.tone.level" + suffix);
    const std::optional<Level> left = tone && !ruled_from_outside(here.readings, suffix)
                                          ? std::optional(Level{tone->value, tone->u})
                                          : sent_level(here, suffix);
    if (left) {
      l.db = left->dbfs - came->dbfs;
      l.u = came->u;
    } else if (const auto rms = number_of(here.readings, "audio.level.rms" + suffix)) {
      // What is left is no more than all that is there, and that is hum and noise.
      l.db = rms->value - came->dbfs;
      l.u = came->u;
      l.gone = true;
    } else {
      continue;
    }
    l.before = before.name;
    l.here = suffix.empty() ? here.name : here.name + ", " + suffix.substr(1);
    if (l.db < -worth_telling_db && (!most || l.db < most->db)) most = l;
  }
  return most;
}

std::optional<Loss> loss_before(std::span<const Capture> all, const Capture& here) {
  std::optional<Loss> most;
  for (const Capture& c : all) {
    if (c.along_path == 0 || c.along_path >= here.along_path) continue;
    if (auto l = loss_along(c, here); l && (!most || l->db < most->db)) most = std::move(l);
  }
  return most;
}

std::string question_of(const Loss& l) {
  return l.gone ? fmt::format(
                      "What came at {} does not come at {}: {:.1f} dB less is left. Was it still being sent "
                      "while the second was taken, and by the same card at the same setting?",
                      l.before, l.here, -l.db)
                : fmt::format(
                      "What came at {} is {:.1f} dB weaker at {}. Was the second taken by the same card at "
                      "the same setting?",
                      l.before, -l.db, l.here);
}

void gather_loss(const Loss& l, Gatherer& out) {
  const std::string against = fmt::format("against {}, by one card at one setting", l.before);
  if (l.gone) {
    out.bound("audio.level.tone", l.db, l.u, l.here);
  } else {
    out.number("audio.level.tone", l.db, l.u, l.here, against);
  }
}

}  // namespace linebench::diagnose
