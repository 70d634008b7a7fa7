#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/measure/sent.hpp>

namespace linebench::measure {
namespace {

constexpr double idle_below_dbfs = -60.0;  // common practice: no line-level source is that quiet
constexpr double dead_below_db = -40.0;    // re sent: no path that works loses so much (common practice)
constexpr double same_tone = 0.002;        // clocks differ by far less, other tones by far more

struct Answer {
  const char* word;
  std::string why;
};

const Reading* find(const Readings& readings, const std::string& base, const std::string& suffix) {
  return find_reading(readings, base + suffix);
}

std::optional<double> number_of(const Readings& readings, const std::string& base,
                                const std::string& suffix) {
  const Reading* r = find(readings, base, suffix);
  if (r == nullptr || !r->measured()) return std::nullopt;
  return r->number();
}

bool tone_is_back(const Readings& readings, const std::string& suffix, const Sent& sent) {
  const auto hz = number_of(readings, "audio.tone.frequency", suffix);
  return hz && std::abs(*hz / *sent.tone_hz - 1) < same_tone;
}

// The response only comes out where the sent signal is found in the return.
std::optional<bool> response_is_back(const Readings& readings, const std::string& suffix) {
  bool asked = false;
  for (const char* id : {"audio.response", "audio.response.gain", "audio.response.polarity"}) {
    const Reading* r = find(readings, id, suffix);
    if (r == nullptr) continue;
    asked = true;
    if (r->measured()) return true;
  }
  return asked ? std::optional(false) : std::nullopt;
}

// Markers tell of the path; what lies between them is quiet by design.
Answer marker_answer(const Reading& marker, const std::optional<Sent>& sent) {
  if (marker.measured()) return {"present", ""};
  if (sent && sent->returns) return {"none", "the marker bursts that were sent do not come back"};
  return {"idle", "no marker burst came back: what is here may be the input's own noise"};
}

Answer answer_to(const Readings& readings, const std::string& suffix, const Sent& sent, double rms) {
  if (sent.level_dbfs && rms < *sent.level_dbfs + dead_below_db) {
    return {"none", fmt::format("sent at {:.1f} dBFS, and only {:.1f} dBFS, the input's own noise, came in",
                                *sent.level_dbfs, rms)};
  }
  if (sent.tone_hz && !tone_is_back(readings, suffix, sent)) {
    return {"none", fmt::format("what came in, {:.1f} dBFS, does not hold the tone of {:g} Hz that was sent",
                                rms, *sent.tone_hz)};
  }
  if (sent.response && response_is_back(readings, suffix) == false) {
    return {"none", fmt::format("what came in, {:.1f} dBFS, does not hold the signal {} that was sent", rms,
                                sent.name)};
  }
  return {"present", ""};
}

// A side that is far below the other carries nothing but its neighbour's crosstalk and noise.
bool other_side_only(const Readings& readings, const std::string& suffix) {
  const Reading* sides = find_reading(readings, "audio.pair.sides");
  if (sides == nullptr || !sides->measured()) return false;
  return (suffix == ".left" && sides->text() == "right only") ||
         (suffix == ".right" && sides->text() == "left only");
}

Answer presence(const Readings& readings, const std::string& suffix, const std::optional<Sent>& sent) {
  if (sent && std::find(sent->unsent.begin(), sent->unsent.end(), suffix) != sent->unsent.end())
    return {"idle", "nothing was sent on this side"};
  const Reading* marker = find(readings, "audio.marker.level", suffix);
  const Reading* level = find(readings, "audio.level.rms", suffix);
  const bool marked = marker != nullptr && marker->measured();
  if (!marked && (level == nullptr || !level->measured())) {
    const auto peak = number_of(readings, "audio.level.peak", suffix);
    return {"none", peak ? "all samples are equal: dc and nothing else" : "all samples are zero"};
  }
  if (marker != nullptr) return marker_answer(*marker, sent);
  const double rms = level->number();
  if (sent) return answer_to(readings, suffix, *sent, rms);
  if (other_side_only(readings, suffix))
    return {"none", fmt::format("{:.1f} dBFS here, and a signal on the other side", rms)};
  if (rms < idle_below_dbfs) return {"idle", fmt::format("{:.1f} dBFS is below any line-level signal", rms)};
  return {"present", ""};
}

void refuse_broken_response(Readings& readings, const std::string& suffix) {
  const auto losses = number_of(readings, "audio.dropout.count", suffix);
  if (!losses || *losses == 0) return;
  for (Reading& r : readings) {
    if (r.id.starts_with("audio.response") && r.id.ends_with(suffix) && r.measured())
      r = unmeasurable(r.id,
                       "part of the sweep did not come back (see dropouts); mend that, then send it again");
  }
}

}  // namespace

bool shows_response(const signals::Recipe& recipe) {
  static constexpr std::string_view few[] = {"sine", "two-tone", "stepped-tones", "marked-silence",
                                             "left-right"};
  return std::ranges::find(few, recipe.kind->name) == std::end(few);
}

std::optional<double> tone_of(const signals::Recipe& recipe) {
  if (recipe.kind->name != "sine") return std::nullopt;
  return recipe.number("frequency_hz");
}

void add_signal_readings(Readings& readings, const CaptureFacts& facts, const std::optional<Sent>& sent) {
  Readings added;
  for (int c = 0; c < facts.channels; ++c) {
    const std::string suffix = channel_suffix(c, facts.channels);
    const Answer answer = presence(readings, suffix, sent);
    added.push_back(text_reading("audio.signal" + suffix, answer.word, answer.why));
    if (sent && sent->swept) refuse_broken_response(readings, suffix);
    if (!sent || !sent->level_dbfs || !sent->tone_hz) continue;
    const Reading* level = find(readings, "audio.tone.level", suffix);
    if (level == nullptr || !level->measured() || !tone_is_back(readings, suffix, *sent)) continue;
    added.push_back(number_reading("audio.tone.gain" + suffix, level->number() - *sent->level_dbfs,
                                   level->uncertainty,
                                   fmt::format("sent at {:.1f} dBFS", *sent->level_dbfs)));
  }
  readings.insert(readings.begin(), std::make_move_iterator(added.begin()),
                  std::make_move_iterator(added.end()));
}

}  // namespace linebench::measure
